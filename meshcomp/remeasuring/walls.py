"""The distance that a section shows between the two planes of a wall or a slot."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.features import Wall
from meshcomp.remeasuring.outlines import Outline
from meshcomp.remeasuring.places import Place

__all__ = ["distance_at"]

_NEAR = 0.06  # mm, a line to the plane expected
_SQUARE = 1e-3  # sine
_BENT = 0.05  # sine, of a wall that is no longer straight
_SHORT = 0.05  # mm: shorter lines say little of a direction
_OWN = 0.5  # of a line's length, or of the wall's
_LEAST_SEEN = 0.5  # of the wall's length: roofs of bores that end in it take their part


def distance_at(
    wall: Wall, planned: float, place: Place, outline: Outline, aside: float = 0.0
) -> float | None:
    """Measure between the lines of a section that are a wall's own.

    A line belongs to a plane of the wall if it is square to the wall's direction, near
    the place expected, has material on the right side, and lies mostly where the wall's
    faces are: a step beside the wall does not count. What lies midway between the planes is
    expected `aside` of where it was, mm along the wall's direction.

    Returns
    -------
    distance : float or None
        In mm, of those places of the two planes that are farthest from what was planned;
        None if too little of one plane is seen.
    """
    exact = (planned, planned)
    nominal = wall.end - wall.start
    between = (min(planned, nominal), max(planned, nominal))
    # A wall that is not as planned may have stayed as it was, or be bent.
    for sizes, slope in ((exact, _SQUARE), (between, _SQUARE), (between, _BENT)):
        first, second = (
            _positions(wall, outline.bends, side, (sizes, slope, aside), stretches)
            for side, stretches in ((-1, place.first), (1, place.second))
        )
        if len(first) and len(second):
            break
    else:
        return None
    extremes = (second.min() - first.max(), second.max() - first.min())
    return float(max(extremes, key=lambda distance: abs(distance - planned)))


def _positions(
    wall: Wall,
    outline: Outline,
    side: int,
    limits: tuple[tuple[float, float], float, float],
    stretches: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Position of both ends of each line of one plane; none if too little is seen."""
    sizes, slope, aside = limits
    normal = wall.direction[:2]
    position = outline.doubled_middles @ normal / 2
    out = side * (position - (wall.start + wall.end) / 2 - aside)
    # Few lines are near the place expected: only of those is more asked.
    near = np.flatnonzero(
        (out > sizes[0] / 2 - _NEAR)
        & (out < sizes[1] / 2 + _NEAR)
        & (outline.lengths > _SHORT)
    )
    begins, ends, lengths = outline.points[near], outline.ends[near], outline.lengths[near]
    way = ends - begins
    # The outward normal is to the right of a line; a slot's points to its middle.
    outward = np.column_stack([way[:, 1], -way[:, 0]]) @ normal
    facing = outward * (-side if wall.is_internal else side)
    good = (np.abs(way @ normal) < slope * lengths) & (facing > 0)
    begins, ends, lengths = begins[good], ends[good], lengths[good]
    along = np.array([-normal[1], normal[0]])
    reach = np.sort(np.column_stack([begins @ along, ends @ along]), axis=1)
    shared = _overlaps(reach, stretches)
    whole = float((stretches[:, 1] - stretches[:, 0]).sum())
    own = (shared > _OWN * lengths) | (shared > _OWN * whole)
    seen = float(shared[own].sum())
    if seen < _LEAST_SEEN * whole:
        return np.zeros(0)
    return np.concatenate([begins[own] @ normal, ends[own] @ normal])


def _overlaps(
    reach: NDArray[np.float64], stretches: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Length that each of (n, 2) from and to shares with any of (k, 2), mm."""
    low = np.maximum(reach[:, None, 0], stretches[:, 0])
    high = np.minimum(reach[:, None, 1], stretches[:, 1])
    return np.asarray(np.clip(high - low, 0.0, None).sum(axis=1))
