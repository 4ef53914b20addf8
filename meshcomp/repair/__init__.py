"""Meshes as they are downloaded made sound solids, or refused with the place."""

from __future__ import annotations

from meshcomp.repair.faults import refuse_faults
from meshcomp.repair.mending import repair
from meshcomp.repair.reading import read_sound_part

__all__ = ["read_sound_part", "refuse_faults", "repair"]
