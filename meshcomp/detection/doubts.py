"""Reasons why faces near a cylinder are none: cones, blends, curves drawn by hand."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import along
from meshcomp.detection.growing import ON_CYLINDER_LIMIT, telling_corners
from meshcomp.detection.scenes import Circle, Prospect

__all__ = ["is_doubtful"]

_LEAST_TAPER = 5e-4  # mm, change of radius from end to end
_LEAN_LIMIT = 2e-3  # mean sine of the normals along the axis
_ONE_SIDED = 0.5  # mean over root mean square of the faces' lean
_SCATTER_LIMIT = 0.004  # mm: three corners in four lie nearer to the circle
_LETTERING_SIZE = 3.0  # mm: smaller rings that are shallow may be engraved letters
_LETTERING_DEPTH = 1.0
_SINGLE = 2.0**-24  # relative rounding of a 32-bit coordinate


def is_doubtful(
    view: Prospect, circle: Circle, faces: NDArray[np.int64], limit: float
) -> bool:
    """Whether faces on a circle are no cylinder, by their corners and normals.

    Parameters
    ----------
    view : Prospect
        The scene along the axis.
    circle : Circle
        As associated to the corners.
    faces : (k,) int
        Faces on it.
    limit : float
        How far a corner may be off the circle, mm; more than `ON_CYLINDER_LIMIT` where
        the mesh was made anew.
    """
    corners = telling_corners(view, faces)
    deviations = np.hypot(*(corners[:, :2] - circle.centre).T) - circle.radius
    on = np.abs(deviations) <= limit  # those amid a chord say nothing
    heights, deviations = corners[on, 2], deviations[on]
    return (
        _is_tapered(heights, deviations)
        or _leans_one_way(view, faces)
        or _is_scattered(deviations, limit)
        or _is_lettering(view, circle, heights, deviations)
    )


def _is_tapered(heights: NDArray[np.float64], deviations: NDArray[np.float64]) -> bool:
    """Whether the radius changes along the axis by more than its scatter explains."""
    away = heights - heights.mean()
    slope = float(away @ deviations) / max(float(away @ away), 1e-12)
    scatter = float(np.std(deviations - slope * away))
    return abs(slope) * float(np.ptp(heights)) > _LEAST_TAPER + 4 * scatter


def _is_scattered(deviations: NDArray[np.float64], limit: float) -> bool:
    """Whether too many corners lie far from the circle."""
    most = _SCATTER_LIMIT if limit <= ON_CYLINDER_LIMIT else limit
    return float(np.quantile(np.abs(deviations), 0.75)) > most


def _leans_one_way(view: Prospect, faces: NDArray[np.int64]) -> bool:
    """Whether faces look along the axis, like a cone's; a cylinder's lean both ways."""
    scene = view.scene
    weights = np.linalg.norm(scene.mesh.area_vectors[faces], axis=1)
    leaning = along(scene.regions.face_normals[faces], view.frame[2])
    mean = np.average(leaning, weights=weights)
    spread = np.average(leaning**2, weights=weights)
    return bool(abs(mean) > _LEAN_LIMIT + _ONE_SIDED * np.sqrt(spread))


def _is_lettering(
    view: Prospect,
    circle: Circle,
    heights: NDArray[np.float64],
    deviations: NDArray[np.float64],
) -> bool:
    """Whether a small shallow ring is less round than its coordinates could be.

    Letters are drawn with splines; a bore's corners lie on its circle to rounding.
    """
    small = 2 * circle.radius < _LETTERING_SIZE and np.ptp(heights) <= _LETTERING_DEPTH
    rounding = 2e-5 + 4 * _SINGLE * float(np.abs(view.scene.mesh.vertices).max())
    return bool(small and np.abs(deviations).max() > rounding)
