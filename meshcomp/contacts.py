"""Faces of different bodies in one plane: against each other, or flush."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.boxes import overlapping_chunks
from meshcomp.meshes import Mesh

__all__ = ["flush_pairs", "touching_faces"]

_PARALLEL = 0.9999  # cosine between planes that faces of two bodies have in common


def touching_faces(
    mesh: Mesh,
    bodies: NDArray[np.int64],
    distance: float,
    marked: NDArray[np.bool_] | None = None,
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
    marked : (m,) bool, optional
        Only contacts with a face that is marked are looked for.

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
    if marked is None:
        marked = np.ones(len(mesh.faces), dtype=bool)
    touching[_in_one_plane(mesh, bodies, marked, distance, -1)] = True
    return touching


def flush_pairs(
    mesh: Mesh, bodies: NDArray[np.int64], marked: NDArray[np.bool_], distance: float
) -> NDArray[np.int64]:
    """Find faces of different bodies in one plane that look the same way and overlap.

    Both bodies have material behind them, so they have more than contact in common, even
    where no face crosses another.

    Parameters
    ----------
    mesh, bodies, distance
        As for `touching_faces`.
    marked : (m,) bool
        Only pairs of which at least one is marked are looked for.

    Returns
    -------
    pairs : (k, 2) int

    Examples
    --------
    >>> lower = [(0, 0, 0), (4, 0, 0), (0, 4, 0)]
    >>> upper = [(1, 1, 0), (2, 1, 0), (1, 2, 0)]
    >>> pair = Mesh(lower + upper, [(0, 1, 2), (3, 4, 5)])
    >>> flush_pairs(pair, np.array([0, 1]), np.ones(2, bool), 0.001).tolist()
    [[0, 1]]
    """
    return np.sort(_in_one_plane(mesh, bodies, marked, distance, 1), axis=1)


def _in_one_plane(
    mesh: Mesh,
    bodies: NDArray[np.int64],
    marked: NDArray[np.bool_],
    distance: float,
    way: int,
) -> NDArray[np.int64]:
    """Pairs of faces of different bodies with an area in common; way 1: alike, -1: not."""
    if len(bodies) == 0 or (bodies == bodies[0]).all():
        return np.zeros((0, 2), dtype=np.int64)
    reach = np.concatenate([mesh.corners - distance, mesh.corners + distance], axis=1)
    normals = unit(mesh.area_vectors)
    found = [np.zeros((0, 2), dtype=np.int64)]
    for pairs in overlapping_chunks(reach, marked, groups=bodies):
        alike = way * dot(normals[pairs[:, 0]], normals[pairs[:, 1]]) > _PARALLEL
        near = pairs[alike]
        apart = mesh.corners[near[:, 1], 0] - mesh.corners[near[:, 0], 0]
        near = near[np.abs(dot(normals[near[:, 0]], apart)) <= distance]
        found.append(near[_overlap(mesh, normals, near)])
    return np.concatenate(found)


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
