"""Loops of open half-edges: the rims of holes and slits."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.meshes import Mesh

__all__ = ["joined_at_rims", "loops_of", "vertex_pairs"]


def loops_of(mesh: Mesh, half_edges: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Link open half-edges into closed loops that pass no vertex twice.

    Where several rims meet in a vertex, the loop goes on along the half-edge that turns
    back most sharply, so that the two sides of a slit come together.

    Parameters
    ----------
    mesh : Mesh
        Triangles, mm.
    half_edges : (k,) int
        Half-edges without a neighbour.

    Returns
    -------
    loops : list of (n,) int
        Half-edges, each beginning where the one before it ends; n >= 2.

    Examples
    --------
    >>> leaf = Mesh([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1, 2)])
    >>> [loop.tolist() for loop in loops_of(leaf, np.arange(3))]
    [[0, 1, 2]]
    """
    starts = mesh.faces.ravel()[half_edges]
    ends = mesh.faces.ravel()[half_edges - half_edges % 3 + (half_edges + 1) % 3]
    after = _followers(mesh.vertices, starts, ends).tolist()
    loops: list[NDArray[np.int64]] = []
    seen = [False] * len(after)
    begins = starts.tolist()
    for first in range(len(after)):
        path: list[int] = []
        place: dict[int, int] = {}  # of each vertex on the path
        now = first
        while now >= 0 and not seen[now]:
            seen[now] = True
            place[begins[now]] = len(path)
            path.append(now)
            now = after[now]
            if now >= 0 and begins[now] in place:
                cut = place[begins[now]]
                loops.append(half_edges[path[cut:]])
                for dropped in path[cut:]:
                    del place[begins[dropped]]
                del path[cut:]
    return loops


def _followers(
    vertices: NDArray[np.float64], starts: NDArray[np.int64], ends: NDArray[np.int64]
) -> NDArray[np.int64]:
    """For each directed edge the one that goes on from its end, -1 where there is none."""
    order = np.argsort(starts, kind="stable")
    low = np.searchsorted(starts[order], ends)
    counts = np.searchsorted(starts[order], ends, side="right") - low
    row = np.repeat(np.arange(len(ends)), counts)
    rank = np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts)
    other = order[np.repeat(low, counts) + rank]
    way = unit(vertices[ends] - vertices[starts])
    back = -dot(way[row], way[other])
    after = np.full(len(starts), -1)
    taken = np.zeros(len(starts), dtype=bool)
    # Round by round, each edge asks for the sharpest turn left, and the sharpest asks win.
    while len(row):
        best = np.lexsort([-back, other])
        best = best[np.diff(other[best], prepend=-1) != 0]
        wins = best[np.lexsort([-back[best], row[best]])]
        wins = wins[np.diff(row[wins], prepend=-1) != 0]
        after[row[wins]] = other[wins]
        taken[other[wins]] = True
        left = (after[row] < 0) & ~taken[other]
        row, other, back = row[left], other[left], back[left]
    return after


def joined_at_rims(mesh: Mesh, half_edges: NDArray[np.int64]) -> set[tuple[int, int]]:
    """Pairs of vertices that have an edge already, of those at some half-edges, (k,)."""
    at_rim = np.zeros(len(mesh.vertices), dtype=bool)
    at_rim[mesh.faces.ravel()[half_edges]] = True
    return vertex_pairs(mesh.faces[at_rim[mesh.faces].sum(axis=1) > 1])


def vertex_pairs(faces: NDArray[np.int64]) -> set[tuple[int, int]]:
    """Vertices of the edges of faces, (m, 3), the lower number first."""
    edges = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    return set(map(tuple, edges.tolist()))
