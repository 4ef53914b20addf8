"""Cut faces at a height, so that what lies below can move without what lies above."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.quads import edge_keys
from meshcomp.meshes import Mesh

__all__ = ["split_at_height"]

_ON_IT = 1e-5  # mm: a vertex that near to the height lies on it


def split_at_height(
    mesh: Mesh, height: float, wanted: NDArray[np.bool_]
) -> tuple[Mesh, NDArray[np.int64]]:
    """Put an edge loop into some faces of a mesh where they pass a height.

    Neighbours that share a cut edge are cut too, so the mesh stays closed; no surface
    changes, and the old vertices keep their numbers.

    Parameters
    ----------
    mesh : Mesh
    height : float
        In mm.
    wanted : (m,) bool
        Faces to be cut where they pass it.

    Returns
    -------
    mesh : Mesh
    parents : (k,) int
        The old face of each face.

    Examples
    --------
    >>> upright = Mesh([(0, 0, 0), (4, 0, 0), (0, 0, 4)], [(0, 1, 2)])
    >>> cut, parents = split_at_height(upright, 1.0, np.array([True]))
    >>> len(cut.faces), cut.vertices[3:].tolist()
    (3, [[0.0, 0.0, 1.0], [3.0, 0.0, 1.0]])
    """
    keys, points = _cuts(mesh, height, wanted)
    if len(keys) == 0:
        return mesh, np.arange(len(mesh.faces))
    count = len(mesh.vertices)
    at = _cut_of_each_edge(mesh, keys, count)
    faces, parents = _cut_faces(mesh.faces, at)
    order = np.argsort(parents, kind="stable")
    return Mesh(np.concatenate([mesh.vertices, points]), faces[order]), parents[order]


def _cuts(
    mesh: Mesh, height: float, wanted: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Keys of the edges that pass the height, sorted, and where they do, (k, 3)."""
    above = mesh.vertices[:, 2] - height
    above[np.abs(above) <= _ON_IT] = 0.0
    starts = mesh.faces[wanted]
    ends = np.roll(starts, -1, axis=1)
    passing = above[starts] * above[ends] < 0
    a, b = starts[passing], ends[passing]
    keys, first = np.unique(edge_keys(a, b, len(mesh.vertices)), return_index=True)
    # From the lower end to the upper one, so that both neighbours agree to the last bit.
    low, high = np.minimum(a, b)[first], np.maximum(a, b)[first]
    share = (above[low] / (above[low] - above[high]))[:, None]
    points = mesh.vertices[low] + share * (mesh.vertices[high] - mesh.vertices[low])
    points[:, 2] = height
    return keys, points


def _cut_of_each_edge(mesh: Mesh, keys: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """Find the new vertex on each edge to the next corner, (m, 3), -1 for none."""
    mine = edge_keys(mesh.faces, np.roll(mesh.faces, -1, axis=1), count)
    place = np.minimum(np.searchsorted(keys, mine), len(keys) - 1)
    return np.where(keys[place] == mine, count + place, -1)


def _cut_faces(
    faces: NDArray[np.int64], at: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Cut every face at its points, with the number of the old face for each."""
    number = (at >= 0).sum(axis=1)
    whole, once, twice = (np.flatnonzero(number == k) for k in range(3))
    made, owner = [faces[whole]], [whole]
    # Turned so that the cut edge comes first, then the corner opposite.
    f, p = _turned(faces[once], at[once], np.argmax(at[once] >= 0, axis=1))
    made += [
        np.column_stack([f[:, 0], p[:, 0], f[:, 2]]),
        np.column_stack([p[:, 0], f[:, 1], f[:, 2]]),
    ]
    owner += [once, once]
    # Turned so that the corner that both cut edges share comes first.
    f, p = _turned(faces[twice], at[twice], (np.argmax(at[twice] < 0, axis=1) + 2) % 3)
    made += [
        np.column_stack([f[:, 0], p[:, 0], p[:, 2]]),
        np.column_stack([p[:, 0], f[:, 1], f[:, 2]]),
        np.column_stack([p[:, 0], f[:, 2], p[:, 2]]),
    ]
    owner += [twice, twice, twice]
    return np.concatenate(made), np.concatenate(owner)


def _turned(
    faces: NDArray[np.int64], at: NDArray[np.int64], first: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Turn the corners of faces, and what is on their edges, so that one comes first."""
    order = (first[:, None] + np.arange(3)) % 3
    return np.take_along_axis(faces, order, axis=1), np.take_along_axis(at, order, axis=1)
