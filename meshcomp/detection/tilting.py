"""The axis of a cylinder from its corners, where normals tell it only roughly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import median
from meshcomp._vectors import turned, unit
from meshcomp.association import associate_circle
from meshcomp.detection.rough import rough_limit
from meshcomp.detection.scenes import Scene, frame_along
from meshcomp.errors import AssociationError

__all__ = ["is_nearly_round", "settled_axis"]

_STEPS = 25
_OUTLIERS = 3.0  # median absolute deviations
_SETTLED = 1e-9  # radians
_MOST_TILT = 0.2  # radians in one step: more is no improvement of a guess


def settled_axis(
    scene: Scene, faces: NDArray[np.int64], direction: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Tilt an axis until the corners of faces lie on one cylinder about it.

    Gauss-Newton steps on the axis's two tilts, its place and the radius; corners far
    from the cylinder, such as those of a fillet at its end, have no say.

    Parameters
    ----------
    scene : Scene
        The part.
    faces : (k,) int
        Most of which lie on the cylinder.
    direction : (3,) float
        Unit vector near its axis.

    Returns
    -------
    direction : (3,) float
        Unit vector; the one given if the corners make no cylinder.
    """
    corners = scene.mesh.vertices[scene.mesh.vertices_of(faces)]
    corners = corners - corners.mean(axis=0)
    axis = direction
    for _ in range(_STEPS):
        frame = frame_along(axis)
        local = corners @ frame.T
        tilt = _tilt(local, scene.limit)
        if tilt is None or float(np.abs(tilt).max()) > _MOST_TILT:
            return direction
        axis = unit(axis + tilt @ frame[:2])
        if float(np.abs(tilt).max()) < _SETTLED:
            break
    return np.asarray(axis)


def is_nearly_round(
    scene: Scene, faces: NDArray[np.int64], direction: NDArray[np.float64]
) -> bool:
    """Whether most corners of faces lie on a circle about an axis, but for a tilt of it."""
    corners = scene.mesh.vertices[scene.mesh.vertices_of(faces)]
    across = turned(corners, frame_along(direction)[:2])
    try:
        centre, diameter = associate_circle(across)
    except AssociationError:
        return False
    off = np.abs(np.hypot(*(across - centre).T) - diameter / 2)
    return median(off) <= rough_limit(diameter / 2)


def _tilt(local: NDArray[np.float64], limit: float) -> NDArray[np.float64] | None:
    """Small rotations, as shifts of the axis per height, that fit the corners better."""
    try:
        centre, diameter = associate_circle(local[:, :2])
    except AssociationError:
        return None
    across = local[:, :2] - centre
    distances = np.hypot(across[:, 0], across[:, 1])
    first = distances - diameter / 2
    outward = across / np.maximum(distances, 1e-12)[:, None]
    # A corner's distance changes by -u·(c + z t) - r.
    slopes = np.column_stack([-local[:, 2:] * outward, -outward, -np.ones(len(local))])
    off = first
    for _ in range(2):
        near = np.abs(off) <= _OUTLIERS * median(np.abs(off)) + limit
        if int(near.sum()) < slopes.shape[1]:
            return None
        step = np.linalg.lstsq(slopes[near], -first[near], rcond=None)[0]
        off = first + slopes @ step
    return np.asarray(step[:2])
