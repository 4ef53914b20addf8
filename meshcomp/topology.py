"""Which faces share which edges, and what that says about the solid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._wedges import Around, directions_about_edges, next_half_edge, pair_wedges
from meshcomp.meshes import Mesh

__all__ = [
    "Topology",
    "bodies_and_holes",
    "bodies_of",
    "components",
    "cycles",
    "edge_ends",
    "fans",
    "genus",
    "least_of_cycles",
    "neighbours_about_edges",
    "next_half_edge",
    "topology_of",
]

_MOST_WALKED = 100  # faces about a vertex, where many vertices have more
_FEW = 100  # vertices: where so few are left, they are walked about all the same
_MOST_AROUND = 10_000  # faces about each of those


@dataclass(frozen=True, slots=True, eq=False)
class Topology:
    """The half-edges of a mesh and their twins.

    Half-edge `3 f + k` runs from corner k of face f to its next corner. `twins` holds
    the half-edge that runs the other way in the neighbour, or -1 where there is none.
    """

    twins: NDArray[np.int64]  # (3 m,)
    starts: NDArray[np.int64]  # (3 m,) vertex that each half-edge starts from
    crowded: int = 0  # edges that more than two faces share

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


def topology_of(mesh: Mesh) -> Topology:
    """Find the twin of every half-edge.

    Where more than two faces share an edge, the two on either side of one wedge of
    material are paired, so that bodies that touch along an edge stay apart.

    Examples
    --------
    >>> tetrahedron = Mesh(
    ...     [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)],
    ...     [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)],
    ... )
    >>> topology_of(tetrahedron).is_closed
    True
    """
    # Several steps of a job ask for it, and a mesh never changes.
    return mesh.kept("topology", _paired)


def _paired(mesh: Mesh) -> Topology:
    starts = mesh.faces.ravel()
    ends = np.roll(mesh.faces, -1, axis=1).ravel()
    keys = np.minimum(starts, ends) * len(mesh.vertices) + np.maximum(starts, ends)
    order = np.argsort(keys, kind="stable")
    keys, backward = keys[order], (starts > ends)[order]

    twins = np.full(len(starts), -1)
    simple = (keys[1:] == keys[:-1]) & (backward[1:] != backward[:-1])
    crowded, rows = 0, np.zeros(0, np.int64)
    if (keys[2:] == keys[:-2]).any():
        sizes = np.diff(np.flatnonzero(np.diff(keys, prepend=-1, append=-1)))
        crowded = int((sizes > 2).sum())  # noqa: PLR2004 - two faces share a plain edge
        rows = np.flatnonzero(np.repeat(sizes > 2, sizes))  # noqa: PLR2004
        simple[rows[rows < len(simple)]] = False
    first = np.flatnonzero(simple)
    twins[order[first]] = order[first + 1]
    twins[order[first + 1]] = order[first]
    if crowded:
        falling = _runs_back(mesh, starts[order[rows]], ends[order[rows]])
        around = Around(mesh, twins, order[rows], falling)
        wedges, among = pair_wedges(around, keys[rows])
        twins[among[wedges]] = among[wedges + 1]
        twins[among[wedges + 1]] = among[wedges]
    twins.flags.writeable = False
    return Topology(twins, starts, crowded)


def _runs_back(
    mesh: Mesh, starts: NDArray[np.int64], ends: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether edges run to the lower of their ends, (k,).

    That is told by places: numbers may be others once a file was written, and of faces
    that lie on each other other ones would be paired then.
    """
    step = mesh.vertices[ends] - mesh.vertices[starts]
    step = np.column_stack([step, ends - starts])
    first = np.argmax(step != 0, axis=1)
    return np.asarray(step[np.arange(len(step)), first] < 0)


def neighbours_about_edges(mesh: Mesh) -> NDArray[np.int64]:
    """Pair half-edges that follow each other about an edge of four faces, or six, or ...

    In a sound solid each such pair runs opposite ways: a face that ends material comes
    after one that begins it. Of faces that lie on each other every two are a pair, and
    the others follow each other as if those were not there.

    Returns
    -------
    pairs : (k, 2) int

    Examples
    --------
    >>> corners = [(0, 0, 0), (0, 0, 9), (1, 0, 0), (0, 1, 0), (-1, 0, 0), (0, -1, 0)]
    >>> star = Mesh(corners, [(0, 1, 2), (0, 1, 3), (0, 1, 4), (0, 1, 5)])
    >>> np.sort(neighbours_about_edges(star) // 3).tolist()
    [[0, 1], [1, 2], [2, 3], [0, 3]]
    """
    starts, ends = mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel()
    keys = np.minimum(starts, ends) * len(mesh.vertices) + np.maximum(starts, ends)
    order = np.argsort(keys, kind="stable")
    sizes = np.diff(np.flatnonzero(np.diff(keys[order], prepend=-1, append=-1)))
    order = order[np.repeat((sizes > 2) & (sizes % 2 == 0), sizes)]  # noqa: PLR2004
    twins = topology_of(mesh).twins
    half_edges = Around(mesh, twins, order, (starts > ends)[order])
    ways = directions_about_edges(half_edges, keys[order])
    around = np.argsort(ways, kind="stable")
    order, ways = order[around], ways[around]
    first = np.flatnonzero(np.diff(ways, prepend=-1))
    counts = np.diff(first, append=len(ways))
    place = np.arange(len(ways)) - np.repeat(first, counts)
    second = np.flatnonzero(place % 2)
    alone = order[first[counts % 2 == 1] + counts[counts % 2 == 1] - 1]
    edge = keys[alone]
    begins = np.flatnonzero(np.diff(edge, prepend=-1))
    following = np.arange(1, len(alone) + 1)
    following[begins + np.diff(begins, append=len(alone)) - 1] = begins
    return np.concatenate(
        [
            np.column_stack([order[second - 1], order[second]]),
            np.column_stack([alone, alone[following]]),
        ]
    ).reshape(-1, 2)


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
    if len(pairs) == 0:
        return np.arange(count)
    # Every round hooks the larger of two roots to the smaller and shortens all paths:
    # few rounds, and no import of a graph library at every start.
    root = np.arange(count)
    a, b = pairs[:, 0], pairs[:, 1]
    apart = np.flatnonzero(a != b)
    while len(apart):
        a, b = a[apart], b[apart]
        low, high = np.minimum(a, b), np.maximum(a, b)
        np.minimum.at(root, high, low)
        while not np.array_equal(above := root[root], root):
            root = above
        a, b = root[low], root[high]
        apart = np.flatnonzero(a != b)
    return np.asarray(np.cumsum(root == np.arange(count))[root] - 1, dtype=np.int64)


def bodies_of(mesh: Mesh) -> NDArray[np.int64]:
    """Label the connected surfaces of a mesh.

    Returns
    -------
    labels : (m,) int
        Surface of each face, numbered from 0. Read-only.
    """
    return mesh.kept("bodies", _bodies)


def bodies_and_holes(mesh: Mesh) -> tuple[int, int]:
    """Count the bodies of a closed mesh, and the holes through them (see `genus`)."""
    bodies = int(bodies_of(mesh).max(initial=-1)) + 1
    return bodies, genus(topology_of(mesh), bodies)


def _bodies(mesh: Mesh) -> NDArray[np.int64]:
    labels = components(len(mesh.faces), topology_of(mesh).pairs // 3)
    labels.flags.writeable = False
    return labels


def fans(topology: Topology) -> NDArray[np.int64]:
    """Label the fans of faces about the vertices.

    Where bodies touch in a vertex, it has a fan for each of them.

    Returns
    -------
    labels : (3 m,) int
        Fan of each corner, in the order of the half-edges that start there.
    """
    if not topology.is_closed:
        half_edges = np.flatnonzero(topology.twins >= 0)
        after = next_half_edge(topology.twins[half_edges])
        return components(len(topology.twins), np.column_stack([half_edges, after]))
    after = next_half_edge(topology.twins)
    first, counts = _first_corners(topology)
    if _are_walked(after, first, counts):
        least = first[topology.starts]  # a fan to a vertex, as nearly everywhere
    else:
        least = least_of_cycles(after)
    is_first = least == np.arange(len(least))
    return np.asarray(np.cumsum(is_first)[least] - 1, dtype=np.int64)


def _first_corners(topology: Topology) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First half-edge at each vertex, -1 where there is none, and how many there are."""
    starts = topology.starts
    counts = np.bincount(starts)
    first = np.full(len(counts), -1)
    # Assigning backwards leaves the first.
    first[starts[::-1]] = np.arange(len(starts) - 1, -1, -1)
    return first, counts


def _are_walked(
    after: NDArray[np.int64], first: NDArray[np.int64], counts: NDArray[np.int64]
) -> bool:
    """Whether walking about each vertex meets all of its half-edges."""
    begin = first[first >= 0]
    left = counts[first >= 0]
    here = begin
    for step in range(_MOST_AROUND):
        if step == _MOST_WALKED and len(here) > _FEW:
            break
        here, left = after[here], left - 1
        away = np.flatnonzero(here != begin)
        if len(away) < len(here):
            home = here == begin
            if left[home].any():
                return False
            here, begin, left = here[away], begin[away], left[away]
        if len(here) == 0:
            return True
    return False


def edge_ends(mesh: Mesh, half_edges: NDArray[np.int64]) -> NDArray[np.float64]:
    """Where half-edges, (k,), begin and end: (k, 2, 3) mm."""
    both = np.stack([half_edges, next_half_edge(half_edges)], axis=1)
    return np.asarray(mesh.vertices[mesh.faces.ravel()[both]])


def least_of_cycles(following: NDArray[np.int64]) -> NDArray[np.int64]:
    """Least member of the cycle of a permutation that each place is in.

    Examples
    --------
    >>> least_of_cycles(np.array([2, 3, 4, 1, 0])).tolist()
    [0, 1, 0, 1, 0]
    """
    # The least of twice as many is known at each step.
    least = np.minimum(np.arange(len(following)), following)
    while True:
        following = following[following]
        lower = np.minimum(least, least[following])
        if np.array_equal(lower, least):
            return least
        least = lower


def cycles(
    following: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Order a permutation by its cycles.

    Returns
    -------
    order : (n,) int
        Places one after the other, cycle after cycle, each from its least member on.
    cycle : (n,) int
        Of each of them, numbered from 0.

    Examples
    --------
    >>> order, cycle = cycles(np.array([2, 3, 4, 1, 0]))
    >>> order.tolist(), cycle.tolist()
    ([0, 2, 4, 1, 3], [0, 0, 0, 1, 1])
    """
    least = least_of_cycles(following)
    places = np.arange(len(following))
    # Steps to the end of each cycle, cut open where it begins: twice as many at each step.
    is_end = least == following
    ahead = np.where(is_end, places, following)
    steps = np.where(is_end, 0, 1)
    while not np.array_equal(further := ahead[ahead], ahead):
        steps += steps[ahead]
        ahead = further
    is_first = least == places
    sizes = steps[is_first] + 1
    cycle = (np.cumsum(is_first) - 1)[least]
    order = np.zeros(len(following), dtype=np.int64)
    order[np.cumsum(sizes)[cycle] - 1 - steps] = places
    return order, np.repeat(np.arange(len(sizes)), sizes)


def genus(topology: Topology, bodies: int) -> int:
    """Count the handles of a closed mesh, summed over its bodies.

    By Euler's formula V - E + F = 2 (bodies - genus), V the fans: bodies that touch in
    vertices or edges are counted each for itself.
    """
    vertices = int(fans(topology).max(initial=-1)) + 1
    faces = len(topology.twins) // 3
    return bodies - (vertices - faces // 2) // 2
