"""A surface of fewer faces for a picture: what is flat is joined, what is curved gathered.

Faces in one plane are joined by manifold3d, which keeps every outline. A surface of very
many facets that all look another way has nothing to join: there the corners in one small
cell of space become one of them, which takes a tenth of the time and of the memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import along, dot, unit
from meshcomp.cells import cells_of
from meshcomp.meshes import Mesh
from meshcomp.solids import thinned
from meshcomp.topology import next_half_edge, topology_of

__all__ = ["Fewer", "sharp_edges", "with_fewer_faces"]

Fewer = tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], float]

_FIRST_TOLERANCE = 2e-5  # of the part's diagonal
_FACTOR = 3
_MANY = 4  # times as many faces as are shown
_TRIES = 8
_SHARP = 0.88  # cosine of the angle between faces, 28 degrees
_THIN = 1e-3  # mm
_ANY_WAY = np.array([0.6180339887, 0.7548776662, 0.3176721962])  # few points lie level
_LOOKED_AT = 50_000  # edges
_FLAT = 1 - 1e-8  # cosine, 0.008 degrees
_CURVED = 2  # times as many bends as faces wanted
_FACES_OF_A_CELL = 3.0  # two to a corner, and more where cells are cut off
_WIDER = 1.25


def with_fewer_faces(mesh: Mesh, groups: NDArray[np.int64], most: int) -> Fewer | None:
    """Thin a closed mesh out until it has few faces.

    Parameters
    ----------
    mesh : Mesh
        Closed, mm.
    groups : (m,) int
        Not below zero; edges between faces of two groups stay.
    most : int
        Faces wanted.

    Returns
    -------
    faces : (k, 3) int
        Vertices of the mesh.
    groups : (k,) int
        Of each face.
    edges : (e, 2) int
        Vertices of edges where groups end or faces meet sharply.
    strayed : float
        By how much the surface may have moved, mm. None for all four if it cannot be
        thinned out.
    """
    made = _gathered(mesh, groups, most) if _is_curved(mesh, most) else None
    return _joined(mesh, groups, most) if made is None else made


def _is_curved(mesh: Mesh, most: int) -> bool:
    """Whether faces lie in many more planes than are wanted, told by some of the edges."""
    pairs = topology_of(mesh).pairs
    some = pairs[:: max(1, len(pairs) // _LOOKED_AT)] // 3
    first, second = (unit(mesh.area_vectors[side]) for side in some.T)
    bends = float((dot(first, second) < _FLAT).mean())
    return bends * len(mesh.faces) > _CURVED * most


def sharp_edges(mesh: Mesh, groups: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return where groups end, and where faces meet sharply, (k, 2) vertices."""
    pairs = topology_of(mesh).pairs
    one, two = pairs.T // 3
    normals = unit(mesh.area_vectors)
    is_thin = mesh.heights < _THIN
    is_sharp = dot(np.take(normals, one, axis=0), np.take(normals, two, axis=0)) < _SHARP
    # A sliver in a flat face may point anywhere.
    is_sharp &= ~(is_thin[one] | is_thin[two])
    starts = pairs[is_sharp | (groups[one] != groups[two]), 0]
    corners = mesh.faces.ravel()
    return np.column_stack([corners[starts], corners[next_half_edge(starts)]])


def _joined(mesh: Mesh, groups: NDArray[np.int64], most: int) -> Fewer | None:
    """Join faces that lie nearly in one plane, more and more.

    Each time what is left is thinned, which is quicker than all of it; it strays by as
    much as all steps together.
    """
    coarse = mesh
    tolerance, strayed = _FIRST_TOLERANCE * mesh.diagonal, 0.0
    if len(mesh.faces) > _MANY * most:  # the first of all takes longest
        tolerance *= _FACTOR
    for _ in range(_TRIES):
        made = thinned(coarse, groups, tolerance)
        if made is None:
            return None
        coarse, groups = made
        strayed += tolerance
        if len(coarse.faces) <= most:
            place = _places(mesh.vertices, coarse.vertices)
            edges = place[sharp_edges(coarse, groups)]
            return place[coarse.faces], groups, edges, strayed
        tolerance *= _FACTOR
    return None


def _places(vertices: NDArray[np.float64], some: NDArray[np.float64]) -> NDArray[np.int64]:
    """Index of each of some vertices among all."""
    levels = along(vertices, _ANY_WAY)
    order = np.argsort(levels)
    at = np.searchsorted(levels, along(some, _ANY_WAY), sorter=order)
    place = order[np.minimum(at, len(order) - 1)]
    if np.array_equal(vertices[place], some):  # no two of them lie level
        return np.asarray(place)
    from scipy.spatial import cKDTree

    return np.asarray(cKDTree(vertices).query(some)[1], dtype=np.int64)


def _gathered(mesh: Mesh, groups: NDArray[np.int64], most: int) -> Fewer | None:
    """Let the corners in one cell of space be one; those at sharp edges stay."""
    kept = np.zeros(len(mesh.vertices), dtype=bool)
    edges = sharp_edges(mesh, groups)
    kept[edges] = True
    room = most - 2 * int(kept.sum())
    normals = _at_vertices(mesh)
    area = float(np.linalg.norm(mesh.area_vectors, axis=1).sum())
    for attempt in range(_TRIES if room > most / 2 else 0):
        width = float(np.sqrt(_FACES_OF_A_CELL * area / room)) * _WIDER**attempt
        leaders = _leaders(mesh, normals, groups, kept, width)
        faces = leaders[mesh.faces]
        rows = np.flatnonzero(_have_three_corners(faces))
        if len(rows) <= most:
            return faces[rows], groups[rows], edges, _moved_by(mesh, normals, leaders)
    return None


def _at_vertices(mesh: Mesh) -> NDArray[np.float64]:
    """Mean unit normals at vertices, (n, 3)."""
    count = len(mesh.vertices)
    sums = np.zeros((count, 3))
    for corner in mesh.faces.T:
        for k, column in enumerate(mesh.area_vectors.T):
            sums[:, k] += np.bincount(corner, column, count)
    return unit(sums)


def _leaders(
    mesh: Mesh,
    normals: NDArray[np.float64],
    groups: NDArray[np.int64],
    kept: NDArray[np.bool_],
    width: float,
) -> NDArray[np.int64]:
    """Which vertex stands for each, (n,): the one nearest to the middle of its cell."""
    free = np.flatnonzero(~kept)
    points = mesh.vertices[free]
    cells = _by_group(cells_of(points, normals[free], width), _group_at(mesh, groups)[free])
    counts = np.bincount(cells)
    means = np.column_stack([np.bincount(cells, column) / counts for column in points.T])
    away = points - means[cells]
    order = np.lexsort([dot(away, away), cells])
    first = order[np.cumsum(counts) - counts]
    leaders = np.arange(len(kept))
    leaders[free] = free[first[cells]]
    return leaders


def _group_at(mesh: Mesh, groups: NDArray[np.int64]) -> NDArray[np.int64]:
    """Group of some face at each vertex, (n,): all have the same but where groups end."""
    at = np.zeros(len(mesh.vertices), dtype=np.int64)
    for corner in mesh.faces.T:
        at[corner] = groups
    return at


def _by_group(cells: NDArray[np.int64], groups: NDArray[np.int64]) -> NDArray[np.int64]:
    """Cells, (n,), parted by group, numbered from 0."""
    keys = cells * (int(groups.max(initial=0)) + 1) + groups
    return np.asarray(np.unique(keys, return_inverse=True)[1].ravel())


def _have_three_corners(faces: NDArray[np.int64]) -> NDArray[np.bool_]:
    a, b, c = faces.T
    return np.asarray((a != b) & (b != c) & (c != a))


def _moved_by(
    mesh: Mesh, normals: NDArray[np.float64], leaders: NDArray[np.int64]
) -> float:
    """How far corners went out of the surface where they were, at most, mm."""
    away = mesh.vertices[leaders] - mesh.vertices
    return float(np.abs(dot(away, normals)).max(initial=0.0))
