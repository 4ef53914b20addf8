"""Shapes of bores that lie: ellipses, and circles under a roof that needs no support.

A lying bore's width and height print differently, so what is asked for is an ellipse. Or
its upper arc is replaced by the two tangents at the steepest overhang that prints cleanly;
they meet in a point, at r / sin(overhang) above the axis, or are cut level with the top of
the circle. Below the tangents, where it carries, the bore stays round.
"""

from __future__ import annotations

from math import atan2, cos, pi, radians, sin

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across, unit
from meshcomp.features import Cylinder
from meshcomp.plans import Correction, Lying

__all__ = ["edge_angles", "farthest_offset", "radii", "upright_frame"]

_UP = np.array([0.0, 0.0, 1.0])
_TURN = np.arange(720) * pi / 360  # the top is one of them


def upright_frame(cylinder: Cylinder) -> NDArray[np.float64]:
    """Return unit vectors across a lying axis, (2, 3): level, and upwards."""
    level = unit(np.cross(_UP, cylinder.direction))
    return np.array([level, np.cross(cylinder.direction, level)])


def radii(
    cylinder: Cylinder, correction: Correction, points: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return how far from the axis points, (k, 3), of a wall are to be, (k,) mm.

    Points keep the direction in which they lie from the axis.

    Examples
    --------
    >>> from meshcomp import demo_part, inspect
    >>> from meshcomp.plans import Correction
    >>> bore = max(inspect(demo_part("stepper_bracket")).cylinders,
    ...     key=lambda found: found.build_angle * found.nominal_size)
    >>> wanted = Correction(feature_id=bore.id, kind="bore", nominal_size=22.0,
    ...     predicted_deviation=None, standard_uncertainty=None, target_size=22.0,
    ...     mesh_size=22.0, offset=0.0, reason="", lying=Lying(height=22.4))
    >>> top = bore.point + [0.0, 0.0, 11.0]
    >>> radii(bore, wanted, top[None]).round(9).tolist()
    [11.2]
    """
    size = correction.drawn_size or cylinder.nominal_size
    if correction.lying is None:
        return np.full(len(points), size / 2)
    across = (points - cylinder.point) @ upright_frame(cylinder).T
    return _radius(np.arctan2(across[:, 1], across[:, 0]), size, correction.lying)


def _radius(angle: NDArray[np.float64], size: float, lying: Lying) -> NDArray[np.float64]:
    """Distance of the shape from its axis at angles from level, (k,)."""
    a, b = size / 2, lying.height / 2
    if not lying.roof:
        return np.asarray(a * b / np.hypot(b * np.cos(angle), a * np.sin(angle)))
    overhang = radians(lying.overhang)
    turned = np.arcsin(np.clip(np.sin(angle), -1.0, 1.0))  # both sides are alike
    roof = a / np.cos(np.maximum(turned - overhang, 0.0))
    if lying.roof == "flat":
        roof = np.minimum(roof, a / np.maximum(np.sin(turned), 0.1))
    return np.asarray(np.where(turned > overhang, roof, a))


def edge_angles(cylinder: Cylinder, lying: Lying | None) -> NDArray[np.float64]:
    """Return where a roof begins, bends and ends, as angles in `basis_across`, (k,) rad."""
    if lying is None or not lying.roof:
        return np.zeros(0)
    overhang = radians(lying.overhang)
    tips = [pi / 2]
    if lying.roof == "flat":
        corner = atan2(cos(overhang), 1 - sin(overhang))
        tips = [corner, pi - corner]
    angles = np.array([overhang, *tips, pi - overhang])
    ways = np.column_stack([np.cos(angles), np.sin(angles)]) @ upright_frame(cylinder)
    x, y = basis_across(cylinder.direction) @ ways.T
    return np.asarray(np.arctan2(y, x) % (2 * pi))


def farthest_offset(cylinder: Cylinder, correction: Correction) -> float:
    """Return the offset, mm, where a cylinder's surface is to go farthest.

    That of all of it, unless the bore lies and is to be an ellipse or to have a roof.
    """
    if correction.lying is None:
        return correction.offset
    size = correction.drawn_size or cylinder.nominal_size
    away = _radius(_TURN, size, correction.lying) - cylinder.nominal_size / 2
    farthest = float(away[np.argmax(np.abs(away))])
    return -farthest if cylinder.is_internal else farthest
