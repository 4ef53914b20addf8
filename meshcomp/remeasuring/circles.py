"""The diameter that a section shows of a bore or a boss."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._stretches import merged
from meshcomp.association import associate_circle
from meshcomp.errors import AssociationError
from meshcomp.features import Cylinder
from meshcomp.remeasuring.outlines import Outline
from meshcomp.remeasuring.places import Place

__all__ = ["diameter_at", "own_corners"]

_NEAR = 0.06  # mm, and a tenth of the radius: a corner to the circle expected
_NEAR_SHARE = 0.1
_LEAST_SEEN = 0.6  # of the arcs that have to be there
_LEAST_CORNERS = 5


def diameter_at(
    feature: Cylinder,
    planned: float,
    place: Place,
    centre: NDArray[np.float64],
    outline: Outline,
) -> float | None:
    """Associate a circle to the corners that a cylinder has in a section.

    A corner belongs to it if it lies near the circle expected and between two lines of
    the outline that lie on the cylinder's arcs, run about its axis the right way, and
    have both ends near the circle. Where an arc ends, the corner says as much of the
    neighbour as of the cylinder, and is left out.

    Returns
    -------
    diameter : float or None
        In mm; None if too little of the cylinder is seen.
    """
    exact = (planned, planned)
    between = (min(planned, feature.nominal_size), max(planned, feature.nominal_size))
    # Lines so short that none of their corners bends are measured point by point; a
    # cylinder that is not as planned may have stayed as it was.
    for shape, sizes in (
        (outline.bends, exact),
        (outline, exact),
        (outline.bends, between),
    ):
        corners, seen = own_corners(feature, sizes, place, centre, shape)
        if len(corners) >= _LEAST_CORNERS and seen >= _LEAST_SEEN * place.cover:
            try:
                return associate_circle(shape.points[corners])[1]
            except AssociationError:
                return None
    return None


def own_corners(
    feature: Cylinder,
    sizes: tuple[float, float],
    place: Place,
    centre: NDArray[np.float64],
    outline: Outline,
) -> tuple[NDArray[np.int64], float]:
    """Return the corners of a cylinder, (n,), and the angle their lines cover, radians."""
    away = outline.points - centre
    limit = min(_NEAR, _NEAR_SHARE * sizes[0] / 2)
    doubled = 2 * np.hypot(away[:, 0], away[:, 1])
    near = (doubled > sizes[0] - 2 * limit) & (doubled < sizes[1] + 2 * limit)
    lines = np.flatnonzero(near & near[outline.following])
    ends = outline.following[lines]
    angles = np.arctan2(away[lines, 1], away[lines, 0])
    turn = (np.arctan2(away[ends, 1], away[ends, 0]) - angles + np.pi) % (2 * np.pi) - np.pi
    # Material lies to the left: a bore's outline runs clockwise.
    own = turn < 0 if feature.is_internal else turn > 0
    own &= _within(angles + turn / 2, place.first)
    low = (angles + np.minimum(turn, 0.0))[own]
    seen = merged(np.column_stack([low, low + np.abs(turn[own])]))
    corners = np.intersect1d(lines[own], ends[own], assume_unique=True)
    return corners, float((seen[:, 1] - seen[:, 0]).sum())


def _within(angles: NDArray[np.float64], arcs: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether each angle lies on one of some arcs, (k, 2) from and to, radians."""
    beyond = (angles[:, None] - arcs[:, 0]) % (2 * np.pi)
    return np.asarray((beyond <= arcs[:, 1] - arcs[:, 0]).any(axis=1))
