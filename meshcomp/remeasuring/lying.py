"""The width, height and roof that a section shows of a bore that lies."""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import unit
from meshcomp.association import associate_circle
from meshcomp.errors import AssociationError
from meshcomp.features import Cylinder
from meshcomp.plans import Lying
from meshcomp.remeasuring.circles import own_corners
from meshcomp.remeasuring.outlines import Outline
from meshcomp.remeasuring.places import Place

__all__ = ["lying_size"]

_LEAST_CORNERS = 6
_UP = np.array([0.0, 0.0, 1.0])


def lying_size(
    feature: Cylinder,
    planned: tuple[float, Lying],
    place: Place,
    frame: NDArray[np.float64],
    outline: Outline,
) -> tuple[float, float] | None:
    """Measure a lying bore in a section across its axis.

    Without a roof an ellipse with upright and level axes is associated to the corners by
    linear least squares. With one, a circle is associated to those below the tangents;
    the height is then what the tangents' distances from its centre tell: the diameter
    that both would touch.

    Parameters
    ----------
    feature : Cylinder
    planned : float and Lying
        Width and shape wanted, mm.
    place : Place
        Where to look.
    frame : (3, 3) float
        Unit rows: across the axis, and along it.
    outline : Outline
        Of the section, in the first two rows of the frame.

    Returns
    -------
    width, height : float
        In mm; None if too little of the bore is seen.
    """
    width, lying = planned
    centre = frame[:2] @ feature.point
    level = unit(np.cross(_UP, frame[2]))
    turn = frame[:2] @ np.column_stack([level, np.cross(frame[2], level)])
    corners_only = outline.bends
    away = (corners_only.points - centre) @ turn
    # Seen as wide as high, or with its roof pressed down, the shape is about a circle.
    pressed = _pressed(away, width, lying) @ turn.T + centre
    seen = replace(corners_only, points=pressed)
    at = away[own_corners(feature, (width, width), place, centre, seen)[0]]
    if len(at) < _LEAST_CORNERS:
        return None
    return _roofed(at, lying) if lying.roof else _ellipse(at)


def _pressed(away: NDArray[np.float64], width: float, lying: Lying) -> NDArray[np.float64]:
    if not lying.roof:
        return away * [1.0, width / lying.height]
    above = away[:, 1] > width / 2 * _tangent(lying)[1]
    radius = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-9)
    reach = _reach(away[:, 0], away[:, 1], lying)
    return away * np.where(above, reach / radius, 1.0)[:, None]


def _tangent(lying: Lying) -> tuple[float, float]:
    """Return the normal of the roof's right side."""
    return cos(radians(lying.overhang)), sin(radians(lying.overhang))


def _reach(
    x: NDArray[np.float64], z: NDArray[np.float64], lying: Lying
) -> NDArray[np.float64]:
    """Return how far out points lie along the normals of the roof and its top."""
    n = _tangent(lying)
    sides = np.abs(x) * n[0] + z * n[1]
    return np.asarray(np.maximum(sides, z) if lying.roof == "flat" else sides)


def _ellipse(at: NDArray[np.float64]) -> tuple[float, float] | None:
    """Width and height by z² = p x² + q x + r z + s."""
    x, z = at.T
    columns = np.column_stack([x**2, x, z, np.ones_like(x)])
    p, q, r, s = np.linalg.lstsq(columns, z**2, rcond=None)[0]
    if p >= 0:
        return None
    # z² - r z - p x² - q x = s: complete the squares.
    reach = s + r**2 / 4 - q**2 / (4 * p)
    if reach <= 0:
        return None
    return 2 * float(np.sqrt(-reach / p)), 2 * float(np.sqrt(reach))


def _roofed(at: NDArray[np.float64], lying: Lying) -> tuple[float, float] | None:
    n = _tangent(lying)
    top = np.hypot(*at.T).min() * n[1]
    try:
        centre, width = associate_circle(at[at[:, 1] < top])
    except AssociationError:
        return None
    x, z = (at - centre).T
    roof = z > width / 2 * n[1] * 1.001
    distances = _reach(x[roof], z[roof], lying)
    if len(distances) == 0:
        return width, width
    worst = distances[np.argmax(np.abs(distances - width / 2))]
    return width, 2 * float(worst)
