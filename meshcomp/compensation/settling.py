"""Solve how far vertices on cylinders move: onto the surface that is wanted of each.

At a vertex each cylinder asks for a distance from its axis, and each wall for its own
offset. A bore's entry gives way where a wall or another bore has its say. Heights change
only where a cylinder lies, or where its rim runs over a sloping face.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, highest, lengths
from meshcomp.compensation.corners import LEVEL_LIMIT, SLIVER, SLOPING, WEAK, Corners
from meshcomp.compensation.targets import Targets
from meshcomp.meshes import Mesh

__all__ = ["moved_onto_cylinders"]

_UPRIGHT_LIMIT = 1e-6  # vertical part of a normal: less leaves heights alone
_YIELDING = 3e-3  # weight of a bore's entry where a wall or another bore has its say
_SETTLED = 1e-12  # mm: a vertex whose step is shorter stays where it is
_STEPS = 4
_STEPS_ALONG_RIMS = 12  # where the distance wanted depends on the angle


def moved_onto_cylinders(
    mesh: Mesh, corners: Corners, wanted: Targets, moved: NDArray[np.float64]
) -> None:
    """Move the vertices on cylinders, by Gauss-Newton steps; fills rows of `moved`.

    Parameters
    ----------
    mesh : Mesh
        Refined, before anything moves.
    corners : Corners
        Of walls at those vertices.
    wanted : Targets
        Distances from the axes.
    moved : (n, 3) float
        Motions, mm, of all vertices.
    """
    vertices, index = np.unique(wanted.vertex, return_inverse=True)
    of_corner = np.searchsorted(vertices, corners.vertex)
    own = np.pi * np.where(_yields(index, (of_corner, corners), wanted), _YIELDING, 1.0)
    free = _free_heights(len(vertices), (of_corner, corners), (index, wanted))
    from_axis, _ = _radial(mesh.vertices[wanted.vertex], wanted, np.arange(len(index)))
    goal = np.where(np.isnan(wanted.radius), from_axis + wanted.change, wanted.radius)
    task = _Task(mesh, corners, wanted, (index, of_corner), (goal, own), free)
    d = np.zeros((len(vertices), 3))
    moving = np.ones(len(vertices), dtype=bool)
    for _ in range(_STEPS_ALONG_RIMS if wanted.lying else _STEPS):
        step = task.step(d, moving)
        d[moving] += step
        # Most are where they are wanted after one step.
        moving[moving] = highest(np.abs(step)) > _SETTLED
        if not moving.any():
            break
    d[~free, 2] = 0.0
    lying = np.zeros(len(vertices), dtype=bool)
    lying[index[_is_lying(wanted) & ~np.isnan(wanted.radius)]] = True
    _within_bounds(mesh, vertices, d, lying)
    moved[vertices] = d


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    """What is asked of vertices, each known by its place among them."""

    mesh: Mesh
    corners: Corners
    wanted: Targets
    places: tuple[NDArray[np.int64], NDArray[np.int64]]  # of rows of wanted, of corners
    rows: tuple[NDArray[np.float64], NDArray[np.float64]]  # distances, mm; weights, (r,)
    free: NDArray[np.bool_]  # (n,) whose height may change

    def step(
        self, d: NDArray[np.float64], moving: NDArray[np.bool_]
    ) -> NDArray[np.float64]:
        """Solve one Gauss-Newton step of the vertices that still move, mm."""
        index, of_corner = self.places
        on, beside = np.flatnonzero(moving[index]), moving[of_corner]
        points = self.mesh.vertices.take(self.wanted.vertex[on], axis=0)
        points += d.take(index[on], axis=0)
        distance, outward = _radial(points, self.wanted, on)
        walls = self.corners.only(beside)
        is_wall = walls.horizontal > LEVEL_LIMIT
        asked = np.where(is_wall, walls.offset * walls.horizontal, 0.0)
        normals = np.concatenate([outward, walls.normal])
        missing = np.concatenate(
            [
                self.goals(d, moving)[on] - distance,
                asked - dot(walls.normal, d.take(of_corner[beside], axis=0)),
            ]
        )
        rows = np.concatenate([index[on], of_corner[beside]])
        normals[~self.free[rows], 2] = 0.0
        weights = np.concatenate([self.rows[1][on], walls.weight])
        place = np.cumsum(moving) - 1
        count = int(np.count_nonzero(moving))
        return _least_squares(count, place[rows], normals, (missing, weights))

    def goals(
        self, d: NDArray[np.float64], moving: NDArray[np.bool_]
    ) -> NDArray[np.float64]:
        """Distances from the axes that are wanted of vertices that still move, (r,) mm."""
        wanted, index = self.wanted, self.places[0]
        goal = self.rows[0].copy()
        for each in wanted.lying:  # along the rim of a bore that crosses, angles change
            rows = each.rows[moving[index[each.rows]]]
            if len(rows):
                points = self.mesh.vertices[wanted.vertex[rows]] + d[index[rows]]
                goal[rows] = each.goals(points)
        return goal


def _yields(
    index: NDArray[np.int64], at_corners: tuple[NDArray[np.int64], Corners], wanted: Targets
) -> NDArray[np.bool_]:
    """Rows of entries at vertices of upright walls or cylinders: those are to be true."""
    of_corner, corners = at_corners
    is_entry = np.isnan(wanted.radius) & (wanted.change != 0)
    is_firm = np.zeros(int(index.max(initial=-1)) + 1, dtype=bool)
    upright = (np.abs(corners.normal[:, 2]) <= SLOPING) & (corners.weight > SLIVER)
    is_firm[of_corner[upright]] = True
    is_firm[index[~is_entry]] = True
    return np.asarray(is_entry & is_firm[index])


def _radial(
    points: NDArray[np.float64], wanted: Targets, rows: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Distance from the axis of each row and the unit vector away from it."""
    direction = wanted.direction.take(rows, axis=0)
    away = points - wanted.point.take(rows, axis=0)
    away = away - dot(away, direction)[:, None] * direction
    # Exact zeros along coordinate axes keep heights out of upright cylinders.
    distance = lengths(away)
    return distance, away / np.maximum(distance, 1e-12)[:, None]


def _free_heights(
    count: int,
    at_corners: tuple[NDArray[np.int64], Corners],
    at_rows: tuple[NDArray[np.int64], Targets],
) -> NDArray[np.bool_]:
    """Vertices whose height may change: on lying cylinders, or on a sloping face."""
    free = np.zeros(count, dtype=bool)
    index, wanted = at_rows
    asked = ~np.isnan(wanted.radius) | (wanted.change != 0)
    free[index[_is_lying(wanted) & asked]] = True
    of_corner, corners = at_corners
    sloping = corners.horizontal > LEVEL_LIMIT
    sloping &= np.abs(corners.normal[:, 2]) > LEVEL_LIMIT
    free[of_corner[sloping & (corners.weight > 0)]] = True
    # What lies on a level face stays on it, to the last bit.
    level = (corners.horizontal <= LEVEL_LIMIT) & (corners.weight > SLIVER)
    free[of_corner[level]] = False
    return free


def _is_lying(wanted: Targets) -> NDArray[np.bool_]:
    return np.asarray(np.hypot(*wanted.direction[:, :2].T) > _UPRIGHT_LIMIT)


def _within_bounds(
    mesh: Mesh,
    vertices: NDArray[np.int64],
    d: NDArray[np.float64],
    lying: NDArray[np.bool_],
) -> None:
    """Keep the lowest and the highest points where they are, and all others between.

    But for walls of lying cylinders: what they break through is to be seen, and held back.
    """
    heights = mesh.vertices[:, 2]
    low, high = heights.min(), heights.max()
    own = heights[vertices]
    within = np.clip(own + d[:, 2], low, high) - own
    d[:, 2] = np.where(lying, d[:, 2], within)
    d[(own == low) | (own == high), 2] = 0.0


def _least_squares(
    count: int,
    rows: NDArray[np.int64],
    normals: NDArray[np.float64],
    right: tuple[NDArray[np.float64], NDArray[np.float64]],
) -> NDArray[np.float64]:
    """Solve weighted 3x3 systems by eigenvectors, least norm where they are weak."""
    missing, weights = right
    matrix = np.zeros((count, 3, 3))
    b = np.zeros((count, 3))
    for i in range(3):
        b[:, i] = np.bincount(rows, weights * missing * normals[:, i], count)
        for j in range(i + 1):  # the lower half is all that is asked for
            matrix[:, i, j] = np.bincount(
                rows, weights * normals[:, i] * normals[:, j], count
            )
    values, vectors = np.linalg.eigh(matrix, UPLO="L")
    strong = values > WEAK * values[:, -1:]
    inverse = np.where(strong, 1.0 / np.where(strong, values, 1.0), 0.0)
    inside = np.einsum("nij,ni->nj", vectors, b) * inverse
    return np.asarray(np.einsum("nij,nj->ni", vectors, inside))
