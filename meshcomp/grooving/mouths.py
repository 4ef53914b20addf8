"""The V of a groove in a level section, and where it leaves the surface."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.grooving.lines import level_lines
from meshcomp.grooving.surfaces import Seat, Surface

__all__ = ["cutter_outline", "mouth_of"]

_OVERSHOOT = 0.5  # of the depth, by which a cutter stands out of the surface
_AT_SURFACE = 1 / (1 + _OVERSHOOT)  # share of a side's length at which a flat one lies
_NOTHING = 1e-9  # mm
_BENT = 0.25  # of it, by which the mouth may lie otherwise


def cutter_outline(seat: Seat, width: float, depth: float) -> NDArray[np.float64]:
    """Return the V of a groove, (3, 2): its apex first, counter-clockwise, in 32 bits."""
    across = np.array([-seat.outward[1], seat.outward[0]])
    out = _OVERSHOOT * depth
    half = width / 2 * (1 + out / depth)
    points = [
        seat.point - depth * seat.outward,
        seat.point + out * seat.outward - half * across,
        seat.point + out * seat.outward + half * across,
    ]
    return np.array(points).astype(np.float32).astype(np.float64)


def mouth_of(surface: Surface, outline: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Where the sides of the V leave the surface; (2, 2) mm.

    None where that is far from where they would leave a flat one.
    """
    reach = float(np.linalg.norm(outline[1:] - outline[0], axis=1).max())
    rows = surface.rows_near(outline[0], reach)
    lines, _ = level_lines(surface.corners[rows], surface.height)
    ends = []
    for tip in outline[1:]:
        way = tip - outline[0]
        across = np.array([-way[1], way[0]]) / np.linalg.norm(way)
        side = (lines - outline[0]) @ across
        along = (lines - outline[0]) @ way / (way @ way)
        # Ends that neighbours share differ by rounding: no side slips between them.
        passing = (side.min(axis=1) <= _NOTHING) & (side.max(axis=1) >= -_NOTHING)
        passing &= (along > 0).all(axis=1)
        passing &= np.abs(side[:, 0] - side[:, 1]) > _NOTHING
        share = side[passing, 0] / (side[passing, 0] - side[passing, 1])
        at = along[passing, 0] + share * (along[passing, 1] - along[passing, 0])
        off = np.abs(at - _AT_SURFACE)
        if off.min(initial=np.inf) > _BENT:
            return None
        ends.append(outline[0] + at[int(np.argmin(off))] * way)
    return np.array(ends)
