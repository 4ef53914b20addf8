"""What is left without area where a strip came to nothing: films and points in one place.

A film is two faces back to back on the same three points.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import pieces
from meshcomp.meshes import Mesh
from meshcomp.topology import components

__all__ = ["in_films", "joined_ends"]

_NO_AREA = 1e-6  # mm: height of a face that 32 bits cannot tell from none


def in_films(mesh: Mesh, fresh: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mark the faces of films: without them the surface is as closed as with them.

    Where a corner comes to lie on the edge opposite, the triangles on either side of it
    may both be made of the same three points. Faces of bodies that touch have an area, and
    are left.

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
    made = np.flatnonzero(fresh)
    flat = made[Mesh(mesh.vertices, mesh.faces[made]).heights <= _NO_AREA]
    if len(flat) == 0:
        return films
    on = np.zeros(len(mesh.vertices), dtype=bool)
    on[mesh.faces[flat]] = True
    rows = np.flatnonzero(on[mesh.faces].all(axis=1))
    faces = mesh.faces[rows]
    _, group = np.unique(np.sort(faces, axis=1), axis=0, return_inverse=True)
    least = np.argmin(faces, axis=1)
    after = [faces[np.arange(len(faces)), (least + k) % 3] for k in (1, 2)]
    rising = after[0] < after[1]  # round from the lowest number: one way or the other
    count = int(group.max()) + 1
    ways = [np.bincount(group.ravel()[rising == way], minlength=count) for way in (0, 1)]
    is_flat = np.isin(rows, flat)
    with_flat = np.bincount(group.ravel()[is_flat], minlength=count) > 0
    films[rows] = ((ways[0] == 1) & (ways[1] == 1) & with_flat)[group.ravel()]
    return films


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
