"""Convex hulls of few points each, united."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh

__all__ = ["united_hulls"]


def united_hulls(points: NDArray[np.float64]) -> Mesh:
    """Unite the convex hulls of groups of points.

    Parameters
    ----------
    points : (k, p, 3) float
        In mm; a hull each. Those that enclose nothing count for nothing.

    Returns
    -------
    mesh : Mesh
        Closed; without faces where no hull encloses anything.

    Examples
    --------
    >>> corners = np.array([(0, 0, 0), (2, 0, 0), (0, 2, 0), (0, 0, 3)], dtype=float)
    >>> both = united_hulls(np.array([corners, corners + 5]))
    >>> round(both.volume, 9), len(both.faces)
    (4.0, 8)
    """
    import manifold3d

    hulls = [manifold3d.Manifold.hull_points(group) for group in np.array(points)]
    whole = manifold3d.Manifold.batch_boolean(
        [hull for hull in hulls if not hull.is_empty()], manifold3d.OpType.Add
    ).to_mesh64()
    vertices = np.asarray(whole.vert_properties, dtype=np.float64)[:, :3]
    return Mesh(vertices, np.asarray(whole.tri_verts).astype(np.int64))
