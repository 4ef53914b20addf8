"""How far up and down a groove's cutter goes, and what it takes away."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import ring_area
from meshcomp.grooving.lines import upright_lines
from meshcomp.grooving.surfaces import Seat, Surface
from meshcomp.solids import Solid

__all__ = ["Reach", "areas_in", "reaches", "volume_in"]

_CLEAR = 0.01  # mm, by which a cutter stands out where nothing is in its way
_JOINT = 1e-3  # mm, between ends of lines that go on
_MOST_STEPS = 200
_NOTHING = 1e-7  # mm²
_UPRIGHT = np.eye(3)


@dataclass(frozen=True, slots=True)
class Reach:
    """Heights of one cutter, and between them those at which its section changes, mm.

    The first and the last of these are where the groove itself ends.
    """

    low: float
    high: float
    knots: tuple[float, ...]


def reaches(surface: Surface, seat: Seat, column: Solid, depth: float) -> tuple[Reach, ...]:
    """Follow the surface beyond the ends of each stretch while it recedes.

    A chamfer or a countersink lets the groove run out; where material stands in the way,
    as a flange or the floor of a blind bore, the groove ends with its feature; where
    nothing does, its cutter stands out a little. The column is the part's material over
    the groove's outline.
    """
    lines, _ = upright_lines(surface.corners, seat.point, seat.outward)

    def is_clear(heights: list[float]) -> bool:
        return bool((areas_in(column, heights) <= _NOTHING).all())

    found = []
    for low, high in seat.stretches.tolist():
        down, below = _end(lines, low, -1, depth, is_clear)
        up, above = _end(lines, high, 1, depth, is_clear)
        knots = sorted({*below, low, high, *above})
        found.append(Reach(down, up, tuple(knots)))
    return tuple(found)


def _end(
    lines: NDArray[np.float64],
    height: float,
    way: int,
    depth: float,
    is_clear: Callable[[list[float]], bool],
) -> tuple[float, list[float]]:
    """Where a cutter ends, one way from a height, and the knots passed on the way."""
    knots: list[float] = []
    at = np.array([0.0, height])
    for _ in range(_MOST_STEPS):
        following = _next(lines, at, way)
        if following is None:
            break
        if following[0] <= -depth:
            share = (-depth - at[0]) / (following[0] - at[0])
            at = at + share * (following - at)
            knots.append(float(at[1]))
            break
        at = following
        knots.append(float(at[1]))
    end = float(at[1])
    clear = [end + way * share * _CLEAR for share in (0.3, 1.0)]
    return (clear[-1] if is_clear(clear) else end), knots


def _next(
    lines: NDArray[np.float64], at: NDArray[np.float64], way: int
) -> NDArray[np.float64] | None:
    """End of the receding line that begins at a point, (position, height)."""
    best: NDArray[np.float64] | None = None
    for near, far in ((0, 1), (1, 0)):
        rise = way * (lines[:, far, 1] - lines[:, near, 1])
        begins = np.abs(lines[:, near, 1] - at[1]) <= _JOINT
        joins = lines[:, near, 0] <= at[0] + _JOINT
        recedes = lines[:, far, 0] < lines[:, near, 0] - 1e-9
        for row in np.flatnonzero((rise > _JOINT) & begins & joins & recedes):
            if best is None or lines[row, far, 0] > best[0]:
                best = lines[row, far]
    return best


def areas_in(column: Solid, heights: list[float]) -> NDArray[np.float64]:
    """Area of a column's material at some heights, mm²."""
    sections = column.sections(_UPRIGHT, heights)
    return np.array([sum(ring_area(ring) for ring in rings) for rings in sections])


def volume_in(column: Solid, reach: Reach) -> float:
    """Volume of a column's material that a cutter takes, mm³.

    By Gauss's rule of five points between heights at which the surface bends.
    """
    knots = [reach.low, *(z for z in reach.knots if reach.low < z < reach.high), reach.high]
    nodes, weights = np.polynomial.legendre.leggauss(5)
    middles, halves = np.add(knots[1:], knots[:-1]) / 2, np.diff(knots) / 2
    heights = (middles[:, None] + halves[:, None] * nodes).ravel()
    areas = areas_in(column, heights.tolist()).reshape(-1, 5)
    return float((areas @ weights * halves).sum())
