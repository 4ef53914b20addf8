"""What a closed outline is, if it is no circle: by its corners, in the plane."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import median
from meshcomp._vectors import dot
from meshcomp.association import associate_circle
from meshcomp.detection.symmetries import lobed
from meshcomp.errors import AssociationError
from meshcomp.features import Shape

__all__ = ["corners_of", "is_round", "shape_of"]

_OFF = 0.02  # mm, a corner off the shape
_BEND = 2e-5  # mm, a corner off the line between its neighbours: less is none
_STRAIGHT = 1e-3  # mm, across a straight side
_ANGLE = 0.01  # radians
_MOST_SIDES = 12
_LEAST_ROUND = 12  # corners of a circle
_FLAT_SIDE = np.radians(46)  # a wider chord of a circle is a flat
_NAMES = {3: "triangle", 5: "pentagon", 6: "hexagon", 8: "octagon"}


def corners_of(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Drop points of a ring, (n, 2), that lie on the line between their neighbours."""
    back = points - np.roll(points, 1, axis=0)
    ahead = np.roll(points, -1, axis=0) - points
    cross = np.abs(back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0])
    chord = np.maximum(np.linalg.norm(back + ahead, axis=1), 1e-12)
    return np.asarray(points[cross / chord > _BEND])


def is_round(points: NDArray[np.float64]) -> bool:
    """Whether the corners of a ring, (n, 2), lie on one circle, all around."""
    if len(points) < _LEAST_ROUND:
        return False
    try:
        centre, diameter = associate_circle(points)
    except AssociationError:
        return False
    off = np.hypot(*(points - centre).T) - diameter / 2
    steps = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    widest = diameter * np.sin(_FLAT_SIDE / 2)
    # Where faces lean, a section has corners amid its chords.
    usual = median(steps)
    sagitta = diameter / 2 - np.sqrt(max(diameter**2 - 4 * usual**2, 0.0)) / 2
    return bool(np.ptp(off) < _OFF + sagitta and steps.max() < widest)


def shape_of(points: NDArray[np.float64]) -> Shape | None:
    """Name the shape whose corners, (n, 2) mm, a ring has; None if it has no name.

    Examples
    --------
    >>> turns = np.arange(6) * np.pi / 3
    >>> nut = 4 / np.cos(np.pi / 6) * np.column_stack([np.cos(turns), np.sin(turns)])
    >>> shape = shape_of(nut)
    >>> shape.name, [(name, round(value, 6)) for name, value in shape.measures]
    ('hexagon', [('across flats', 8.0)])
    """
    corners = corners_of(points)
    if len(corners) < 3:  # noqa: PLR2004 - a triangle
        return None
    kinds: tuple[Callable[[NDArray[np.float64]], Shape | None], ...]
    kinds = (_polygon, _rounded_slot, _rectangle, _d_shape, _ellipse, lobed)
    return next((shape for kind in kinds if (shape := kind(corners)) is not None), None)


def _polygon(corners: NDArray[np.float64]) -> Shape | None:
    """Name a regular polygon, but no square."""
    count = len(corners)
    if count > _MOST_SIDES or count == 4:  # noqa: PLR2004 - a square is a rectangle
        return None
    away = corners - corners.mean(axis=0)
    radii = np.hypot(away[:, 0], away[:, 1])
    sides = np.linalg.norm(np.roll(away, -1, axis=0) - away, axis=1)
    if np.ptp(radii) > 2 * _OFF or np.ptp(sides) > 2 * _OFF:
        return None
    middle = 2 * float(radii.mean()) * float(np.cos(np.pi / count))
    name = _NAMES.get(count, f"{count}-sided polygon")
    # Flats lie opposite each other only where their number is even.
    if count % 2:
        return Shape(name=name, measures=(("inscribed circle", middle),))
    return Shape(name=name, measures=(("across flats", middle),))


def _in_frame_of_longest(
    corners: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Corners about the middle of their box along the longest side, and the box's size."""
    sides = np.roll(corners, -1, axis=0) - corners
    way = sides[np.argmax(np.hypot(sides[:, 0], sides[:, 1]))]
    way = way / np.linalg.norm(way)
    local = corners @ np.array([way, [-way[1], way[0]]]).T
    low, high = local.min(axis=0), local.max(axis=0)
    return local - (low + high) / 2, high - low


def _rectangle(corners: NDArray[np.float64]) -> Shape | None:
    """Name two pairs of sides at right angles, with sharp or rounded corners."""
    local, size = _in_frame_of_longest(corners)
    sides = np.roll(local, -1, axis=0) - local
    along = np.abs(sides[:, 1]) < _STRAIGHT
    if not along.any():
        return None
    straight = float(np.abs(sides[along, 0]).max())
    radius = max((float(size[0]) - straight) / 2, 0.0)
    if 2 * radius > float(size.min()) - _OFF:
        return None  # no straight side is left: a slot
    if not _on_rounded_box(local, size, radius):
        return None
    width, length = sorted(size.tolist())
    measures = [("width", width), ("length", length)]
    if radius > _OFF:
        measures.append(("corner radius", radius))
    return Shape(name="rectangle", measures=tuple(measures))


def _on_rounded_box(
    local: NDArray[np.float64], size: NDArray[np.float64], radius: float
) -> bool:
    """Whether corners lie on a box with rounded corners, about the origin."""
    beyond = np.abs(local) - (size / 2 - radius)
    outside = np.hypot(*np.maximum(beyond, 0.0).T)
    distance = outside + np.minimum(beyond.max(axis=1), 0.0) - radius
    return bool(np.abs(distance).max() < _OFF)


def _rounded_slot(corners: NDArray[np.float64]) -> Shape | None:
    """Name two half circles and two parallel lines between them."""
    if len(corners) < 8:  # noqa: PLR2004 - three facets an end
        return None
    for frame in _frames(corners):
        local = corners @ frame.T
        low, high = local.min(axis=0), local.max(axis=0)
        local = local - (low + high) / 2
        width = float(high[1] - low[1])
        half = _half_of_medial_line(local, width)
        if half is None or half < _OFF:
            continue
        beyond = np.maximum(np.abs(local[:, 0]) - half, 0.0)
        if np.abs(np.hypot(beyond, local[:, 1]) - width / 2).max() < _OFF:
            measures = (("width", width), ("length", 2 * half + width))
            return Shape(name="slot", measures=measures)
    return None


def _frames(corners: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """Along the longest side, and along the longest way across."""
    sides = np.roll(corners, -1, axis=0) - corners
    longest = sides[np.argmax(np.hypot(sides[:, 0], sides[:, 1]))]
    values, ways = np.linalg.eigh(np.cov(corners.T))
    del values  # ascending: the last way is the longest
    return [
        np.array([way, [-way[1], way[0]]])
        for way in (longest / np.linalg.norm(longest), ways[:, -1])
    ]


def _half_of_medial_line(local: NDArray[np.float64], width: float) -> float | None:
    """Half the distance of the middles of both ends, from the corners of the ends."""
    reach = float(np.abs(local[:, 0]).max()) - width / 2
    beyond = np.abs(local[:, 0]) > reach + 0.05 * width
    ends = np.abs(local[beyond])
    if len(ends) < 3:  # noqa: PLR2004 - of a circle
        return None
    # Each corner says where the middle of its end lies.
    inside = np.maximum(width**2 / 4 - ends[:, 1] ** 2, 0.0)
    return median(ends[:, 0] - np.sqrt(inside))


def _d_shape(corners: NDArray[np.float64]) -> Shape | None:
    """Name a circle with one flat, or two that are parallel."""
    try:
        centre, diameter = associate_circle(corners)
    except AssociationError:
        return None
    away = corners - centre
    radii = np.hypot(away[:, 0], away[:, 1])
    if len(corners) < 8 or np.abs(radii - diameter / 2).max() > _OFF:  # noqa: PLR2004
        return None
    sides = np.roll(away, -1, axis=0) - away
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    widths = 2 * np.arcsin(np.minimum(lengths / diameter, 1.0))
    flats = np.flatnonzero(widths > max(_FLAT_SIDE, 3.5 * median(widths)))
    # Distance of a side from the centre, with its sign: more than half a turn is cut off
    # where the centre lies beyond the flat.
    outward = (
        np.column_stack([sides[:, 1], -sides[:, 0]]) / np.maximum(lengths, 1e-12)[:, None]
    )
    level = np.abs(dot(outward, away))
    if len(flats) == 1:
        across = float(level[flats[0]]) + diameter / 2
        measures = (("diameter", float(diameter)), ("flat to round", across))
        return Shape(name="D", measures=measures)
    if len(flats) == 2 and dot(outward[flats[0]], outward[flats[1]]) < -1 + _ANGLE**2:  # noqa: PLR2004
        across = float(level[flats].sum())
        measures = (("diameter", float(diameter)), ("across flats", across))
        return Shape(name="double D", measures=measures)
    return None


def _ellipse(corners: NDArray[np.float64]) -> Shape | None:
    """Name an ellipse, by least squares of its equation."""
    if len(corners) < _LEAST_ROUND:
        return None
    middle = corners.mean(axis=0)
    x, y = (corners - middle).T
    size = float(np.hypot(x, y).max())
    terms = np.column_stack([x * x, x * y, y * y, x * size, y * size]) / size**2
    a, b, c, d, e = np.linalg.lstsq(terms, np.ones(len(x)), rcond=None)[0]
    matrix = np.array([[a, b / 2], [b / 2, c]]) / size**2
    values, ways = np.linalg.eigh(matrix)
    if values[0] <= 0:
        return None
    shift = -0.5 * np.linalg.solve(matrix, np.array([d, e]) / size)
    scale = 1.0 + float(shift @ matrix @ shift)
    semi = np.sqrt(scale / values)
    local = (np.column_stack([x, y]) - shift) @ ways
    # Distance from the curve, to first order.
    level = ((local / semi) ** 2).sum(axis=1) - 1
    slope = 2 * np.linalg.norm(local / semi**2, axis=1)
    if np.abs(level / slope).max() > _OFF or semi[0] - semi[1] < _OFF:
        return None
    axes = (("major axis", 2 * float(semi[0])), ("minor axis", 2 * float(semi[1])))
    return Shape(name="ellipse", measures=axes)
