"""What is left without area where a strip came to nothing: films and points in one place.

A film is two faces back to back on the same three points.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import pieces
from meshcomp._vectors import all_of
from meshcomp.meshes import Mesh
from meshcomp.topology import components

__all__ = ["in_films", "joined_ends"]

_MIXER = np.uint64(0x9E3779B97F4A7C15)  # odd, its bits without order
_NO_AREA = 1e-6  # mm: height of a face that 32 bits cannot tell from none


def in_films(mesh: Mesh, fresh: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mark the faces of films: without them the surface is as closed as with them.

    Where a corner comes to lie on the edge opposite, or passes it, the triangles on either
    side of it may both be made of the same three points. Such a film has no area, or it
    sticks out: one of its edges at least is that of no other face. Bodies that touch
    have such pairs too, but other faces at each of their edges: they are left.

    Parameters
    ----------
    mesh : Mesh
        Triangles, mm.
    fresh : (m,) bool
        Faces made anew: only films with one of them are looked for.

    Returns
    -------
    films : (m,) bool

    Examples
    --------
    >>> line = [(0, 0, 0), (1, 0, 0), (3, 0, 0)]
    >>> in_films(Mesh(line, [(0, 1, 2), (2, 1, 0)]), np.array([True, False])).tolist()
    [True, True]
    """
    films = np.zeros(len(mesh.faces), dtype=bool)
    if not fresh.any():
        return films
    on = np.zeros(len(mesh.vertices), dtype=bool)
    on[mesh.faces[fresh]] = True
    rows = np.flatnonzero(all_of(on[mesh.faces]))
    pairs = rows[_back_to_back(mesh.faces[rows])]
    pairs = pairs[fresh[pairs].any(axis=1)]
    if len(pairs) == 0:
        return films
    flat = Mesh(mesh.vertices, mesh.faces[pairs[:, 0]]).heights <= _NO_AREA
    films[pairs[flat | _stick_out(mesh, pairs)]] = True
    return films


def _back_to_back(faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Pairs of faces on the same three points, and no third, that look apart, (k, 2)."""
    # Numbers that are equal for equal points in any order; others may be, seldom.
    mixed = (faces.astype(np.uint64) + np.uint64(1)) * _MIXER
    mixed ^= mixed >> np.uint64(29)
    keys = (mixed * _MIXER).sum(axis=1)
    order = np.argsort(keys, kind="stable")
    first = np.flatnonzero(np.diff(keys[order], prepend=~keys[order[:1]]))
    two = first[np.diff(first, append=len(keys)) == 2]  # noqa: PLR2004
    pairs = np.column_stack([order[two], order[two + 1]])
    one, other = faces[pairs[:, 0]], faces[pairs[:, 1]]
    turned = [all_of(np.roll(other[:, ::-1], k, axis=1) == one) for k in range(3)]
    return np.asarray(pairs[turned[0] | turned[1] | turned[2]])


def _stick_out(mesh: Mesh, pairs: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether two faces back to back have an edge that is that of no other face, (k,)."""
    at = np.zeros(len(mesh.vertices), dtype=bool)
    at[mesh.faces[pairs[:, 0]]] = True
    near = mesh.faces[at[mesh.faces].sum(axis=1) > 1]
    keys, counts = np.unique(_edge_keys(near, len(mesh.vertices)), return_counts=True)
    own = _edge_keys(mesh.faces[pairs[:, 0]], len(mesh.vertices))
    alone = counts[np.searchsorted(keys, own)] == 2  # noqa: PLR2004
    return np.asarray(alone.reshape(-1, 3).any(axis=1))


def _edge_keys(faces: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """Give the edges of faces one number, whichever way they run, (3k,)."""
    starts, ends = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    return np.asarray(np.minimum(starts, ends) * count + np.maximum(starts, ends))


def joined_ends(
    mesh: Mesh, changed: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Make one of the ends of edges without length, as whoever reads the file will.

    Parameters
    ----------
    mesh : Mesh
        Triangles, mm.
    changed : (m,) bool
        Faces whose edges are looked at.

    Returns
    -------
    faces : (m, 3) int
        By the vertices that are left.
    whole : (m,) bool
        Those that still have three corners.

    Examples
    --------
    >>> strip = Mesh([(0, 0, 0), (1, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1, 3), (1, 2, 3)])
    >>> faces, whole = joined_ends(strip, np.array([True, True]))
    >>> faces.tolist(), whole.tolist()
    ([[0, 1, 3], [1, 1, 3]], [True, False])
    """
    rows = np.flatnonzero(changed)
    found = [_without_length(mesh, mesh.faces[rows[some]]) for some in pieces(len(rows))]
    edges = np.concatenate([np.zeros((0, 2), dtype=np.int64), *found])
    if len(edges) == 0:
        return mesh.faces, np.ones(len(mesh.faces), dtype=bool)
    count = len(mesh.vertices)
    label = components(count, edges)
    first = np.full(int(label.max()) + 1, count)
    np.minimum.at(first, label, np.arange(count))
    faces = first[label][mesh.faces]
    return faces, (faces != np.roll(faces, -1, axis=1)).all(axis=1)


def _without_length(mesh: Mesh, faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Edges of some faces, (k, 3), whose ends are in one place: (e, 2)."""
    starts, ends = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    for place in np.ascontiguousarray(mesh.vertices.T):
        same = np.flatnonzero(place.take(starts) == place.take(ends))
        starts, ends = starts[same], ends[same]
    return np.column_stack([starts, ends])
