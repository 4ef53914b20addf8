"""Faces that stand in a file more than once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.topology import components, topology_of

__all__ = [
    "amid_edges",
    "are_parts",
    "edge_numbers",
    "firsts_of_repeated",
    "hanging_together",
    "repeated_alike",
    "without_repeated",
]

_MOST_ONCE = 0.02  # of a surface drawn twice: what is not, since faces were lost
_MOST_OF_RIM = 0.9  # of a surface, to tell what it is; the rest may be beside holes
_MOST_SHARED = 0.25  # of all faces: two flat bodies share that much, drawn twice
_MOST_RIMS = 0.05  # of the edges of a surface: more are no accident


def without_repeated(work: Patchwork) -> tuple[Patchwork, int]:
    """Keep one of each face, and one side of what is drawn from both sides throughout.

    Faces that lie on each other back to back are left where two bodies touch: then some
    other edge than theirs has more than two faces. Of surfaces that hang together each is
    looked at for itself: nearly all of it is to be drawn again, either way round, and one
    that hardly closes keeps both sides, as it encloses nothing.

    Returns
    -------
    work : Patchwork
    dropped : int
        How many faces went.

    Examples
    --------
    >>> from meshcomp.meshes import Mesh
    >>> from meshcomp.repairing.patchwork import untouched
    >>> twice = Mesh([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1, 2), (1, 2, 0)])
    >>> without_repeated(untouched(twice))[1]
    1
    """
    faces = work.mesh.faces
    topology = topology_of(work.mesh)
    # An edge of a repeated face has more faces than two, or two that run the same way.
    if not topology.crowded and not (topology.neighbours < 0).all(axis=1).any():
        return work, 0
    ordered, is_even = _ordered(faces)
    keys = _numbered(ordered)
    first = _first_of_each(2 * keys + is_even)
    alone = _first_of_each(keys)
    kept = first if len(first) == len(alone) else _sides(work.mesh, keys, first, alone)
    kept = np.union1d(kept, _shared(work.mesh, keys, kept))
    kept = np.setdiff1d(kept, _backs(faces, keys, kept))
    if len(kept) == len(faces):
        return work, 0
    return work.only(kept), len(faces) - len(kept)


def firsts_of_repeated(faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Find the first of each face, whichever way round others have the same corners."""
    return _first_of_each(_numbered(_ordered(faces)[0]))


def repeated_alike(faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Find faces that stand there before with the same corners the same way round.

    Examples
    --------
    >>> repeated_alike(np.array([(0, 1, 2), (2, 1, 0), (1, 2, 0)])).tolist()
    [2]
    """
    ordered, is_even = _ordered(faces)
    first = _first_of_each(2 * _numbered(ordered) + is_even)
    return np.setdiff1d(np.arange(len(faces)), first)


def _sides(
    mesh: Mesh,
    keys: NDArray[np.int64],
    first: NDArray[np.int64],
    alone: NDArray[np.int64],
) -> NDArray[np.int64]:
    """Of faces, keep one side of surfaces that are drawn again throughout, (k,) rows.

    Where bodies touch, there are twice as many faces as elsewhere on such a surface: one
    that looks each way stays, unless that leaves more edges of an odd number of faces.
    """
    faces, count = mesh.faces, len(mesh.vertices)
    own = components(count, faces[:, [0, 1, 1, 2]].reshape(-1, 2))[faces[:, 0]]
    areas = np.linalg.norm(mesh.area_vectors, axis=1)
    times = np.bincount(keys)[keys]
    usual = _most_often(own, times, areas)
    drawn_again = usual > 1
    drawn_again &= np.bincount(own, np.where(times > 1, 0.0, areas), len(usual)) <= (
        _MOST_ONCE * np.bincount(own, areas, len(usual))
    )
    # Where every face has its back, nothing is enclosed but by one side of them.
    if len(first) != 2 * len(alone):
        drawn_again &= _are_nearly_closed(faces[alone], own[alone], len(usual))
    others = ~drawn_again[own]
    touching = others | (times >= 2 * usual[own])
    ways = [np.union1d(first[both[first]], alone) for both in (touching, others)]
    return min(ways, key=lambda rows: _odd_edges(faces[rows]))


def _shared(
    mesh: Mesh, keys: NDArray[np.int64], kept: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Find faces to keep though they are there already: two bodies touch in them.

    One of the bodies is inside out there. The surface of such faces has edges of an odd
    number of other faces all about it, that of faces drawn twice by accident has none. It
    is no large part of the whole, as a second drawing of all would be.
    """
    faces = mesh.faces
    times = np.bincount(keys[kept], minlength=int(keys.max()) + 1)
    left = np.setdiff1d(np.arange(len(faces)), kept)
    left = left[times[keys[left]] == 1]
    left = left[np.sort(np.unique(keys[left], return_index=True)[1])]
    if len(left) == 0:
        return np.zeros(0, np.int64)
    edges = edge_numbers(faces)
    total = np.bincount(edges[kept].ravel(), minlength=int(edges.max()) + 1)
    mine = edges[left].ravel()
    label = hanging_together(mine)
    shared = amid_edges(label, mine, (total % 2 == 1) & (total > 1))
    shared &= are_parts(mesh, left, label)
    return np.asarray(left[shared], np.int64)


def _backs(
    faces: NDArray[np.int64], keys: NDArray[np.int64], kept: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Find faces on the back of others that are closed without them.

    The surface of such faces has edges of two other faces all about it, where bodies
    touch there are three.
    """
    first = kept[_first_of_each(keys[kept])]
    backs = np.setdiff1d(kept, first)
    if len(backs) == 0:
        return backs
    edges = edge_numbers(faces)
    total = np.bincount(edges[first].ravel(), minlength=int(edges.max()) + 1)
    mine = edges[backs].ravel()
    needless = amid_edges(hanging_together(mine), mine, (total % 2 == 0) & (total > 0))
    return np.asarray(backs[needless], np.int64)


def hanging_together(edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """Label faces, three edges each, (3k,), that share edges, (k,)."""
    order = np.argsort(edges, kind="stable")
    same = edges[order][1:] == edges[order][:-1]
    links = np.column_stack([order[1:][same], order[:-1][same]]) // 3
    return components(len(edges) // 3, links)


def are_parts(
    mesh: Mesh, rows: NDArray[np.int64], label: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Mark faces of surfaces that are no large part of all, (k,), labels as given."""
    areas = np.linalg.norm(mesh.area_vectors, axis=1)
    return np.asarray(np.bincount(label, areas[rows])[label] <= _MOST_SHARED * areas.sum())


def amid_edges(
    label: NDArray[np.int64], edges: NDArray[np.int64], wanted: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Mark faces of surfaces with rims nearly all of which are edges of some kind.

    Parameters
    ----------
    label : (k,) int
        The surface of each face.
    edges : (3k,) int
        Edges of the faces, in turn.
    wanted : (e,) bool
        The edges of that kind.

    Returns
    -------
    marked : (k,) bool
    """
    at, count = np.unique(
        np.column_stack([np.repeat(label, 3), edges]), axis=0, return_counts=True
    )
    surface, edge = at[count % 2 == 1].T
    rims = np.bincount(surface, minlength=int(label.max(initial=-1)) + 1)
    found = np.bincount(surface, wanted[edge], len(rims))
    return np.asarray(((rims > 0) & (found >= _MOST_OF_RIM * rims))[label])


def edge_numbers(faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give the edges of faces numbers, (m, 3), the same whichever way they run."""
    low = np.minimum(faces, np.roll(faces, -1, axis=1))
    high = np.maximum(faces, np.roll(faces, -1, axis=1))
    keys = low * (int(faces.max()) + 1) + high
    return np.asarray(np.unique(keys, return_inverse=True)[1].reshape(-1, 3), np.int64)


def _odd_edges(faces: NDArray[np.int64]) -> int:
    """Count the edges of an odd number of faces."""
    return int((_at_edges(faces)[1] % 2).sum())


def _at_edges(faces: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First face at each edge, whichever way that runs, and how many there are, (e,)."""
    edges = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    _, first, counts = np.unique(edges, axis=0, return_index=True, return_counts=True)
    return first // 3, counts


def _most_often(
    own: NDArray[np.int64], times: NDArray[np.int64], areas: NDArray[np.float64]
) -> NDArray[np.int64]:
    """How often most of each surface is drawn, (s,)."""
    most = int(times.max()) + 1
    shares = np.bincount(own * most + times, areas, (int(own.max()) + 1) * most)
    return np.asarray(shares.reshape(-1, most).argmax(axis=1))


def _are_nearly_closed(
    faces: NDArray[np.int64], own: NDArray[np.int64], count: int
) -> NDArray[np.bool_]:
    """Whether few edges of each surface have one face, (count,)."""
    first, counts = _at_edges(faces)
    at = own[first]
    rims = np.bincount(at[counts == 1], minlength=count)
    return np.asarray(rims <= _MOST_RIMS * np.bincount(at, minlength=count))


def _ordered(faces: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Corners in rising order, and whether the face runs round them that way."""
    low, high = faces.min(axis=1), faces.max(axis=1)
    middle = faces.sum(axis=1) - low - high
    place = np.argmin(faces, axis=1)
    after = faces[np.arange(len(faces)), (place + 1) % 3]
    return np.column_stack([low, middle, high]), after == middle


def _numbered(rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give equal rows equal numbers."""
    order = np.lexsort(rows.T)
    new = (np.diff(rows[order], axis=0) != 0).any(axis=1)
    numbers = np.zeros(len(rows), np.int64)
    numbers[order[1:]] = np.cumsum(new)
    return numbers


def _first_of_each(keys: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.sort(np.unique(keys, return_index=True)[1])
