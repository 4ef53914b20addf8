"""Outlines of the demo parts as polygons whose corners lie on the true curves.

Every outline is an (n, 2) float array in mm, counter-clockwise, without the first point
repeated. Gears and lobed discs have their own module, `profiles`.
"""

from __future__ import annotations

from math import acos, asin, ceil, cos, pi, sin, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meshcomp.errors import OptionError

__all__ = [
    "Outline",
    "area",
    "circle",
    "facets_for",
    "keyed_bore",
    "notched_circle",
    "on_circle",
    "rounded_rectangle",
    "scalloped",
    "slot",
    "turned",
]

Outline = NDArray[np.float64]


def facets_for(radius: float, sagitta: float) -> int:
    """Return the least number of facets that keeps a circle's sagitta within a limit.

    Parameters
    ----------
    radius : float
        Of the circle through the corners, mm.
    sagitta : float
        Largest gap allowed between the middle of a facet and the circle, mm.

    Examples
    --------
    >>> facets_for(5.0, 0.01)
    50
    """
    return max(3, ceil(pi / acos(1 - min(sagitta / radius, 1.0))))


def area(outline: Outline) -> float:
    """Return the area inside an outline by the shoelace formula, mm².

    Parameters
    ----------
    outline : (n, 2) float
        Corners in mm; a clockwise outline has a negative area.

    Examples
    --------
    >>> area(np.array([(0.0, 0.0), (3.0, 0.0), (3.0, 2.0), (0.0, 2.0)]))
    6.0
    """
    # About the middle, so that an outline far from the origin loses no digits.
    x, y = (outline - outline.mean(axis=0)).T
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


def _arc(radius: float, start: float, end: float, segments: int) -> Outline:
    """Points of an arc about the origin, both ends included; angles in radian."""
    angles = np.linspace(start, end, segments + 1)
    return radius * np.column_stack([np.cos(angles), np.sin(angles)])


def circle(radius: float, facets: int, *, centre: ArrayLike = (0.0, 0.0)) -> Outline:
    """Return a circle as a regular polygon with its corners on the circle.

    Parameters
    ----------
    radius : float
        In mm.
    facets : int
        Number of corners; the first one lies in the direction of X.
    centre : (2,) float
        In mm.

    Examples
    --------
    >>> circle(2.0, 24).shape
    (24, 2)
    """
    return _arc(radius, 0.0, 2 * pi, facets)[:-1] + np.asarray(centre, dtype=np.float64)


def on_circle(count: int, radius: float, *, start: float = 0.0) -> Outline:
    """Return places evenly spaced on a circle about the origin.

    Parameters
    ----------
    count : int
        Number of places.
    radius : float
        Of the circle, mm.
    start : float
        Direction of the first place, degrees from X.

    Returns
    -------
    places : (count, 2) float
        In mm.

    Examples
    --------
    >>> on_circle(4, 10.0).round(9).tolist()[0]
    [10.0, 0.0]
    """
    first = np.radians(start)
    return _arc(radius, first, first + 2 * pi, count)[:-1]


def rounded_rectangle(
    width: float, height: float, *, radius: float, facets: int
) -> Outline:
    """Return a rectangle about the origin with rounded corners.

    Parameters
    ----------
    width, height : float
        Along X and Y, mm.
    radius : float
        Of the corners, mm.
    facets : int
        Facets of a whole circle of that radius: a corner gets a quarter of them.

    Raises
    ------
    OptionError
        If the corners take more than the sides.

    Examples
    --------
    >>> rounded_rectangle(92.0, 70.0, radius=6.0, facets=24).shape
    (28, 2)
    """
    x, y = width / 2 - radius, height / 2 - radius
    if min(x, y) <= 0:
        raise OptionError(
            f"corners of radius {radius} mm leave nothing straight of a rectangle of "
            f"{width} x {height} mm: give a radius below {min(width, height) / 2} mm"
        )
    corners = [(x, y), (-x, y), (-x, -y), (x, -y)]
    return np.concatenate(
        [
            np.array(middle) + _arc(radius, k * pi / 2, (k + 1) * pi / 2, facets // 4)
            for k, middle in enumerate(corners)
        ]
    )


def slot(
    length: float, width: float, *, facets: int, centre: ArrayLike = (0.0, 0.0)
) -> Outline:
    """Return a slot along X with round ends.

    Parameters
    ----------
    length, width : float
        Over all along X, and across, mm.
    facets : int
        Facets of a whole circle as wide as the slot: an end gets half of them.
    centre : (2,) float
        In mm.

    Raises
    ------
    OptionError
        If the slot is not longer than wide.

    Examples
    --------
    >>> slot(20.0, 6.0, facets=24).shape
    (26, 2)
    """
    reach = (length - width) / 2
    if reach <= 0:
        raise OptionError(
            f"a slot of {length} mm by {width} mm is not longer than wide: use a circle"
        )
    right = _arc(width / 2, -pi / 2, pi / 2, facets // 2) + (reach, 0.0)
    left = _arc(width / 2, pi / 2, 3 * pi / 2, facets // 2) - (reach, 0.0)
    return np.concatenate([right, left]) + np.asarray(centre, dtype=np.float64)


def notched_circle(
    radius: float, *, notches: int, depth: float, segments: int, start: float = 0.0
) -> Outline:
    """Return a circle with V notches of 90 degrees pointing at its centre.

    Parameters
    ----------
    radius : float
        Of the circle, mm.
    notches : int
        Number of notches, evenly spaced.
    depth : float
        From the circle to the bottom of a notch, mm.
    segments : int
        Facets of the arc between two notches.
    start : float
        Direction of the first notch, degrees from X.

    Examples
    --------
    >>> rim = notched_circle(43.0, notches=5, depth=2.5, segments=24)
    >>> rim.shape, rim[0].tolist()
    ((130, 2), [40.5, 0.0])
    """
    # The flank leaves the bottom at 45 degrees: (bottom + t)² + t² = radius².
    bottom = radius - depth
    half_width = (sqrt(2 * radius**2 - bottom**2) - bottom) / 2
    half_angle = asin(half_width / radius)
    pitch = 2 * pi / notches
    arc = _arc(radius, half_angle, pitch - half_angle, segments)
    one = np.concatenate([[(bottom, 0.0)], arc])
    turns = np.radians(start) + pitch * np.arange(notches)
    return np.concatenate([turned(one, turn) for turn in turns])


def turned(points: Outline, angle: float) -> Outline:
    """Turn points about the origin.

    Parameters
    ----------
    points : (n, 2) float
        In mm.
    angle : float
        Counter-clockwise, radian.

    Examples
    --------
    >>> turned(np.array([(2.0, 0.0)]), pi / 2).round(12).tolist()
    [[0.0, 2.0]]
    """
    c, s = cos(angle), sin(angle)
    x, y = points.T
    return np.column_stack([c * x - s * y, s * x + c * y])


def keyed_bore(radius: float, facets: int, *, width: float, reach: float) -> Outline:
    """Return a bore about the origin with a keyway in the direction of Y.

    Parameters
    ----------
    radius : float
        Of the bore, mm.
    facets : int
        Facets of the arc that is left of the circle.
    width : float
        Of the keyway, along X, mm.
    reach : float
        From the bore's axis to the bottom of the keyway, mm.

    Examples
    --------
    >>> keyed_bore(2.5, 48, width=2.0, reach=3.5).shape
    (51, 2)
    """
    half = asin(width / 2 / radius)
    arc = _arc(radius, pi / 2 + half, 5 * pi / 2 - half, facets)
    return np.concatenate([arc, [(width / 2, reach), (-width / 2, reach)]])


def scalloped(
    lobes: int,
    centre_radius: float,
    *,
    tip_radius: float,
    valley_radius: float,
    segments: int,
) -> Outline:
    """Return a grip of lobes: arcs bulging out, joined tangentially by hollow arcs.

    Outlines whose `tip_radius` is less by δ and whose `valley_radius` is more by δ are
    parallel curves at the distance δ, with the same arcs' centres: two of them at two
    heights give a wall of constant draft.

    Parameters
    ----------
    lobes : int
        Number of lobes, the first one in the direction of X.
    centre_radius : float
        Of the circle on which the centres of the lobes lie, mm.
    tip_radius, valley_radius : float
        Of the arcs that bulge out, and of the hollow ones, mm.
    segments : int
        Facets of each arc.

    Examples
    --------
    >>> grip = scalloped(12, 14.0, tip_radius=3.0, valley_radius=3.0, segments=8)
    >>> grip.shape, float(np.hypot(*grip.T).max())
    ((192, 2), 17.0)
    """
    half_pitch = pi / lobes
    reach = tip_radius + valley_radius
    hollow = centre_radius * cos(half_pitch) + sqrt(
        reach**2 - (centre_radius * sin(half_pitch)) ** 2
    )
    # Direction from a lobe's centre to that of the next hollow arc: the arcs touch there.
    across = hollow * sin(half_pitch)
    turn = np.arctan2(across, hollow * cos(half_pitch) - centre_radius)
    tip = _arc(tip_radius, -turn, turn, segments) + (centre_radius, 0.0)
    opening = turn - half_pitch
    valley = _arc(valley_radius, pi + opening, pi - opening, segments) + (hollow, 0.0)
    one = np.concatenate([tip[:-1], turned(valley, half_pitch)[:-1]])
    return np.concatenate([turned(one, 2 * half_pitch * k) for k in range(lobes)])
