"""Triangulate many small plane outlines: quads all at once, and nothing twice.

A refined cylinder has thousands of strips, nearly all of them quads, and from one try to
the next few outlines move.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across, dot
from meshcomp.meshes import Mesh

__all__ = ["Known", "triangulated"]

Loops = list[list[int]]

_CORNERS = 4  # of a quad
_FOLDED = -1e-9  # mm², twice the area below which a triangle is turned over


@dataclass(slots=True, eq=False)
class Known:
    """Outlines, and their triangles by region, each with what they hang on."""

    outlines: tuple[Mesh, NDArray[np.bool_], dict[int, Loops]] | None = None
    found: dict[int, tuple[bytes, NDArray[np.int64] | None]] = field(default_factory=dict)


def triangulated(
    vertices: NDArray[np.float64],
    outlines: dict[int, Loops],
    normals: NDArray[np.float64],
    known: Known,
) -> dict[int, NDArray[np.int64] | None]:
    """Triangulate plane outlines, keeping every point of each.

    Parameters
    ----------
    vertices : (n, 3) float
        In mm.
    outlines : dict of list of list of int
        Vertex loops around each region, material to the left.
    normals : (k, 3) float
        Unit normal of each region.
    known : Known
        Of earlier calls; added to.

    Returns
    -------
    triangles : dict
        (t, 3) int vertices of each region; None where the outline crosses itself.

    Examples
    --------
    >>> square = np.array([(0.0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)])
    >>> up = np.array([(0.0, 0, 1)])
    >>> triangulated(square, {0: [[0, 1, 2, 3]]}, up, Known())[0].tolist()
    [[0, 1, 2], [0, 2, 3]]
    """
    quads = [region for region, loops in outlines.items() if _is_quad(loops)]
    made: dict[int, NDArray[np.int64] | None] = dict(
        zip(quads, _halved(vertices, outlines, normals, quads), strict=True)
    )
    for region, loops in outlines.items():
        if region not in made:
            made[region] = _remembered(vertices, region, loops, normals[region], known)
    return made


def _is_quad(loops: Loops) -> bool:
    return len(loops) == 1 and len(loops[0]) == _CORNERS


def _halved(
    vertices: NDArray[np.float64],
    outlines: dict[int, Loops],
    normals: NDArray[np.float64],
    quads: list[int],
) -> list[NDArray[np.int64] | None]:
    """Cut quads in two, by the diagonal that leaves the smaller half larger."""
    corners = np.array([outlines[region][0] for region in quads], np.int64).reshape(-1, 4)
    points = vertices[corners]
    up = normals[quads]
    halves = []
    for split in ((0, 1, 2, 0, 2, 3), (1, 2, 3, 1, 3, 0)):
        a, b, c = (points[:, list(split)].reshape(-1, 2, 3, 3)[:, :, k] for k in range(3))
        doubled = dot(np.cross(b - a, c - a), up[:, None])
        halves.append((corners[:, list(split)].reshape(-1, 2, 3), doubled.min(axis=1)))
    (one, least), (other, other_least) = halves
    better = other_least > least
    chosen = np.where(better[:, None, None], other, one)
    good = np.maximum(least, other_least) >= _FOLDED
    return [pair if ok else None for pair, ok in zip(chosen, good.tolist(), strict=True)]


def _remembered(
    vertices: NDArray[np.float64],
    region: int,
    loops: Loops,
    normal: NDArray[np.float64],
    known: Known,
) -> NDArray[np.int64] | None:
    """Triangulate an outline, unless it is where it was."""
    if not loops:
        return np.zeros((0, 3), dtype=np.int64)
    from meshcomp.solids import triangulate_outline

    index = np.concatenate([np.array(loop) for loop in loops])
    points = vertices[index]
    key = b"".join([index.tobytes(), points.tobytes(), normal.tobytes()])
    before = known.found.get(region)
    if before is not None and before[0] == key:
        return before[1]
    flat = points @ basis_across(normal).T
    ends = np.cumsum([len(loop) for loop in loops])[:-1]
    found = triangulate_outline(np.split(flat, ends))
    triangles = None if found is None else index[found]
    known.found[region] = key, triangles
    return triangles
