"""Faces that cross other faces, found with a tree of boxes and exact-sided tests."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import unit
from meshcomp.crossings.candidates import near_pairs, within_reach
from meshcomp.crossings.judging import that_cross
from meshcomp.meshes import Mesh

__all__ = ["crossing_pairs"]


def crossing_pairs(
    mesh: Mesh,
    near: NDArray[np.bool_] | None = None,
    *,
    planes: NDArray[np.int64] | None = None,
    rims: NDArray[np.bool_] | None = None,
) -> NDArray[np.int64]:
    """Find pairs of faces that cross each other.

    Parameters
    ----------
    mesh : Mesh
        Triangles, mm.
    near : (m,) bool, optional
        Only pairs of which at least one face is marked are looked at.
    planes : (m,) int, optional
        Planar region of each face. Two of them cross only where the rim of one passes
        through the other, so that pairs of other faces are looked at only in such regions.
    rims : (m,) bool, optional
        Faces at the rims of those regions; goes with `planes`.

    Returns
    -------
    pairs : (k, 2) int
        Faces, the smaller number first.

    Examples
    --------
    >>> flat = [(0, 0, 0), (4, 0, 0), (0, 4, 0)]
    >>> upright = [(1, 1, -1), (1, 1, 1), (2, 1, 1)]
    >>> crossing_pairs(Mesh(flat + upright, [(0, 1, 2), (3, 4, 5)])).tolist()
    [[0, 1]]
    """
    marked = np.ones(len(mesh.faces), dtype=bool) if near is None else near
    rows = within_reach(mesh, marked)
    few = mesh if len(rows) == len(mesh.faces) else Mesh(mesh.vertices, mesh.faces[rows])
    if planes is None or rims is None:
        found = _crossing(few, near_pairs(few, marked[rows]))
    else:
        found = _of_planes(few, marked[rows], planes[rows], rims[rows])
    return np.asarray(rows[found])


def _of_planes(
    mesh: Mesh,
    marked: NDArray[np.bool_],
    planes: NDArray[np.int64],
    rims: NDArray[np.bool_],
) -> NDArray[np.int64]:
    """Pairs of faces that cross, looked for at rims first."""
    found = _crossing(mesh, near_pairs(mesh, marked, rims, planes=planes))
    crossed = np.zeros(int(planes.max(initial=-1)) + 1, dtype=bool)
    crossed[planes[found]] = True
    rows = np.flatnonzero(crossed[planes])
    few = Mesh(mesh.vertices, mesh.faces[rows])
    return np.asarray(rows[_crossing(few, near_pairs(few, marked[rows]))])


def _crossing(mesh: Mesh, candidates: Iterable[NDArray[np.int64]]) -> NDArray[np.int64]:
    """Pairs among the candidates that cross, in order."""
    normals = unit(mesh.area_vectors)
    found = [that_cross(mesh, normals, chunk) for chunk in candidates]
    nothing = np.zeros((0, 2), dtype=np.int64)
    pairs = np.sort(np.concatenate([nothing, *found]), axis=1)
    return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
