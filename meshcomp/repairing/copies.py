"""Bodies that a file holds twice, the second a hair beside the first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh

__all__ = ["second_drawings"]


def second_drawings(
    mesh: Mesh,
    bodies: dict[int, NDArray[np.int64]],
    pairs: NDArray[np.int64],
    limit: float,
) -> list[int]:
    """Find bodies that are others again, each corner no farther away than a limit.

    Parameters
    ----------
    mesh : Mesh
        In mm.
    bodies : dict of int to (k,) int
        Faces of each body.
    pairs : (p, 2) int
        Bodies to compare, the smaller number first: that one stays.
    limit : float
        In mm.

    Examples
    --------
    >>> from meshcomp.meshes import concatenate
    >>> corners = [(0, 0, 0), (9, 0, 0), (0, 9, 0), (0, 0, 9)]
    >>> one = Mesh(corners, [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)])
    >>> both = concatenate([one, one.moved(one.vertices + 0.003)])
    >>> faces = {0: np.arange(4), 1: np.arange(4, 8)}
    >>> second_drawings(both, faces, np.array([(0, 1)]), 0.01)
    [1]
    """
    again: list[int] = []
    for one, two in pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))].tolist():
        if one not in again and two not in again:
            own, other = (mesh.faces[bodies[k]] for k in (one, two))
            if len(own) == len(other) and _lie_together(mesh, own, other, limit):
                again.append(two)
    return again


def _lie_together(
    mesh: Mesh, own: NDArray[np.int64], other: NDArray[np.int64], limit: float
) -> bool:
    """Whether every corner of either body has one of the other's nearby."""
    from scipy.spatial import cKDTree

    points = [mesh.vertices[np.unique(faces)] for faces in (own, other)]
    if len(points[0]) != len(points[1]):
        return False
    ways = [
        cKDTree(a).query(b, distance_upper_bound=limit)[0]
        for a, b in (points, points[::-1])
    ]
    return bool(all(np.isfinite(way).all() for way in ways))
