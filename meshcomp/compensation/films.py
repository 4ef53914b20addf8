"""Films: two faces back to back that have no area, where a strip came to nothing."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh

__all__ = ["in_films"]

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
