"""Take the first bands of a rounding away from the wall that it ends.

A rounding begins tangent to its wall: where coordinates are a few microns off, its first
bands lie on the wall's cylinder as well as the wall does. Rings of them, taken together,
do not: all of their corners are off the same way.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import along, dot, turned
from meshcomp.detection.scenes import Circle, Prospect

__all__ = ["without_roundings"]

_RING = 12  # corners, at least, whose mean is told from chance
_CHANCE = 6.0  # standard errors
_LEAST = 3e-4  # mm off the circle: less is not looked for
_FURTHEST = 1.0  # mm from the end
_LEAST_LEAN = 0.015  # sine, of bands of a rounding; corners amid facets tell none
_RIM = 0.01  # mm by which corners of one rim may differ in height
_MOST = 0.3  # of the length


def without_roundings(
    view: Prospect, circle: Circle, faces: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Leave out faces at the ends of a wall where rings of corners leave its circle.

    Parameters
    ----------
    view : Prospect
        The scene along the cylinder's axis.
    circle : Circle
        Of the wall, and not of its roundings.
    faces : (k,) int
        On the circle by their corners, sorted.
    """
    mesh = view.scene.mesh
    vertices = mesh.faces[faces]
    corners = turned(mesh.vertices[vertices.ravel()], view.frame).reshape(-1, 3, 3)
    heights = corners[..., 2]
    off = np.hypot(*np.moveaxis(corners[..., :2] - circle.centre, -1, 0)) - circle.radius
    once = np.unique(vertices, return_index=True)[1]
    vectors = mesh.area_vectors[faces]
    areas = np.sqrt(dot(vectors, vectors))
    off -= _middle(off.mean(axis=1), areas)  # the circle may be known roughly only
    spread = _middle(np.abs(off).mean(axis=1), areas)
    low = _cut(heights.ravel()[once], off.ravel()[once], spread)
    high = -_cut(-heights.ravel()[once], off.ravel()[once], spread)
    leaning = along(view.scene.regions.face_normals[faces], view.frame[2]) * areas
    inside = np.ones(len(faces), dtype=bool)
    for beyond in (heights.min(axis=1) < low, heights.max(axis=1) > high):
        if abs(leaning[beyond].sum()) > _LEAST_LEAN * areas[beyond].sum():
            inside &= ~beyond
    # A wall has most of the area; where it does not, its ends were led astray by chance.
    return np.asarray(faces[inside]) if areas[inside].sum() > areas.sum() / 2 else faces


def _middle(values: NDArray[np.float64], areas: NDArray[np.float64]) -> float:
    """Median by area, which the small faces of a rounding change little."""
    order = np.argsort(values, kind="stable")
    total = np.cumsum(areas[order])
    return float(values[order[np.searchsorted(total, total[-1] / 2)]])


def _cut(heights: NDArray[np.float64], off: NDArray[np.float64], spread: float) -> float:
    """Height from which the wall goes up, seen from its lower end, mm."""
    order = np.argsort(heights, kind="stable")
    heights, off = heights[order], off[order]
    reach = heights[0] + min(_FURTHEST, _MOST * (heights[-1] - heights[0]))
    counts = np.arange(_RING, int(np.searchsorted(heights, reach)) + 1)
    if len(counts) == 0:
        return float(heights[0])
    means = np.abs(np.cumsum(off[: counts[-1]])[counts - 1] / counts)
    surely = np.where(means > _LEAST, means * np.sqrt(counts), 0.0)
    most = int(np.argmax(surely))
    if surely[most] <= _CHANCE * spread:
        return float(heights[0])
    return float(heights[min(int(counts[most]), len(heights) - 1)] - _RIM)
