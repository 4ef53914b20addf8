"""Cylinders found in a mesh beside the true ones."""

from __future__ import annotations

import numpy as np
import pytest
from outside.cylinders import TrueCylinder
from remade import inspected

from meshcomp.features import Cylinder
from meshcomp.meshes import Mesh

__all__ = ["WHOLE", "assert_all_found", "diameter_errors", "is_on"]

WHOLE = 350.0  # degrees
LEAST_DIAMETER = 1.0
SAME_PLACE = 0.05
SAME_SIZE = 0.1


def is_on(found: Cylinder, true: TrueCylinder) -> bool:
    off = found.point - true.foot
    return (
        found.is_internal == true.is_internal
        and abs(found.direction @ true.axis) > 1 - 1e-4
        and float(np.linalg.norm(off - (off @ true.axis) * true.axis)) < SAME_PLACE
        and abs(found.nominal_size - true.diameter) < SAME_SIZE
        and _common(found, true) > 0.2 * (true.end - true.start)
    )


def _ends(found: Cylinder, true: TrueCylinder) -> tuple[float, float]:
    ends = np.sort(
        np.sign(true.axis @ found.direction) * np.array([found.start, found.end])
    )
    return float(ends[0]), float(ends[1])


def _common(found: Cylinder, true: TrueCylinder) -> float:
    low, high = _ends(found, true)
    return min(high, true.end) - max(low, true.start)


def off_by(found: Cylinder, true: TrueCylinder, all_true: list[TrueCylinder]) -> float:
    """How far the farther end is from an end of a piece of this cylinder, mm."""
    low, high = _ends(found, true)
    pieces = [piece for piece in all_true if is_on(found, piece)]
    starts = [abs(low - piece.start) for piece in pieces]
    ends = [abs(high - piece.end) for piece in pieces]
    return max(min(starts), min(ends))


def assert_all_found(mesh: Mesh, all_true: list[TrueCylinder], limits) -> None:
    """Compare diameters and ends with limits, mm; nothing else may be found."""
    found = [f for f in inspected(mesh).cylinders if f.nominal_size >= LEAST_DIAMETER]
    for true in all_true:
        if true.span <= WHOLE or true.diameter < LEAST_DIAMETER:
            continue
        mine = [f for f in found if is_on(f, true)]
        assert mine, true
        best = max(mine, key=lambda f: _common(f, true))
        assert best.nominal_size == pytest.approx(true.diameter, abs=limits[0])
        assert off_by(best, true, all_true) <= limits[1], (true, best.start, best.end)
    assert [f for f in found if not any(is_on(f, t) for t in all_true)] == []


def diameter_errors(mesh: Mesh, all_true: list[TrueCylinder], least: float) -> list[float]:
    """Return by how much each diameter found, from `least` on, is off, mm."""
    found = [f for f in inspected(mesh).cylinders if f.nominal_size >= least]
    mine = [(f, next((t for t in all_true if is_on(f, t)), None)) for f in found]
    return [abs(f.nominal_size - t.diameter) for f, t in mine if t is not None]
