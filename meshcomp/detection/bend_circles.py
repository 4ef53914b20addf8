"""Whether edges at which facets bend about one direction may lie round one circle.

At a bend midway between two like facets the circle's centre lies on the line of the mean
normal. Two bends next to each other tell where on it; all others are held against that.
Facets of unlike widths turn the mean normal, so that much is allowed: what is round is
found out from the faces later, what is not is told here at little cost.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across, dot, turned, unit
from meshcomp.detection.neighbours import neighbours
from meshcomp.detection.scenes import Scene
from meshcomp.detection.sectors import SECTORS, looked_into, sectors
from meshcomp.detection.seeds import LEAST_SPAN
from meshcomp.topology import edge_ends

__all__ = ["may_be_round"]

_MOST = 64  # circles held against all bends
_OFF = 0.25  # of the radius, that a bend may be off such a circle
_STEP = 0.1  # of the radius, between circles that count as one
_SAME = 1e-3  # mm, and of a normal: pieces of one edge
_NEIGHBOURS = 4
_CELLS = (1 << 20) - 1  # a mask: those farther apart seldom meet
_MOST_BENDS = 300  # from which circles are told
_LEAST_TURN = 0.01  # between the normals of two bends
_SPARE = 30.0  # degrees, of a facet that bends at one side only


def may_be_round(
    scene: Scene, edges: NDArray[np.int64], direction: NDArray[np.float64]
) -> bool:
    """Whether bends that run along a direction may lie most of the way round a circle.

    Parameters
    ----------
    scene : Scene
        The part.
    edges : (e,) int
        Rows of its bends.
    direction : (3,) float
        Unit vector along them.
    """
    points, normals = _seen_along(scene, edges, basis_across(direction))
    centres, radii = _circles(points, normals)
    if len(radii) == 0:
        return False
    away = points - centres[:, None] - radii[:, None, None] * normals
    near = dot(away, away) <= (_OFF * radii[:, None]) ** 2
    seen = near @ np.eye(SECTORS, dtype=bool)[sectors(normals)]
    return float(looked_into(seen).max()) >= LEAST_SPAN - _SPARE


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
    x, y, u, v = np.round(np.column_stack([points, normals]) / _SAME).T
    order = np.lexsort([v, u, y, x])
    steps = [np.diff(column[order], prepend=np.nan) != 0 for column in (x, y, u, v)]
    apart = order[np.logical_or.reduce(steps)][:_MOST_BENDS]
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
