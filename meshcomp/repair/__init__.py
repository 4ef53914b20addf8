"""Meshes as they are downloaded made sound solids, or refused with the place."""

from __future__ import annotations

from meshcomp.repair.faults import refuse_faults
from meshcomp.repair.mending import repair

__all__ = ["refuse_faults", "repair"]
