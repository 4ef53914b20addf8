"""Faces without area: each taken up by its neighbour across its longest edge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.meshes import Mesh
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.topology import Topology, components, topology_of

__all__ = ["flat_limit", "without_needles", "without_slivers"]

_ROUNDS = 50
_LAST_BITS = 2.0**-24  # of the largest coordinate: what 32 bits cannot tell
_SMALL_SHARE = 1e-6  # of the diagonal
_ALIKE = 0.9  # cosine between a face and what it becomes


def flat_limit(mesh: Mesh) -> float:
    """Height below which a face has no area, mm."""
    if len(mesh.vertices) == 0:
        return 0.0
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    furthest = float(np.maximum(np.abs(low), np.abs(high)).max())
    # Far from the origin the last bits are coarse, but double precision may be there.
    return min(furthest * _LAST_BITS, float(np.linalg.norm(high - low)) * _SMALL_SHARE)


def without_slivers(work: Patchwork, limits: NDArray[np.float64]) -> tuple[Patchwork, int]:
    """Take out faces that are no higher than their limits, and split their neighbours.

    The middle corner of a face without area lies on its longest edge. The neighbour
    there is split at that corner, and the two are one closed surface without it. Two
    such faces back to back both go.

    Parameters
    ----------
    work : Patchwork
        Triangles, mm.
    limits : (m,) float
        Largest height of each face that counts as no area, mm; -1 for faces to keep.

    Returns
    -------
    work : Patchwork
    taken : int
        How many faces under `flat_limit` there are less.

    Examples
    --------
    >>> from meshcomp.repairing.patchwork import untouched
    >>> corners = [(0, 0, 0), (2, 0, 0), (0, 2, 0), (1, 0, 0)]
    >>> mended, taken = without_slivers(
    ...     untouched(Mesh(corners, [(0, 1, 2), (1, 0, 3)])), np.zeros(2)
    ... )
    >>> sorted(mended.mesh.faces.tolist()), taken
    ([[0, 3, 2], [3, 1, 2]], 1)
    """
    first = work
    for _ in range(_ROUNDS):
        flat = work.mesh.heights <= limits
        topology = topology_of(work.mesh)
        half_edges = _longest_edges(work.mesh, np.flatnonzero(flat))
        half_edges = half_edges[topology.twins[half_edges] >= 0]
        half_edges = _apart(_ready(work.mesh, topology, half_edges, flat), topology)
        done, flipped, gone = _taken_up(work, topology, half_edges)
        if len(flipped) + len(gone) == 0:
            break
        limits = limits.copy()
        limits[flipped] = -1.0  # now half of a neighbour
        keep = np.ones(len(limits), dtype=bool)
        keep[gone] = False
        work, limits = done.only(keep), limits[keep]
    was, now = (int((w.mesh.heights <= flat_limit(w.mesh)).sum()) for w in (first, work))
    return work, was - now


def _ready(
    mesh: Mesh,
    topology: Topology,
    half_edges: NDArray[np.int64],
    flat: NDArray[np.bool_],
) -> NDArray[np.int64]:
    """Those whose neighbour has an area, or lies back to back with its face."""
    twins = topology.twins[half_edges]
    corners = mesh.faces.ravel()
    back_to_back = corners[_turned(twins, 2)] == corners[_turned(half_edges, 2)]
    return np.asarray(half_edges[~flat[twins // 3] | back_to_back])


def _longest_edges(mesh: Mesh, rows: NDArray[np.int64]) -> NDArray[np.int64]:
    corners = mesh.vertices[mesh.faces[rows]]
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    return np.asarray(3 * rows + np.argmax(sides, axis=1), np.int64)


def _apart(half_edges: NDArray[np.int64], topology: Topology) -> NDArray[np.int64]:
    """Of face and neighbour pairs, those that share no face with an earlier one."""
    faces = np.column_stack([half_edges, topology.twins[half_edges]]) // 3
    first = np.full(len(topology.twins) // 3, len(half_edges))
    number = np.arange(len(half_edges))
    np.minimum.at(first, faces.ravel(), np.repeat(number, 2))
    return np.asarray(half_edges[(first[faces] == number[:, None]).all(axis=1)])


def _taken_up(
    work: Patchwork, topology: Topology, half_edges: NDArray[np.int64]
) -> tuple[Patchwork, NDArray[np.int64], NDArray[np.int64]]:
    """Flip the longest edges of faces; tell which faces were made anew, and which go."""
    mesh = work.mesh
    twins = topology.twins[half_edges]
    flat, neighbour = half_edges // 3, twins // 3
    start, end, middle = (mesh.faces.ravel()[_turned(half_edges, k)] for k in range(3))
    apex = mesh.faces.ravel()[_turned(twins, 2)]
    back_to_back = apex == middle
    gone = np.concatenate([flat[back_to_back], neighbour[back_to_back]])
    good = ~back_to_back & ~_joined_already(mesh, middle, apex)
    one = np.column_stack([end, middle, apex])
    two = np.column_stack([middle, start, apex])
    was = unit(mesh.area_vectors[neighbour])
    for new in (one, two):
        a, b, c = (mesh.vertices[new[:, k]] for k in range(3))
        good &= dot(unit(np.cross(b - a, c - a)), was) > _ALIKE
    faces, parents = mesh.faces.copy(), work.parents.copy()
    faces[flat[good]] = one[good]
    faces[neighbour[good]] = two[good]
    parents[flat[good]] = parents[neighbour[good]]
    return Patchwork(Mesh(mesh.vertices, faces), parents), flat[good], gone


def _turned(half_edges: NDArray[np.int64], k: int) -> NDArray[np.int64]:
    return half_edges - half_edges % 3 + (half_edges + k) % 3


def _joined_already(
    mesh: Mesh, a: NDArray[np.int64], b: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether vertices have an edge between them."""
    count = len(mesh.vertices)
    # Few edges are asked for: only at their ends is there anything to compare.
    asked = np.zeros(count, dtype=bool)
    asked[a] = asked[b] = True
    near = mesh.faces[asked[mesh.faces].sum(axis=1) > 1]
    starts, ends = near.ravel(), np.roll(near, -1, axis=1).ravel()
    keys = np.minimum(starts, ends) * count + np.maximum(starts, ends)
    new = np.minimum(a, b) * count + np.maximum(a, b)
    # Two flips at once must not make one edge twice either.
    _, index, counts = np.unique(new, return_inverse=True, return_counts=True)
    return np.asarray(np.isin(new, keys) | (counts[index.ravel()] > 1))


def without_needles(work: Patchwork, limit: float, movable: NDArray[np.bool_]) -> Patchwork:
    """Join vertices that are nearer than a limit, if the surface stays what it is.

    Parameters
    ----------
    work : Patchwork
        Closed, mm.
    limit : float
        Longest edge that goes, mm.
    movable : (n,) bool
        Vertices that may go into another.
    """
    mesh = work.mesh
    starts, ends = mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel()
    short = np.linalg.norm(mesh.vertices[starts] - mesh.vertices[ends], axis=1) <= limit
    short &= (starts < ends) & (movable[starts] | movable[ends])
    count = len(mesh.vertices)
    while short.any():
        label = components(count, np.column_stack([starts, ends])[short])
        faces = np.where(movable, _leaders(label, movable)[label], np.arange(count))[
            mesh.faces
        ]
        kept = (faces != np.roll(faces, -1, axis=1)).all(axis=1)
        bad = np.isin(label, label[_at_repeated(faces[kept], count)])
        again = short & (bad[starts] | bad[ends])
        if not again.any():
            joined = Patchwork(Mesh(mesh.vertices, faces[kept]), work.parents[kept])
            return joined if topology_of(joined.mesh).is_closed else work
        short &= ~again  # a neck would be closed there
    return work


def _leaders(label: NDArray[np.int64], movable: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Vertex that leads each group: one that may not move, where there is one."""
    order = np.lexsort([np.arange(len(label)), movable])
    leader = np.zeros(int(label.max()) + 1, np.int64)
    leader[label[order[::-1]]] = order[::-1]
    return leader


def _at_repeated(faces: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """Vertices at edges that more than one face runs along the same way."""
    keys = (faces * count + np.roll(faces, -1, axis=1)).ravel()
    found, counts = np.unique(keys, return_counts=True)
    several = found[counts > 1]
    return np.concatenate([several // count, several % count])
