"""Solve how far each vertex moves, so that every wall moves by its own offset.

At a vertex the walls around it ask for u_f · d = offset_f, where u_f is the horizontal
part of the face normal made unit. Two walls determine d exactly; more are weighted by
their corner angle; parallel walls leave the least motion. Heights do not change, save
where the rim of a cylinder runs over a sloping face or the cylinder itself lies.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.compensation.corners import Corners, corners_of
from meshcomp.compensation.targets import Targets
from meshcomp.meshes import Mesh

__all__ = ["LEVEL_LIMIT", "displacements", "horizontal_motion"]

LEVEL_LIMIT = 1e-3  # horizontal part of a normal: less is a level face
_UPRIGHT_LIMIT = 1e-6  # vertical part of a normal: less leaves heights alone
_SLOPING = 2e-3  # vertical part of a normal: more is no upright wall
_SLIVER = 1e-3  # weight: less is no wall to go by
_WEAK = 7e-4  # eigenvalue ratio: walls that bend by less than 3 degrees are parallel
_WEAK_IF_FAR = 0.03  # the same where walls disagree and a vertex would run away
_FAR = 3.0  # offsets
_MITRE = 8.0  # offsets: corners sharper than 14 degrees are cut off
_YIELDING = 3e-3  # weight of a bore's entry where a wall or another bore has its say
_AT_ONCE = 100_000  # vertices
_STEPS = 4
_STEPS_ALONG_RIMS = 12  # where the distance wanted depends on the angle


def displacements(
    mesh: Mesh, normals: NDArray[np.float64], wanted: Targets
) -> NDArray[np.float64]:
    """Solve the motion of every vertex.

    Parameters
    ----------
    mesh : Mesh
        Refined, before anything moves.
    normals : (m, 3) float
        Unit normal of each face, as steady as can be had.
    wanted : Targets
        Offsets and radii.

    Returns
    -------
    d : (n, 3) float
        In mm; exactly zero where nothing is asked for.
    """
    faces = np.flatnonzero(_have_a_say(mesh, normals, wanted))
    moved = np.zeros_like(mesh.vertices)
    on_round = np.zeros(len(mesh.vertices), dtype=bool)
    on_round[wanted.vertex] = True
    if len(faces):
        _plain(mesh, normals, wanted, (faces, on_round), moved)
    if len(wanted.vertex):
        a, b, c = mesh.faces[faces].T
        near = faces[on_round[a] | on_round[b] | on_round[c]]
        corners = _corners(mesh, near, normals, wanted)
        _round(mesh, corners.only(on_round[corners.vertex]), wanted, moved)
    return moved


def _plain(
    mesh: Mesh,
    normals: NDArray[np.float64],
    wanted: Targets,
    where: tuple[NDArray[np.int64], NDArray[np.bool_]],
    moved: NDArray[np.float64],
) -> None:
    """Move the vertices on no cylinder, some at a time: that bounds the memory.

    `where` has the faces that have a say, and which vertices are on cylinders.
    """
    faces, on_round = where
    ends = [np.ascontiguousarray(column) for column in mesh.faces[faces].T]
    for start in range(0, len(mesh.vertices), _AT_ONCE):
        stop = min(start + _AT_ONCE, len(mesh.vertices))
        a, b, c = ((end >= start) & (end < stop) for end in ends)
        corners = _corners(mesh, faces[a | b | c], normals, wanted)
        mine = (corners.vertex >= start) & (corners.vertex < stop)
        level = np.hypot(*corners.normal[:, :2].T) <= LEVEL_LIMIT
        corners = corners.only(mine & ~on_round[corners.vertex] & ~level)
        here = replace(corners, vertex=corners.vertex - start)
        moved[start:stop, :2] = horizontal_motion(stop - start, here)


def _corners(
    mesh: Mesh,
    faces: NDArray[np.int64],
    normals: NDArray[np.float64],
    wanted: Targets,
) -> Corners:
    """Rows of some faces."""
    offsets = np.repeat(wanted.offset[faces, None], 3, axis=1)
    return corners_of(mesh, faces, normals[faces], offsets, wanted.is_straight[faces])


def _have_a_say(
    mesh: Mesh, normals: NDArray[np.float64], wanted: Targets
) -> NDArray[np.bool_]:
    """Faces of no cylinder at a vertex on one, or walls at a vertex that is to move, (m,).

    In a fine mesh most faces are neither.
    """
    count = len(mesh.vertices)
    on_round, asked = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    on_round[wanted.vertex] = True
    asked[mesh.faces[(wanted.offset != 0) & ~wanted.is_round]] = True
    a, b, c = mesh.faces.T
    beside_round = on_round[a] | on_round[b] | on_round[c]
    is_wall = np.hypot(normals[:, 0], normals[:, 1]) > LEVEL_LIMIT
    return np.asarray(
        ~wanted.is_round & (beside_round | (is_wall & (asked[a] | asked[b] | asked[c])))
    )


def horizontal_motion(count: int, corners: Corners) -> NDArray[np.float64]:
    """Horizontal motion of vertices on no cylinder, (count, 2).

    Upright walls come first: where a sloping face wants something else, as over an edge
    that it shares with the wall behind it, the wall is true and the slope gives way.
    """
    upright = (np.abs(corners.normal[:, 2]) <= _SLOPING) & (corners.weight > _SLIVER)
    motion = _solved(count, corners.only(upright))
    sloping = corners.only(~upright)
    if len(sloping.vertex) == 0:
        return motion
    walled = np.zeros(count, dtype=bool)
    walled[corners.vertex[upright]] = True
    free = sloping.only(~walled[sloping.vertex])
    motion = np.where(walled[:, None], motion, _solved(count, free))
    return motion + _aside(count, motion, corners.only(upright), sloping)


def _aside(
    count: int, motion: NDArray[np.float64], walls: Corners, slopes: Corners
) -> NDArray[np.float64]:
    """Solve for what slopes ask along upright walls that are all parallel, (count, 2)."""
    xx, xy, yy = _matrix(count, walls)
    single = _is_weak(xx, xy, yy, _WEAK) & (xx + yy > 0)
    across = unit(np.column_stack([xx - yy + np.hypot(xx - yy, 2 * xy), 2 * xy]))
    turned = np.hypot(xx - yy, 2 * xy) + (xx - yy) <= 1e-12 * (xx + yy)  # along y
    across[turned] = [0.0, 1.0]
    along = np.column_stack([-across[:, 1], across[:, 0]])
    horizontal = np.hypot(*slopes.normal[:, :2].T)
    u = slopes.normal[:, :2] / horizontal[:, None]
    weight = slopes.weight * horizontal
    at = slopes.vertex
    lever = dot(u, along[at])
    missing = slopes.offset - dot(u, motion[at])
    total = np.bincount(at, weight, count)
    strength = np.bincount(at, weight * lever**2, count)
    good = single & (strength > _WEAK_IF_FAR * total)
    step = np.bincount(at, weight * lever * missing, count) / np.where(good, strength, 1.0)
    limit = np.zeros(count)
    np.maximum.at(limit, at, _FAR * np.abs(slopes.offset))
    return along * np.where(good, np.clip(step, -limit, limit), 0.0)[:, None]


def _matrix(
    count: int, corners: Corners
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Sum w u uᵀ at each vertex: xx, xy, yy."""
    horizontal = np.hypot(*corners.normal[:, :2].T)
    u = corners.normal[:, :2] / horizontal[:, None]
    weight = corners.weight * horizontal

    def total(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.bincount(corners.vertex, weight * values, count).astype(np.float64)

    return total(u[:, 0] ** 2), total(u[:, 0] * u[:, 1]), total(u[:, 1] ** 2)


def _solved(count: int, corners: Corners) -> NDArray[np.float64]:
    """Least-squares motion by all of some walls, (count, 2)."""
    horizontal = np.hypot(*corners.normal[:, :2].T)
    u = corners.normal[:, :2] / horizontal[:, None]
    weight, offset = corners.weight * horizontal, corners.offset

    def total(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.bincount(corners.vertex, weight * values, count).astype(np.float64)

    xx, xy, yy = _matrix(count, corners)
    b = np.column_stack([total(u[:, 0] * offset), total(u[:, 1] * offset)])
    limit = np.zeros(count)
    np.maximum.at(limit, corners.vertex, np.abs(offset))
    exact = _solve_2x2(xx, xy, yy, b, _WEAK)
    # Where walls hardly bend and cannot all be served, straight ones come first.
    sure = np.bincount(corners.vertex, weight * corners.is_straight, count) > 0
    if sure.any():
        exact = np.where(
            (_is_weak(xx, xy, yy, _WEAK) & sure)[:, None],
            _along_straight(count, corners, u, weight),
            exact,
        )
    # What is left over of sum w offset^2 tells whether the walls agree.
    left = total(offset**2) - dot(exact, b)
    lengths = np.hypot(exact[:, 0], exact[:, 1])
    astray = (lengths > _FAR * limit) & (left > 1e-6 * total(offset**2))
    if astray.any():
        exact[astray] = _solve_2x2(
            xx[astray], xy[astray], yy[astray], b[astray], _WEAK_IF_FAR
        )
        lengths = np.hypot(exact[:, 0], exact[:, 1])
    most = np.where(astray, _FAR, _MITRE) * limit
    return (
        exact * np.where(lengths > most, most / np.maximum(lengths, 1e-300), 1.0)[:, None]
    )


def _is_weak(
    xx: NDArray[np.float64], xy: NDArray[np.float64], yy: NDArray[np.float64], weak: float
) -> NDArray[np.bool_]:
    """Whether the walls at each vertex are nearly parallel."""
    spread = np.hypot(xx - yy, 2 * xy)
    return np.asarray(xx + yy - spread <= weak * (xx + yy + spread))


def _along_straight(
    count: int, corners: Corners, u: NDArray[np.float64], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Motion along the normal of the straight wall at each vertex, (count, 2)."""
    w = weight * corners.is_straight
    total = np.maximum(np.bincount(corners.vertex, w, count), 1e-300)[:, None]
    columns = [np.bincount(corners.vertex, w * u[:, k], count) for k in (0, 1)]
    normal = unit(np.column_stack(columns))
    return normal * np.bincount(corners.vertex, w * corners.offset, count)[:, None] / total


def _solve_2x2(
    xx: NDArray[np.float64],
    xy: NDArray[np.float64],
    yy: NDArray[np.float64],
    b: NDArray[np.float64],
    weak: float,
) -> NDArray[np.float64]:
    """Solve symmetric 2x2 systems; where one is weak, along its strong direction only."""
    spread = np.hypot(xx - yy, 2 * xy)
    large, small = (xx + yy + spread) / 2, (xx + yy - spread) / 2
    full = small > weak * large
    determinant = np.where(full, xx * yy - xy * xy, 1.0)
    solved = np.column_stack([yy * b[:, 0] - xy * b[:, 1], xx * b[:, 1] - xy * b[:, 0]])
    solved /= determinant[:, None]
    # Eigenvector of the larger value, from the row that is farther from zero.
    first = np.column_stack([large - yy, xy])
    second = np.column_stack([xy, large - xx])
    strong = unit(
        np.where((np.abs(large - yy) > np.abs(large - xx))[:, None], first, second)
    )
    flat = spread <= 1e-12 * np.maximum(large, 1e-300)
    strong = np.where(flat[:, None], [1.0, 0.0], strong)
    along = strong * (dot(strong, b) / np.where(large > 0, large, 1.0))[:, None]
    return np.where(full[:, None], solved, along)


def _round(
    mesh: Mesh, corners: Corners, wanted: Targets, moved: NDArray[np.float64]
) -> None:
    """Move the vertices on cylinders, by Gauss-Newton steps; fills rows of `moved`."""
    vertices, index = np.unique(wanted.vertex, return_inverse=True)
    of_corner = np.searchsorted(vertices, corners.vertex)
    rows = np.concatenate([index, of_corner])
    horizontal = np.hypot(*corners.normal[:, :2].T)
    asked = np.where(horizontal > LEVEL_LIMIT, corners.offset * horizontal, 0.0)
    own = np.pi * np.where(_yields(index, (of_corner, corners), wanted), _YIELDING, 1.0)
    weights = np.concatenate([own, corners.weight])
    free = _free_heights(len(vertices), (of_corner, corners), (index, wanted))
    from_axis, _ = _radial(mesh.vertices[wanted.vertex], wanted)
    goal = np.where(np.isnan(wanted.radius), from_axis + wanted.change, wanted.radius)
    d = np.zeros((len(vertices), 3))
    for _ in range(_STEPS_ALONG_RIMS if wanted.lying else _STEPS):
        points = mesh.vertices[wanted.vertex] + d[index]
        for each in wanted.lying:  # along the rim of a bore that crosses, angles change
            goal[each.rows] = each.goals(points[each.rows])
        distance, outward = _radial(points, wanted)
        normals = np.concatenate([outward, corners.normal])
        missing = np.concatenate(
            [goal - distance, asked - dot(corners.normal, d[of_corner])]
        )
        normals = np.where(free[rows][:, None], normals, normals * [1.0, 1.0, 0.0])
        d += _least_squares(len(vertices), rows, normals, (missing, weights))
    d[~free, 2] = 0.0
    lying = np.zeros(len(vertices), dtype=bool)
    lying[index[_is_lying(wanted) & ~np.isnan(wanted.radius)]] = True
    _within_bounds(mesh, vertices, d, lying)
    moved[vertices] = d


def _yields(
    index: NDArray[np.int64], at_corners: tuple[NDArray[np.int64], Corners], wanted: Targets
) -> NDArray[np.bool_]:
    """Rows of entries at vertices of upright walls or cylinders: those are to be true."""
    of_corner, corners = at_corners
    is_entry = np.isnan(wanted.radius) & (wanted.change != 0)
    is_firm = np.zeros(int(index.max(initial=-1)) + 1, dtype=bool)
    upright = (np.abs(corners.normal[:, 2]) <= _SLOPING) & (corners.weight > _SLIVER)
    is_firm[of_corner[upright]] = True
    is_firm[index[~is_entry]] = True
    return np.asarray(is_entry & is_firm[index])


def _radial(
    points: NDArray[np.float64], wanted: Targets
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Distance from the axis and the unit vector away from it."""
    away = points - wanted.point
    away = away - dot(away, wanted.direction)[:, None] * wanted.direction
    # Exact zeros along coordinate axes keep heights out of upright cylinders.
    distance = np.linalg.norm(away, axis=1)
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
    horizontal = np.hypot(*corners.normal[:, :2].T)
    sloping = (horizontal > LEVEL_LIMIT) & (np.abs(corners.normal[:, 2]) > LEVEL_LIMIT)
    free[of_corner[sloping & (corners.weight > 0)]] = True
    # What lies on a level face stays on it, to the last bit.
    level = (horizontal <= LEVEL_LIMIT) & (corners.weight > _SLIVER)
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
        for j in range(3):
            matrix[:, i, j] = np.bincount(
                rows, weights * normals[:, i] * normals[:, j], count
            )
    values, vectors = np.linalg.eigh(matrix)
    strong = values > _WEAK * values[:, -1:]
    inverse = np.where(strong, 1.0 / np.where(strong, values, 1.0), 0.0)
    inside = np.einsum("nij,ni->nj", vectors, b) * inverse
    return np.asarray(np.einsum("nij,nj->ni", vectors, inside))
