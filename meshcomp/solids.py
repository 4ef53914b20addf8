"""The only door to manifold3d: outlines, sections and solids in double precision."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh

__all__ = ["sections_at", "triangulate_outline"]

_FOLDED = -1e-9  # mm², twice the area below which a triangle is turned over


def triangulate_outline(loops: list[NDArray[np.float64]]) -> NDArray[np.int64] | None:
    """Triangulate a plane outline, keeping every point of it.

    Parameters
    ----------
    loops : list of (n, 2) float
        Outer loops counter-clockwise, holes clockwise, mm.

    Returns
    -------
    triangles : (k, 3) int or None
        Counter-clockwise, indices into the loops put end to end; None where the outline
        crosses itself, so that some triangle would be turned over.

    Examples
    --------
    >>> triangulate_outline([np.array([(0.0, 0.0), (1, 0), (1, 1), (0, 1)])]).shape
    (2, 3)
    """
    import manifold3d

    points = np.concatenate(loops)
    origin = points.mean(axis=0)
    triangles = manifold3d.triangulate([loop - origin for loop in loops], -1, False)
    triangles = np.asarray(triangles, dtype=np.int64).reshape(-1, 3)
    a, b, c = (points[triangles[:, k]] - origin for k in range(3))
    ab, ac = b - a, c - a
    doubled = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    return None if (doubled < _FOLDED).any() else triangles


def sections_at(
    mesh: Mesh, frame: NDArray[np.float64], heights: list[float]
) -> list[list[NDArray[np.float64]]]:
    """Cut a closed mesh by manifold3d, in double precision.

    Parameters
    ----------
    mesh : Mesh
        Closed, mm.
    frame : (3, 3) float
        Right-handed unit rows; the cuts are across the last one.
    heights : list of float
        Positions along the last row, mm.

    Returns
    -------
    sections : list of list of (n, 2) float
        Rings at each height, in the first two directions, mm.
    """
    import manifold3d

    turned = np.ascontiguousarray(mesh.vertices @ frame.T)
    solid = manifold3d.Manifold(manifold3d.Mesh64(turned, mesh.faces.astype(np.uint64)))
    return [
        [np.asarray(ring, dtype=np.float64) for ring in solid.slice(height).to_polygons()]
        for height in heights
    ]
