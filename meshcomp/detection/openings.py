"""Whether a bore goes through or ends in the material."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.cylinders import CylinderFaces
from meshcomp.detection.scenes import Scene

__all__ = ["is_open_through"]

_DRILL_POINT = 1.2  # radii: a cone, a ball or a flat floor ends within this
_STEP = 0.02  # radii, off the axis, so that no ray meets an edge of a regular floor


def is_open_through(scene: Scene, bore: CylinderFaces) -> bool:
    """Whether a line near the axis leaves the bore on both sides without a floor."""
    radius = bore.diameter / 2
    middle = (bore.start + bore.end) / 2
    hits = _hits_along(scene, bore, bore.centre + _STEP * radius * np.array([0.61, 0.79]))
    above = hits[hits > middle]
    below = hits[hits < middle]
    reach = _DRILL_POINT * radius + 0.01
    floor_above = len(above) > 0 and above.min() < bore.end + reach
    floor_below = len(below) > 0 and below.max() > bore.start - reach
    return not (floor_above or floor_below)


def _hits_along(
    scene: Scene, bore: CylinderFaces, place: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Positions along the axis where the line through `place` meets faces, mm."""
    local = scene.mesh.vertices @ bore.frame.T
    across = (local[:, :2] - place)[scene.mesh.faces]
    low, high = across.min(axis=1), across.max(axis=1)
    near = np.flatnonzero(((low <= 0) & (high >= 0)).all(axis=1))
    a, b, c = (across[near, k] for k in range(3))

    def side(p: NDArray[np.float64], q: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0])

    weights = np.column_stack([side(b, c), side(c, a), side(a, b)])
    inside = (weights > 0).all(axis=1) | (weights < 0).all(axis=1)
    weights = weights[inside] / weights[inside].sum(axis=1, keepdims=True)
    heights = local[:, 2][scene.mesh.faces[near[inside]]]
    return np.asarray((weights * heights).sum(axis=1))
