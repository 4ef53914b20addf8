"""Whether edges at which facets bend about one direction may lie round one circle.

At a bend midway between two like facets the circle's centre lies on the line of the mean
normal. Two bends next to each other tell where on it; all others are held against that.
Facets of unlike widths turn the mean normal, so that much is allowed: what is round is
found out from the faces later, what is not is told here at little cost.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import along, basis_across, dot, turned, unit
from meshcomp.detection.neighbours import neighbours
from meshcomp.detection.scenes import Scene
from meshcomp.detection.sectors import SECTORS, looked_into, sectors
from meshcomp.detection.turns import LEAST_SPAN
from meshcomp.topology import edge_ends

__all__ = ["circles_of_bends", "faces_about"]

_MOST = 64  # circles held against all bends
_MOST_LOOKED_ABOUT = 8  # of them, for faces
_OFF = 0.25  # of the radius, that a bend may be off such a circle
_STEP = 0.1  # of the radius, between circles that count as one
_SAME = 1e-3  # mm, and of a normal: pieces of one edge
_NEIGHBOURS = 4
_CELLS = (1 << 20) - 1  # a mask: those farther apart seldom meet
_MOST_BENDS = 300  # from which circles are told
_LEAST_TURN = 0.01  # between the normals of two bends
_RELATED = 0.25  # squared coefficient of correlation
_LEANING = 0.02  # sine: twisted facets lean less, a ring's rows more
_SPARE = 30.0  # degrees, of a facet that bends at one side only


def circles_of_bends(
    scene: Scene, edges: NDArray[np.int64], direction: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Circles that bends along a direction may lie most of the way round.

    Parameters
    ----------
    scene : Scene
        The part.
    edges : (e,) int
        Rows of its bends.
    direction : (3,) float
        Unit vector along them.

    Returns
    -------
    centres : (c, 2) float
        Across the direction, in its basis, mm; the commonest first.
    radii : (c,) float
        In mm, as rough as the centres; negative where the facets look inwards.
    """
    points, normals = _seen_along(scene, edges, basis_across(direction))
    centres, radii = _circles(points, normals)
    if len(radii) == 0:
        return centres, radii
    away = points - centres[:, None] - radii[:, None, None] * normals
    near = dot(away, away) <= (_OFF * radii[:, None]) ** 2
    seen = near @ np.eye(SECTORS, dtype=bool)[sectors(normals)]
    good = looked_into(seen) >= LEAST_SPAN - _SPARE
    return centres[good], radii[good]


def faces_about(
    scene: Scene,
    direction: NDArray[np.float64],
    circles: tuple[NDArray[np.float64], NDArray[np.float64]],
    free: NDArray[np.bool_],
) -> NDArray[np.int64]:
    """Free curved faces that look along the radius of a circle, and are near it.

    Where bores cross, few triangles have an edge along the axis: the rest of the wall
    speaks for it, too.
    """
    leaning = np.abs(along(scene.regions.normals, direction)) < _LEANING
    faces = np.flatnonzero(free & scene.bends.is_curved & leaning[scene.bends.of_face])
    basis = basis_across(direction)
    a, b, c = (np.take(scene.mesh.vertices, k, axis=0) for k in scene.mesh.faces[faces].T)
    middles = turned(a + b + c, basis) / 3
    normals = turned(np.take(scene.regions.face_normals, faces, axis=0), basis)
    leans = along(np.take(scene.regions.face_normals, faces, axis=0), direction)
    heights = along(a + b + c, direction) / 3
    found = np.zeros(len(faces), dtype=bool)
    few = (each[:_MOST_LOOKED_ABOUT] for each in circles)
    for centre, radius in zip(*few, strict=True):
        away = middles - centre - radius * normals
        near = dot(away, away) <= (_OFF * radius) ** 2
        if near.any() and not _lean_as_they_rise(leans[near], heights[near]):
            found |= near
    return faces[found]


def _lean_as_they_rise(leans: NDArray[np.float64], heights: NDArray[np.float64]) -> bool:
    """Whether faces lean the more the higher they are, as in a band of a ball or ring."""
    leans, heights = leans - leans.mean(), heights - heights.mean()
    product = float(leans @ leans) * float(heights @ heights)
    return float(leans @ heights) ** 2 > _RELATED * product


def _seen_along(
    scene: Scene, edges: NDArray[np.int64], basis: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middles and mean unit normals of bends across a direction, (e, 2) each."""
    middles = edge_ends(scene.mesh, scene.bends.half_edges[edges, 0]).mean(axis=1)
    normals = scene.regions.normals[scene.bends.regions[edges]].sum(axis=1)
    return turned(middles, basis), unit(turned(normals, basis))


def _circles(
    points: NDArray[np.float64], normals: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Centres and radii of circles through bends that are next to each other.

    The commonest ones; a radius is negative where the facets look inwards.
    """
    steps = np.round(np.column_stack([points, normals]) / _SAME)
    order = np.lexsort(steps.T[::-1])
    is_new = np.ones(len(order), dtype=bool)
    is_new[1:] = (steps[order[1:]] != steps[order[:-1]]).any(axis=1)
    apart = order[is_new][:_MOST_BENDS]
    points, normals = points[apart], normals[apart]
    near = neighbours(points, _NEIGHBOURS)
    first, second = np.repeat(np.arange(len(near)), near.shape[1]), near.ravel()
    turn = normals[first] - normals[second]
    turning = np.flatnonzero(dot(turn, turn) > _LEAST_TURN**2)
    first, second, turn = first[turning], second[turning], turn[turning]
    radii = dot(turn, points[first] - points[second]) / dot(turn, turn)
    curved = np.flatnonzero(radii)
    first, radii = first[curved], radii[curved]
    centres = points[first] - radii[:, None] * normals[first]
    scale = np.round(np.log(np.abs(radii)) / _STEP)
    cells = np.round(centres / (_STEP * np.exp(_STEP * scale))[:, None])
    x, y = cells.astype(np.int64).T & _CELLS
    keys = ((2 * scale.astype(np.int64) + (radii > 0)) << 40) + (x << 20) + y
    _, one, counts = np.unique(keys, return_index=True, return_counts=True)
    commonest = one[np.argsort(-counts, kind="stable")[:_MOST]]
    return centres[commonest], radii[commonest]
