"""Faces of different bodies that lie against each other."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.boxes import overlapping_boxes
from meshcomp.meshes import Mesh

__all__ = ["touching_faces"]

_OPPOSED = -0.9999  # cosine between faces that lie against each other


def touching_faces(
    mesh: Mesh, bodies: NDArray[np.int64], distance: float
) -> NDArray[np.bool_]:
    """Mark faces that another body lies against.

    Parameters
    ----------
    mesh : Mesh
        Triangles, mm.
    bodies : (m,) int
        Body of each face.
    distance : float
        Largest gap, or overlap, that counts as contact, mm.

    Returns
    -------
    touching : (m,) bool

    Examples
    --------
    >>> lower = [(0, 0, 0), (4, 0, 0), (0, 4, 0)]
    >>> upper = [(1, 1, 0), (1, 2, 0), (2, 1, 0)]
    >>> pair = Mesh(lower + upper, [(0, 1, 2), (3, 4, 5)])
    >>> touching_faces(pair, np.array([0, 1]), 0.001).tolist()
    [True, True]
    """
    touching = np.zeros(len(mesh.faces), dtype=bool)
    if len(bodies) == 0 or (bodies == bodies[0]).all():
        return touching
    reach = np.concatenate([mesh.corners - distance, mesh.corners + distance], axis=1)
    pairs = overlapping_boxes(reach, np.ones(len(mesh.faces), dtype=bool))
    pairs = pairs[bodies[pairs[:, 0]] != bodies[pairs[:, 1]]]
    normals = unit(mesh.area_vectors)
    pairs = pairs[dot(normals[pairs[:, 0]], normals[pairs[:, 1]]) < _OPPOSED]
    gap = dot(
        normals[pairs[:, 0]], mesh.corners[pairs[:, 1], 0] - mesh.corners[pairs[:, 0], 0]
    )
    pairs = pairs[np.abs(gap) <= distance]
    pairs = pairs[_overlap(mesh, normals, pairs)]
    touching[pairs] = True
    return touching


def _overlap(
    mesh: Mesh, normals: NDArray[np.float64], pairs: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether coplanar faces have area in common: no edge of either parts them."""
    a, b = mesh.corners[pairs[:, 0]], mesh.corners[pairs[:, 1]]
    parted = np.zeros(len(pairs), dtype=bool)
    for one, other, normal in ((a, b, normals[pairs[:, 0]]), (b, a, normals[pairs[:, 1]])):
        for k in range(3):
            side = one[:, (k + 1) % 3] - one[:, k]
            inward = unit(np.cross(normal, side))
            reach = dot(other - one[:, k][:, None], inward[:, None]).max(axis=1)
            parted |= reach <= 1e-6  # noqa: PLR2004 - mm: sharing an edge is no contact
    return ~parted
