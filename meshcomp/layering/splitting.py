"""Split the triangles of a mesh where they reach over some heights."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh

__all__ = ["split_at"]


def split_at(
    mesh: Mesh, heights: NDArray[np.float64], limit: float
) -> tuple[Mesh, NDArray[np.int64]]:
    """Split triangles so that none reaches over one of the heights.

    Parameters
    ----------
    mesh : Mesh
        mm.
    heights : (k,) float
        Of the planes, mm.
    limit : float
        A corner nearer to a plane than this lies on it, mm.

    Returns
    -------
    mesh : Mesh
        The old vertices first.
    parents : (m,) int
        The old face of each face.

    Examples
    --------
    >>> upright = Mesh([(0, 0, 0), (2, 0, 0), (0, 0, 2)], [(0, 1, 2)])
    >>> fine, parents = split_at(upright, np.array([1.0]), 1e-6)
    >>> len(fine.faces), parents.tolist(), sorted(fine.vertices[3:, 0].tolist())
    (3, [0, 0, 0], [0.0, 1.0])
    """
    vertices, faces = mesh.vertices, mesh.faces
    parents = np.arange(len(faces))
    for height in heights:
        vertices, faces, parents = _split(vertices, faces, parents, float(height), limit)
    return Mesh(vertices, faces), parents


def _split(
    vertices: NDArray[np.float64],
    faces: NDArray[np.int64],
    parents: NDArray[np.int64],
    height: float,
    limit: float,
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]:
    away = vertices[:, 2] - height
    side = np.where(np.abs(away) <= limit, 0, np.sign(away)).astype(np.int64)
    of_face = side[faces]
    crossed = np.flatnonzero((of_face.min(axis=1) < 0) & (of_face.max(axis=1) > 0))
    if len(crossed) == 0:
        return vertices, faces, parents
    # Turn each face so that its lone corner comes first: the one alone on its side, or
    # the one on the plane.
    mine = of_face[crossed]
    on_plane = (mine == 0).any(axis=1)
    lone = np.where(
        on_plane,
        np.argmax(mine == 0, axis=1),
        np.argmax(mine == -np.sign(mine.sum(axis=1))[:, None], axis=1),
    )
    turned = faces[crossed[:, None], (lone[:, None] + np.arange(3)) % 3]
    a, b, c = turned.T
    ends = np.concatenate(
        [
            np.column_stack([b, c])[on_plane],
            np.column_stack([a, b])[~on_plane],
            np.column_stack([a, c])[~on_plane],
        ]
    )
    edges, index = np.unique(np.sort(ends, axis=1), axis=0, return_inverse=True)
    points = _points(vertices, edges, height)
    new = len(vertices) + index.reshape(-1)
    single, double = int(on_plane.sum()), int((~on_plane).sum())
    opposite = new[:single]
    first, second = new[single : single + double], new[single + double :]
    a0, b0, c0 = turned[on_plane].T
    a1, b1, c1 = turned[~on_plane].T
    pieces = [
        np.column_stack([a0, b0, opposite]),
        np.column_stack([a0, opposite, c0]),
        np.column_stack([a1, first, second]),
        np.column_stack([first, b1, c1]),
        np.column_stack([first, c1, second]),
    ]
    kept = np.ones(len(faces), dtype=bool)
    kept[crossed] = False
    one, two = parents[crossed[on_plane]], parents[crossed[~on_plane]]
    return (
        np.concatenate([vertices, points]),
        np.concatenate([faces[kept], *pieces]),
        np.concatenate([parents[kept], one, one, two, two, two]),
    )


def _points(
    vertices: NDArray[np.float64], edges: NDArray[np.int64], height: float
) -> NDArray[np.float64]:
    """Where edges pass a height, (e, 3): exactly at the height."""
    low, high = vertices[edges[:, 0]], vertices[edges[:, 1]]
    share = (height - low[:, 2]) / (high[:, 2] - low[:, 2])
    points = low + share[:, None] * (high - low)
    points[:, 2] = height
    return np.asarray(points)
