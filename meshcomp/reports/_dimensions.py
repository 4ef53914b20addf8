"""Where a plan view shows the distance of two walls: both are there, little is crossed.

Lines are (x, y, x, y) in mm, y upwards as on the bed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meshcomp._stretches import in_common, merged
from meshcomp.features import Wall

__all__ = ["dimension_line", "lines_of"]

_NEAR = 0.02  # mm, an outline to a wall's plane
_SQUARE = 1e-3  # sine
# Places along the stretch that both walls have in common, the best first.
_SHARES = (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9, 0.27, 0.73)


def lines_of(rings: Sequence[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Return both ends of each line of closed rings, (n, 2) each: (k, 2, 2) float."""
    starts = np.concatenate([np.zeros((0, 2)), *rings])
    following = np.arange(1, len(starts) + 1)
    ends = np.cumsum([len(ring) for ring in rings if len(ring)], dtype=np.int64)
    following[ends - 1] = np.append(0, ends[:-1])[: len(ends)]
    return np.stack([starts, starts[following]], axis=1)


def dimension_line(
    wall: Wall,
    lines: NDArray[np.float64],
    circles: NDArray[np.float64],
    gap: float,
) -> tuple[float, float, float, float] | None:
    """Choose a line from plane to plane of a wall or a slot.

    Parameters
    ----------
    wall : Wall
        With a size.
    lines : (n, 2, 2) float
        From `lines_of`: the outline of the part before, in the view, mm.
    circles : (k, 3) float
        Middles and radii of what had better not be crossed, mm.
    gap : float
        Distance to keep from the circles, mm.

    Returns
    -------
    line : tuple of four floats, or None
        None where the view does not show both planes opposite each other.

    Examples
    --------
    >>> square = np.array([(0.0, 0.0), (8, 0), (8, 6), (0, 6)])
    >>> wall = Wall(
    ...     id="wall-01", kind="wall", is_internal=False, nominal_size=8.0,
    ...     point=np.array([4.0, 3, 1]), direction=np.array([1.0, 0, 0]), start=0.0,
    ...     end=8.0, level=(0.0, 2.0), curve_length=None, faces=np.zeros(0, int),
    ... )
    >>> line = dimension_line(wall, lines_of([square]), np.array([(4.0, 3.0, 1.0)]), 0.5)
    >>> tuple(round(x, 9) for x in line)
    (0.0, 1.2, 8.0, 1.2)
    """
    normal = wall.direction[:2]
    along = np.array([-normal[1], normal[0]])
    common = in_common(*(_stretches(lines, normal, at) for at in (wall.start, wall.end)))
    if not len(common):
        return None
    low, high = common[np.argmax(common[:, 1] - common[:, 0])]
    places = low + np.array(_SHARES) * (high - low)
    apart = np.abs(places[:, None] - circles[:, :2] @ along)
    across = circles[:, :2] @ normal
    between = (across > wall.start) & (across < wall.end)
    crossed = ((apart < circles[:, 2] + gap) & between).sum(axis=1)
    best = float(places[np.argmin(crossed)])
    (a, b), (c, d) = (at * normal + best * along for at in (wall.start, wall.end))
    return float(a), float(b), float(c), float(d)


def _stretches(
    lines: NDArray[np.float64], normal: NDArray[np.float64], at: float
) -> NDArray[np.float64]:
    """From and to along a plane of each line of the outline that lies in it, (k, 2)."""
    starts, ends = lines[:, 0], lines[:, 1]
    near = np.flatnonzero(np.abs((starts + ends) @ normal / 2 - at) < _NEAR)
    starts, ends = starts[near], ends[near]
    way = ends - starts
    good = np.abs(way @ normal) <= _SQUARE * np.hypot(way[:, 0], way[:, 1])
    along = np.array([-normal[1], normal[0]])
    found = np.column_stack([starts[good] @ along, ends[good] @ along])
    return merged(np.sort(found, axis=1))  # sections have points amid straight lines
