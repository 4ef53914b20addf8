"""Rims that lie a hair apart, joined where that closes them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.topology import components, topology_of

__all__ = ["crack_limit", "joined_cracks", "rim_edges"]

WIDEST = 0.01  # mm
_WIDEST_SHARE = 5e-4  # of the diagonal: a small part has small features
_STEPS = (0.02, 0.1, 1.0)  # of the widest, tried one after the other
_SAME = 2e-4  # mm: points of rims nearer than that are one, whatever it closes
_NEAREST = 6  # corners looked at about each, so that no file makes it slow


def crack_limit(mesh: Mesh) -> float:
    """Width of the widest crack that is joined, mm."""
    return min(WIDEST, _WIDEST_SHARE * mesh.diagonal)


def rim_edges(mesh: Mesh) -> NDArray[np.int64]:
    """Half-edges of edges that have one face only, in rising order."""
    topology = topology_of(mesh)
    # Such an edge has no twin; so only where edges are crowded are all looked at.
    half_edges = topology.open_half_edges
    if topology.crowded:
        half_edges = np.arange(3 * len(mesh.faces))
    keys = _edge_keys(mesh.faces, half_edges, len(mesh.vertices))
    order = np.argsort(keys, kind="stable")
    first = np.flatnonzero(np.diff(keys[order], prepend=-1))
    single = np.diff(first, append=len(keys)) == 1
    return np.sort(half_edges[order[first[single]]])


def _edge_keys(
    faces: NDArray[np.int64], half_edges: NDArray[np.int64], count: int
) -> NDArray[np.int64]:
    """Give half-edges of one edge the same number, whichever way they run."""
    following = half_edges - half_edges % 3 + (half_edges + 1) % 3
    starts, ends = faces.ravel()[half_edges], faces.ravel()[following]
    return np.asarray(np.minimum(starts, ends) * count + np.maximum(starts, ends))


def joined_cracks(work: Patchwork, *, narrow: bool = False) -> tuple[Patchwork, int]:
    """Join points of rims that are nearly the same, where that closes edges.

    Two points of one face are never joined, so that no edge and no face is lost. A join
    over more than 0.2 µm after which no edge is closed is undone. Edges of bodies that
    touch are closed with four faces.

    Parameters
    ----------
    work : Patchwork
        In mm.
    narrow : bool, optional
        Whether to join nothing over more than 0.2 µm: corners of strips that are thinner
        than a crack may be are points of their own.

    Returns
    -------
    work : Patchwork
    joined : int
        How many points went into others.

    Examples
    --------
    >>> from meshcomp.meshes import Mesh
    >>> from meshcomp.repairing.patchwork import untouched
    >>> corners = [(0, 0, 0), (9, 0, 0), (0, 9, 0), (0, 0, 0.002), (9, 0, 0), (0, -9, 0)]
    >>> halves = untouched(Mesh(corners, [(0, 1, 2), (4, 3, 5)]))
    >>> joined_cracks(halves)[1]
    2
    """
    total = 0
    for share in _STEPS:
        rims = rim_edges(work.mesh)
        if len(rims) == 0:
            break
        limit = share * crack_limit(work.mesh)
        edges = _Edges(rims, _torn_edges(work.mesh))
        work, joined = _joined(work, edges, min(limit, _SAME) if narrow else limit)
        total += joined
    return work, total


@dataclass(frozen=True, slots=True, eq=False)
class _Edges:
    """Half-edges of edges that a crack may run along."""

    rims: NDArray[np.int64]  # with one face
    torn: NDArray[np.int64]  # of bodies that touch, see `_torn_edges`


def _torn_edges(mesh: Mesh) -> NDArray[np.int64]:
    """Half-edges of edges of which a crack has left two or three faces of four.

    Where bodies touch, four faces share an edge. Two that are left of them lie back to
    back; three are one too few, which is then on the other side of the crack.
    """
    twins = topology_of(mesh).twins
    apex = mesh.faces[:, [2, 0, 1]].ravel()
    alone = np.flatnonzero(apex == apex[twins])
    alone = alone[twins[alone] >= 0]
    if topology_of(mesh).crowded:
        alone = np.union1d(alone, topology_of(mesh).open_half_edges)
    count = _faces_at(mesh.faces, len(mesh.vertices), alone)
    torn = (count == 3) | ((count == 2) & (twins[alone] >= 0))  # noqa: PLR2004
    return np.asarray(alone[torn], np.int64)


def _joined(work: Patchwork, edges: _Edges, limit: float) -> tuple[Patchwork, int]:
    mesh = work.mesh
    count = len(mesh.vertices)
    loose = np.union1d(_ends(mesh, edges.rims), _about(mesh, edges.torn, limit))
    leaders = _leaders(mesh, loose, limit)
    if (leaders == np.arange(count)).all():
        return work, 0
    # Joins that close nothing, or make an edge of many faces, are undone.
    if limit > _SAME:
        leaders = _useful(mesh.faces, edges, leaders)
    moved = int((leaders != np.arange(count)).sum())
    return (work.with_faces(leaders[mesh.faces]), moved) if moved else (work, 0)


def _ends(mesh: Mesh, half_edges: NDArray[np.int64]) -> NDArray[np.int64]:
    following = half_edges - half_edges % 3 + (half_edges + 1) % 3
    return np.unique(mesh.faces.ravel()[np.concatenate([half_edges, following])])


def _about(mesh: Mesh, torn: NDArray[np.int64], limit: float) -> NDArray[np.int64]:
    """Vertices at torn edges, and near those: two plain surfaces may meet in them."""
    from scipy.spatial import cKDTree

    ends = _ends(mesh, torn)
    if len(ends) == 0:
        return ends
    used = np.unique(mesh.faces)
    near = cKDTree(mesh.vertices[ends]).query(
        mesh.vertices[used], distance_upper_bound=limit
    )[0]
    return np.asarray(used[np.isfinite(near)])


def _leaders(mesh: Mesh, loose: NDArray[np.int64], limit: float) -> NDArray[np.int64]:
    """For each vertex, the first of some loose ones that it may be one with."""
    from scipy.spatial import cKDTree

    points = mesh.vertices[loose]
    near = min(_NEAREST, len(loose))
    distances, found = cKDTree(points).query(points, k=near, distance_upper_bound=limit)
    rows = np.repeat(np.arange(len(loose)), near)
    hit = np.isfinite(distances.ravel())
    pairs = np.column_stack([rows[hit], found.ravel()[hit]])
    label = components(len(loose), pairs[pairs[:, 0] < pairs[:, 1]])
    first = np.full(int(label.max(initial=-1)) + 1, len(loose))
    np.minimum.at(first, label, np.arange(len(loose)))
    chosen = first[label]
    # A chain of points is no point; nor may a cluster hold two corners of a face.
    far = np.linalg.norm(points - points[chosen], axis=1) > limit
    leaders = np.arange(len(mesh.vertices))
    leaders[loose] = loose[chosen]
    moved = leaders[mesh.faces]
    collapsed = (moved == np.roll(moved, -1, axis=1)).any(axis=1)
    bad = np.zeros(len(leaders), dtype=bool)
    bad[leaders[loose[far]]] = True
    bad[moved[collapsed]] = True
    return np.where(bad[leaders], np.arange(len(leaders)), leaders)


def _faces_at(
    faces: NDArray[np.int64], count: int, half_edges: NDArray[np.int64] | None = None
) -> NDArray[np.int64]:
    """Count the faces that share the edge of each half-edge, or of some."""
    asked = np.arange(faces.size) if half_edges is None else half_edges
    if len(asked) == 0:
        return asked
    keys = _edge_keys(faces, np.arange(faces.size), count)
    _, index, counts = np.unique(keys, return_inverse=True, return_counts=True)
    return np.asarray(counts[index.ravel()[asked]], np.int64)


def _useful(
    faces: NDArray[np.int64], edges: _Edges, leaders: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Undo joins after which no edge has two faces, or one has too many."""
    count = len(leaders)
    involved = leaders != np.arange(count)
    involved[leaders[involved]] = True
    near = np.flatnonzero(involved[faces].any(axis=1))
    joined = leaders[faces[near]]
    before, after = _faces_at(faces[near], count), _faces_at(joined, count)
    torn = np.isin(_half_edges_of(near), np.concatenate([edges.rims, edges.torn]))
    paired = _along(joined, count, torn) & (after > before) & (after % 2 == 0)
    crowd = (after > 2) & (after > before) & (after % 2 == 1)  # noqa: PLR2004
    starts, ends = joined.ravel(), np.roll(joined, -1, axis=1).ravel()
    closed = np.zeros(count, dtype=bool)
    for rows, is_good in ((paired, True), (crowd, False)):
        closed[starts[rows]] = is_good
        closed[ends[rows]] = is_good
    return np.where(closed[leaders], leaders, np.arange(count))


def _half_edges_of(faces: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.asarray((3 * faces[:, None] + np.arange(3)).ravel())


def _along(
    faces: NDArray[np.int64], count: int, marked: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Mark all half-edges of edges of which one is marked, (3k,)."""
    keys = _edge_keys(faces, np.arange(faces.size), count)
    return np.isin(keys, keys[marked])
