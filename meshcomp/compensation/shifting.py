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
from meshcomp.compensation.corners import (
    LEVEL_LIMIT,
    SLIVER,
    SLOPING,
    WEAK,
    Corners,
    corners_of,
)
from meshcomp.compensation.settling import moved_onto_cylinders
from meshcomp.compensation.targets import Targets
from meshcomp.meshes import Mesh

__all__ = ["displacements", "horizontal_motion"]

_WEAK_IF_FAR = 0.03  # in place of WEAK where walls disagree and a vertex would run away
_FAR = 3.0  # offsets
_MITRE = 8.0  # offsets: corners sharper than 14 degrees are cut off
_AT_ONCE = 100_000  # vertices


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
        moved_onto_cylinders(mesh, corners.only(on_round[corners.vertex]), wanted, moved)
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
        level = corners.horizontal <= LEVEL_LIMIT
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
    upright = (np.abs(corners.normal[:, 2]) <= SLOPING) & (corners.weight > SLIVER)
    motion = _solved(count, corners.only(upright))
    sloping = corners.only(~upright)
    if len(sloping.vertex) == 0:
        return motion
    walled = np.zeros(count, dtype=bool)
    walled[corners.vertex[upright]] = True
    beside = walled[sloping.vertex]
    motion = np.where(walled[:, None], motion, _solved(count, sloping.only(~beside)))
    walls, slopes = corners.only(upright), sloping.only(beside)
    return motion + _aside(count, motion, walls, slopes) if beside.any() else motion


def _aside(
    count: int, motion: NDArray[np.float64], walls: Corners, slopes: Corners
) -> NDArray[np.float64]:
    """Solve for what slopes ask along upright walls that are all parallel, (count, 2)."""
    xx, xy, yy = _matrix(count, walls)
    single = _is_weak(xx, xy, yy, WEAK) & (xx + yy > 0)
    across = unit(np.column_stack([xx - yy + np.hypot(xx - yy, 2 * xy), 2 * xy]))
    turned = np.hypot(xx - yy, 2 * xy) + (xx - yy) <= 1e-12 * (xx + yy)  # along y
    across[turned] = [0.0, 1.0]
    along = np.column_stack([-across[:, 1], across[:, 0]])
    at, u, weight = slopes.vertex, slopes.across, slopes.weight * slopes.horizontal
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
    u, weight = corners.across, corners.weight * corners.horizontal

    def total(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.bincount(corners.vertex, weight * values, count).astype(np.float64)

    return total(u[:, 0] ** 2), total(u[:, 0] * u[:, 1]), total(u[:, 1] ** 2)


def _solved(count: int, corners: Corners) -> NDArray[np.float64]:
    """Least-squares motion by all of some walls, (count, 2)."""
    u, weight = corners.across, corners.weight * corners.horizontal
    offset = corners.offset

    def total(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.bincount(corners.vertex, weight * values, count).astype(np.float64)

    xx, xy, yy = _matrix(count, corners)
    b = np.column_stack([total(u[:, 0] * offset), total(u[:, 1] * offset)])
    limit = np.zeros(count)
    np.maximum.at(limit, corners.vertex, np.abs(offset))
    exact = _solve_2x2(xx, xy, yy, b, WEAK)
    # Where walls hardly bend and cannot all be served, straight ones come first.
    sure = np.bincount(corners.vertex, weight * corners.is_straight, count) > 0
    if sure.any():
        exact = np.where(
            (_is_weak(xx, xy, yy, WEAK) & sure)[:, None],
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
