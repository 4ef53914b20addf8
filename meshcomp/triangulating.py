"""Triangulate many small plane outlines: triangles and quads at once, nothing twice.

A refined cylinder has thousands of strips, nearly all of them quads, a sphere's plane
outlines are triangles, and from one try to the next few outlines move.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import bases_across, dot
from meshcomp.loops import Outlines
from meshcomp.meshes import Mesh

__all__ = ["Known", "Triangles", "triangulated"]

_TRIANGLE, _QUAD = 3, 4  # corners
_FOLDED = -1e-9  # mm², twice the area below which a triangle is turned over
_NONE = np.zeros(0, dtype=np.int64)

# From vertices, corners and normals to triangles, and which are not turned over.
_Cut = Callable[
    [NDArray[np.float64], NDArray[np.int64], NDArray[np.float64]],
    tuple[NDArray[np.int64], NDArray[np.bool_]],
]


@dataclass(slots=True, eq=False)
class Known:
    """Outlines, and their triangles by region, each with what they hang on."""

    outlines: tuple[Mesh, NDArray[np.bool_], Outlines] | None = None
    found: dict[int, tuple[bytes, NDArray[np.int64] | None]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Triangles:
    """Triangles of regions: of single ones first, of quads, then of others in order."""

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
    corners = _corner_counts(outlines)
    others = np.flatnonzero((corners != _TRIANGLE) & (corners != _QUAD))
    some = (
        _at_once(vertices, outlines, normals, corners == _TRIANGLE, _alone),
        _at_once(vertices, outlines, normals, corners == _QUAD, _halved),
        _one_by_one(vertices, outlines, normals, others, known),
    )
    return Triangles(
        np.concatenate([each.faces for each in some]),
        np.concatenate([each.regions for each in some]),
        np.concatenate([each.failed for each in some]),
    )


def _corner_counts(outlines: Outlines) -> NDArray[np.int64]:
    """Count the corners of groups that have one ring, (g,); 0 of all others."""
    single = np.diff(outlines.rings) == 1
    sizes = np.append(np.diff(outlines.firsts), 0)
    return np.where(single, sizes[outlines.rings[:-1]], 0)


def _at_once(
    vertices: NDArray[np.float64],
    outlines: Outlines,
    normals: NDArray[np.float64],
    mine: NDArray[np.bool_],
    cut: _Cut,
) -> Triangles:
    """Triangles of groups, (g,) bool, that have one ring of as many corners each."""
    regions = outlines.groups[mine]
    if len(regions) == 0:
        return Triangles(_NONE.reshape(0, 3), _NONE, _NONE)
    corners = outlines.vertices[mine[outlines.of_vertex]].reshape(len(regions), -1)
    found, good = cut(vertices, corners, normals[regions])
    of_each = corners.shape[1] - 2
    return Triangles(
        found[good].reshape(-1, 3), np.repeat(regions[good], of_each), regions[~good]
    )


def _alone(
    vertices: NDArray[np.float64],
    corners: NDArray[np.int64],
    up: NDArray[np.float64],
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Take triangles as they are, (t, 3); tell which are not turned over, (t,)."""
    a, b, c = (np.take(vertices, k, axis=0) for k in corners.T)
    return corners, dot(np.cross(b - a, c - a), up) >= _FOLDED


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
) -> Triangles:
    """Triangles of some groups, by their places."""
    regions = outlines.groups[places]
    found = list(_each(vertices, outlines, bases_across(normals[regions]), places, known))
    made = [triangles for triangles in found if triangles is not None]
    sizes = [0 if triangles is None else len(triangles) for triangles in found]
    failed = [triangles is None for triangles in found]
    return Triangles(
        np.concatenate([_NONE.reshape(0, 3), *made]),
        np.repeat(regions, np.array(sizes, dtype=np.int64)),
        regions[np.array(failed, dtype=bool)],
    )


def _each(
    vertices: NDArray[np.float64],
    outlines: Outlines,
    bases: NDArray[np.float64],
    places: NDArray[np.int64],
    known: Known,
) -> Iterator[NDArray[np.int64] | None]:
    """Triangles of each of some groups, in a plane by its basis; None if there are none."""
    points = vertices[outlines.vertices]
    rings, firsts = outlines.rings.tolist(), outlines.firsts.tolist()
    regions = outlines.groups[places].tolist()
    for region, place, basis in zip(regions, places.tolist(), bases, strict=True):
        ends = firsts[rings[place] : rings[place + 1] + 1]
        own = slice(ends[0], ends[-1])
        loop = outlines.vertices[own], points[own], [end - ends[0] for end in ends[1:-1]]
        yield _remembered(region, loop, basis, known)


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
