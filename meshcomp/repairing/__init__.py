"""Meshes as they are downloaded made sound solids, or refused with the place."""

from __future__ import annotations

from meshcomp.repairing.mending import repair
from meshcomp.repairing.reading import read_sound_part
from meshcomp.repairing.refusing import refuse_faults

__all__ = ["read_sound_part", "refuse_faults", "repair"]
