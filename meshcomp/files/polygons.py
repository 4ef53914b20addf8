"""Cutting polygons into triangles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["fans", "folded_polygons", "folding_notes"]


def fans(
    corners: NDArray[np.int64], counts: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Cut polygons into triangles that meet in their first corner.

    Parameters
    ----------
    corners : (k,) int
        Vertex indices of all polygons, one polygon after the other.
    counts : (p,) int
        Number of corners of each polygon, at least 3.

    Returns
    -------
    faces : (m, 3) int
    polygon_of_face : (m,) int

    Examples
    --------
    >>> faces, polygon_of_face = fans(np.array([4, 5, 6, 7]), np.array([4]))
    >>> faces.tolist(), polygon_of_face.tolist()
    ([[4, 5, 6], [4, 6, 7]], [0, 0])
    """
    pieces = counts - 2
    polygon = np.repeat(np.arange(len(counts)), pieces)
    first = (np.cumsum(counts) - counts)[polygon]
    second = first + 1 + np.arange(len(polygon)) - (np.cumsum(pieces) - pieces)[polygon]
    faces = np.stack([corners[first], corners[second], corners[second + 1]], axis=1)
    return faces, polygon


def folded_polygons(
    points: NDArray[np.float64],
    faces: NDArray[np.int64],
    polygon_of_face: NDArray[np.int64],
) -> int:
    """Count the polygons of which a triangle faces away from the rest.

    These are not convex, so that cutting them into fans folds the surface.

    Parameters
    ----------
    points : (n, 3) float
    faces, polygon_of_face
        As `fans` returns them.
    """
    a, b, c = (points[faces[:, k]] for k in range(3))
    areas = np.cross(b - a, c - a)
    count = int(polygon_of_face.max(initial=-1)) + 1
    wholes = np.stack(
        [np.bincount(polygon_of_face, areas[:, k], count) for k in range(3)], axis=1
    )
    along = np.einsum("ij,ij->i", areas, wholes[polygon_of_face])
    scale = np.einsum("ij,ij->i", wholes, wholes)[polygon_of_face]
    return len(np.unique(polygon_of_face[along < -1e-9 * scale]))


def folding_notes(folded: int) -> tuple[str, ...]:
    """Return what to tell about polygons that are not convex.

    Examples
    --------
    >>> folding_notes(0)
    ()
    """
    if not folded:
        return ()
    note = (
        f"{folded} polygons are not convex, so cutting them into triangles may fold the "
        "surface: export triangles"
    )
    return (note,)
