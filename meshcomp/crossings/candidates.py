"""Pairs of faces near enough to cross: by boxes, and about vertices of very many faces.

In a fan of n long faces about one vertex, boxes of some n²/8 pairs overlap. Two faces that
share a corner are parts of cones with their tips there, so they meet elsewhere only where
the arcs do that they subtend on a sphere about it; and arcs are short where faces are thin.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import unit
from meshcomp.boxes import overlapping_chunks
from meshcomp.meshes import Mesh

__all__ = ["near_pairs", "within_reach"]

_MANY = 500  # faces about a vertex: with fewer, boxes are as quick
_ROUNDING = 1e-9  # rad


def near_pairs(
    mesh: Mesh, *marks: NDArray[np.bool_], planes: NDArray[np.int64] | None = None
) -> Iterator[NDArray[np.int64]]:
    """Find pairs of faces that may cross, some at a time.

    Parameters
    ----------
    mesh : Mesh
        Triangles, mm.
    *marks : (m,) bool
        A pair has at least one of each.
    planes : (m,) int, optional
        Planar region of each face; pairs within a region are left out.

    Yields
    ------
    pairs : (k, 2) int
        Each pair once, in all of them.

    Raises
    ------
    NotASolidError
        If there are so many that no memory would hold them.
    """
    groups, hubs = _parted(mesh, planes)
    yield from overlapping_chunks(mesh.corners, *marks, groups=groups, deep=True)
    at = np.flatnonzero(hubs >= 0)
    at = at[np.argsort(hubs[at], kind="stable")]
    for rows in np.split(at, np.flatnonzero(np.diff(hubs[at])) + 1):
        if len(rows):
            arcs = _arcs(mesh, int(hubs[rows[0]]), rows)
            for pairs in overlapping_chunks(arcs, *(mark[rows] for mark in marks)):
                yield rows[pairs]


def within_reach(mesh: Mesh, marked: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Faces that reach into the box about the marked ones: others cross none of those.

    Parameters
    ----------
    mesh : Mesh
        Triangles, mm.
    marked : (m,) bool

    Returns
    -------
    faces : (k,) int
        Ascending.

    Examples
    --------
    >>> corners = [(0, 0, 0), (4, 0, 0), (0, 4, 0), (9, 0, 0), (9, 4, 0), (5, 0, 0)]
    >>> two = Mesh(corners, [(0, 1, 2), (3, 4, 5)])
    >>> within_reach(two, np.array([True, False])).tolist()
    [0]
    """
    if marked.all() or not marked.any():
        return np.flatnonzero(marked)
    mine = mesh.vertices[mesh.vertices_of(np.flatnonzero(marked))]
    reaches = np.ones(len(mesh.faces), dtype=bool)
    for axis, own in zip(mesh.vertices.T, mine.T, strict=True):
        a, b, c = np.ascontiguousarray(axis)[mesh.faces].T
        reaches &= np.minimum(np.minimum(a, b), c) <= own.max()
        reaches &= np.maximum(np.maximum(a, b), c) >= own.min()
    return np.flatnonzero(reaches)


def _parted(
    mesh: Mesh, planes: NDArray[np.int64] | None
) -> tuple[NDArray[np.int64] | None, NDArray[np.int64]]:
    """Group faces by what need not be looked at by boxes within: planes, or hubs.

    Returns
    -------
    groups : (m,) int or None
    hubs : (m,) int
        The vertex of very many faces that a face is grouped by, or -1.
    """
    counts = np.bincount(mesh.faces.ravel(), minlength=1)
    if counts.max() <= _MANY:
        return planes, np.zeros(0, dtype=np.int64)
    of_corners = counts[mesh.faces]
    busiest = np.argmax(of_corners, axis=1)
    rows = np.arange(len(mesh.faces))
    hubs, around = mesh.faces[rows, busiest], of_corners[rows, busiest]
    groups = rows if planes is None else planes
    hubs = np.where(around > np.maximum(np.bincount(groups)[groups], _MANY), hubs, -1)
    return np.where(hubs >= 0, int(groups.max()) + 1 + hubs, groups), hubs


def _arcs(mesh: Mesh, hub: int, rows: NDArray[np.int64]) -> NDArray[np.float64]:
    """Points whose boxes hold the arcs of faces on the unit sphere about a vertex."""
    faces = mesh.faces[rows]
    place = np.argmax(faces == hub, axis=1)
    k = np.arange(len(rows))
    ends = [
        unit(mesh.vertices[faces[k, (place + step) % 3]] - mesh.vertices[hub])
        for step in (1, 2)
    ]
    # An arc rises from its chord by 1 - cos of half its angle.
    rise = 1 - np.linalg.norm(ends[0] + ends[1], axis=1) / 2 + _ROUNDING
    pad = rise[:, None]
    return np.stack([end + way * pad for end in ends for way in (-1, 1)], axis=1)
