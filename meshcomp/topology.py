"""Which faces share which edges, and what that says about the solid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh

__all__ = ["Topology", "components", "genus", "next_half_edge", "topology_of"]


@dataclass(frozen=True, slots=True, eq=False)
class Topology:
    """The half-edges of a mesh and their twins.

    Half-edge `3 f + k` runs from corner k of face f to its next corner. `twins` holds
    the half-edge that runs the other way in the neighbour, or -1 where there is none.
    """

    twins: NDArray[np.int64]  # (3 m,)

    @property
    def open_half_edges(self) -> NDArray[np.int64]:
        """Half-edges without a neighbour."""
        return np.flatnonzero(self.twins < 0)

    @property
    def is_closed(self) -> bool:
        """Whether every face has its three neighbours, all oriented alike."""
        return len(self.twins) > 0 and not bool((self.twins < 0).any())

    @property
    def neighbours(self) -> NDArray[np.int64]:
        """Face across each half-edge, (m, 3), -1 where there is none."""
        return np.where(self.twins < 0, -1, self.twins // 3).reshape(-1, 3)

    def neighbours_of(self, faces: NDArray[np.int64]) -> NDArray[np.int64]:
        """Faces across the three edges of some faces, (k, 3), -1 where there is none."""
        twins = self.twins[3 * faces[:, None] + np.arange(3)]
        return np.where(twins < 0, -1, twins // 3)

    @property
    def pairs(self) -> NDArray[np.int64]:
        """Half-edges and their twins, each edge once, (e, 2)."""
        half_edges = np.arange(len(self.twins))
        first = half_edges[half_edges < self.twins]
        return np.column_stack([first, self.twins[first]])


def next_half_edge(half_edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the half-edge that follows each one around its face.

    Examples
    --------
    >>> next_half_edge(np.array([3, 4, 5])).tolist()
    [4, 5, 3]
    """
    return half_edges - half_edges % 3 + (half_edges + 1) % 3


def topology_of(mesh: Mesh) -> Topology:
    """Find the twin of every half-edge.

    Where more than two faces share an edge, half-edges of opposite direction are paired
    in the order of their faces.

    Examples
    --------
    >>> tetrahedron = Mesh(
    ...     [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)],
    ...     [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)],
    ... )
    >>> topology_of(tetrahedron).is_closed
    True
    """
    starts = mesh.faces.ravel()
    ends = np.roll(mesh.faces, -1, axis=1).ravel()
    keys = np.minimum(starts, ends) * len(mesh.vertices) + np.maximum(starts, ends)
    order = np.argsort(keys, kind="stable")
    keys, backward = keys[order], (starts > ends)[order]

    twins = np.full(len(starts), -1)
    simple = np.flatnonzero((keys[1:] == keys[:-1]) & (backward[1:] != backward[:-1]))
    counts = np.diff(np.flatnonzero(np.diff(keys, prepend=-1, append=-1)))
    if (counts > 2).any():  # noqa: PLR2004 - two faces share a plain edge
        # Sort by direction within an edge and pair k-th forward with k-th backward.
        simple, order = _pair_ranked(keys, backward, order)
    twins[order[simple]] = order[simple + 1]
    twins[order[simple + 1]] = order[simple]
    return Topology(twins)


def _pair_ranked(
    keys: NDArray[np.int64], backward: NDArray[np.bool_], order: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Reorder so that the half-edges to be paired stand next to each other."""
    by_side = np.lexsort([backward, keys])
    key, side = keys[by_side], backward[by_side]
    group = np.flatnonzero(np.diff(key * 2 + side, prepend=-1))
    rank = np.arange(len(key)) - np.repeat(group, np.diff(np.append(group, len(key))))
    paired = np.lexsort([side, rank, key])
    key, side, rank = key[paired], side[paired], rank[paired]
    same = (key[1:] == key[:-1]) & (rank[1:] == rank[:-1]) & (side[1:] != side[:-1])
    return np.flatnonzero(same), order[by_side][paired]


def components(count: int, pairs: NDArray[np.int64]) -> NDArray[np.int64]:
    """Label the connected components of a graph.

    Parameters
    ----------
    count : int
        Number of nodes.
    pairs : (e, 2) int
        Nodes joined to each other.

    Returns
    -------
    labels : (count,) int
        Component of each node, numbered from 0.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    ones = np.ones(len(pairs), dtype=np.int8)
    graph = coo_array((ones, (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def genus(mesh: Mesh, bodies: int) -> int:
    """Count the handles of a closed mesh, summed over its bodies.

    By Euler's formula V - E + F = 2 (bodies - genus).
    """
    vertices = len(np.unique(mesh.faces))
    return bodies - (vertices - len(mesh.faces) // 2) // 2
