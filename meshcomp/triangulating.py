"""Triangulate many small plane outlines: quads all at once, and nothing twice.

A refined cylinder has thousands of strips, nearly all of them quads, and from one try to
the next few outlines move.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import bases_across, dot
from meshcomp.loops import Outlines
from meshcomp.meshes import Mesh

__all__ = ["Known", "Triangles", "triangulated"]

_CORNERS = 4  # of a quad
_FOLDED = -1e-9  # mm², twice the area below which a triangle is turned over


@dataclass(slots=True, eq=False)
class Known:
    """Outlines, and their triangles by region, each with what they hang on."""

    outlines: tuple[Mesh, NDArray[np.bool_], Outlines] | None = None
    found: dict[int, tuple[bytes, NDArray[np.int64] | None]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Triangles:
    """Triangles of regions: of quads first, and of others in the order of the outlines."""

    faces: NDArray[np.int64]  # (t, 3) vertices
    regions: NDArray[np.int64]  # (t,) of each
    failed: NDArray[np.int64]  # (f,) regions whose outline crosses itself: these have none


def triangulated(
    vertices: NDArray[np.float64],
    outlines: Outlines,
    normals: NDArray[np.float64],
    known: Known,
) -> Triangles:
    """Triangulate plane outlines, keeping every point of each.

    Parameters
    ----------
    vertices : (n, 3) float
        In mm.
    outlines : Outlines
        Vertex loops around each region, material to the left.
    normals : (k, 3) float
        Unit normal of each region.
    known : Known
        Of earlier calls; added to.

    Examples
    --------
    >>> square = np.array([(0.0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)])
    >>> up = np.array([(0.0, 0, 1)])
    >>> outline = Outlines.of({0: [[0, 1, 2, 3]]})
    >>> triangulated(square, outline, up, Known()).faces.tolist()
    [[0, 1, 2], [0, 2, 3]]
    """
    is_quad = _are_quads(outlines)
    quads, others = outlines.groups[is_quad], np.flatnonzero(~is_quad)
    corners = outlines.vertices[is_quad[outlines.of_vertex]].reshape(-1, _CORNERS)
    halves, good = _halved(vertices, corners, normals[quads])
    made = [np.zeros((0, 3), dtype=np.int64)]
    failed = quads[~good].tolist()
    numbers, counts = [], []
    for region, triangles in _one_by_one(vertices, outlines, normals, others, known):
        if triangles is None:
            failed.append(region)
            continue
        made.append(triangles)
        numbers.append(region)
        counts.append(len(triangles))
    return Triangles(
        np.concatenate([halves[good].reshape(-1, 3), *made]),
        np.concatenate([np.repeat(quads[good], 2), np.repeat(_whole(numbers), counts)]),
        _whole(failed),
    )


def _whole(numbers: list[int]) -> NDArray[np.int64]:
    return np.array(numbers, dtype=np.int64)


def _are_quads(outlines: Outlines) -> NDArray[np.bool_]:
    """Mark groups that have one ring of four corners, (g,)."""
    single = np.diff(outlines.rings) == 1
    sizes = np.append(np.diff(outlines.firsts), 0)
    return np.asarray(single & (sizes[outlines.rings[:-1]] == _CORNERS))


def _halved(
    vertices: NDArray[np.float64],
    corners: NDArray[np.int64],
    up: NDArray[np.float64],
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Cut quads in two, by the diagonal that leaves the smaller half larger.

    Returns
    -------
    halves : (q, 2, 3) int
    good : (q,) bool
        Where neither half is turned over.
    """
    points = vertices[corners]
    halves = []
    for split in ((0, 1, 2, 0, 2, 3), (1, 2, 3, 1, 3, 0)):
        a, b, c = (points[:, list(split)].reshape(-1, 2, 3, 3)[:, :, k] for k in range(3))
        doubled = dot(np.cross(b - a, c - a), up[:, None])
        halves.append((corners[:, list(split)].reshape(-1, 2, 3), doubled.min(axis=1)))
    (one, least), (other, other_least) = halves
    better = other_least > least
    chosen = np.where(better[:, None, None], other, one)
    return chosen, np.maximum(least, other_least) >= _FOLDED


def _one_by_one(
    vertices: NDArray[np.float64],
    outlines: Outlines,
    normals: NDArray[np.float64],
    places: NDArray[np.int64],
    known: Known,
) -> Iterator[tuple[int, NDArray[np.int64] | None]]:
    """Triangles of some groups, by their places."""
    regions = outlines.groups[places]
    bases = bases_across(normals[regions])
    points = vertices[outlines.vertices]
    rings, firsts = outlines.rings.tolist(), outlines.firsts.tolist()
    rows = zip(regions.tolist(), places.tolist(), bases, strict=True)
    for region, place, basis in rows:
        ends = firsts[rings[place] : rings[place + 1] + 1]
        own = slice(ends[0], ends[-1])
        loop = outlines.vertices[own], points[own], [end - ends[0] for end in ends[1:-1]]
        yield region, _remembered(region, loop, basis, known)


def _remembered(
    region: int,
    loops: tuple[NDArray[np.int64], NDArray[np.float64], list[int]],
    basis: NDArray[np.float64],
    known: Known,
) -> NDArray[np.int64] | None:
    """Triangulate an outline, unless it is where it was.

    `loops` has its vertices and points, and where its second loop and others begin.
    """
    index, points, begins = loops
    if len(index) == 0:
        return np.zeros((0, 3), dtype=np.int64)
    from meshcomp.solids import triangulate_outline

    key = b"".join([index.tobytes(), points.tobytes(), basis.tobytes()])
    before = known.found.get(region)
    if before is not None and before[0] == key:
        return before[1]
    flat = points @ basis.T
    found = triangulate_outline(np.split(flat, begins) if begins else [flat])
    triangles = None if found is None else index[found]
    known.found[region] = key, triangles
    return triangles
