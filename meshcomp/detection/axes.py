"""Directions that axes of cylinders may have, besides the coordinate directions.

Facets of a cylinder bend about lines along its axis: where many bends share a direction
and look most ways around it, an axis is likely. Triangles of walls made anew bend every
way, but the normals of the whole patch still lie across its axis.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across, dot, unit
from meshcomp.detection.growing import WIDEST_FACET
from meshcomp.detection.scenes import Scene
from meshcomp.detection.seeds import LEAST_SPAN
from meshcomp.topology import components

__all__ = ["oblique_axes", "refined_axis"]

_ALIGNED = 1e-3  # sine: directions nearer than this to a searched one are that one
_CELL = 4e-3  # width of a cell in which directions are counted
_LEAST_BENDS = 7  # of eight facets
_LEAST_TURN = 0.01  # sine between neighbouring facets: less has no direction
_MOST = 24  # directions searched
_SECTORS = 24
_PLANAR_SPREAD = 0.02  # least over middle spread of normals across an axis


_Proposal = tuple[NDArray[np.float64], NDArray[np.int64]]


def oblique_axes(scene: Scene, free: NDArray[np.bool_]) -> list[_Proposal]:
    """Propose directions of axes among faces that belong to no cylinder yet.

    Returns
    -------
    proposals : list of ((3,) float, (k,) int)
        Unit vectors, none along a coordinate axis, likeliest first, each with the faces
        that speak for it.
    """
    faces = np.flatnonzero(free)
    beyond = scene.topology.neighbours_of(faces)
    pairs = np.column_stack([np.repeat(faces, 3), beyond.ravel()])
    pairs = pairs[(pairs[:, 0] < pairs[:, 1]) & free[pairs[:, 1]]]
    normals = scene.regions.face_normals
    cosines = dot(normals[pairs[:, 0]], normals[pairs[:, 1]])
    pairs = pairs[cosines > np.cos(np.radians(WIDEST_FACET))]
    found = [*_shared_by_bends(scene, pairs), *_across_patches(scene, pairs, faces)]
    return [(direction, mine) for direction, mine in found if not _is_coordinate(direction)]


def _is_coordinate(direction: NDArray[np.float64]) -> bool:
    return float(np.sort(np.abs(direction))[1]) < _ALIGNED


def refined_axis(scene: Scene, faces: NDArray[np.int64]) -> NDArray[np.float64]:
    """Direction that the normals of a cylinder's faces are square to, (3,) unit."""
    return _least_direction(scene, faces)[0]


def _shared_by_bends(scene: Scene, pairs: NDArray[np.int64]) -> list[_Proposal]:
    """Directions about which many facets bend, looking most ways around."""
    a, b = pairs.T
    normals = scene.regions.face_normals
    bends = np.cross(normals[a], normals[b])
    sizes = np.linalg.norm(bends, axis=1)
    keep = sizes > _LEAST_TURN
    directions = _one_sided(bends[keep] / sizes[keep][:, None])
    a, b = a[keep], b[keep]
    oblique = np.sort(np.abs(directions), axis=1)[:, 1] > _ALIGNED
    directions, a, b = directions[oblique], a[oblique], b[oblique]
    cells = np.round(directions / _CELL).astype(np.int64) @ [1 << 40, 1 << 20, 1]
    order = np.argsort(cells, kind="stable")
    _, first, counts = np.unique(cells[order], return_index=True, return_counts=True)
    found = []
    for cell in np.argsort(-counts, kind="stable")[:_MOST].tolist():
        if counts[cell] < _LEAST_BENDS // 2:
            break
        members = order[first[cell] : first[cell] + counts[cell]]
        middle = np.median(directions[members], axis=0)
        near = np.flatnonzero(np.abs(directions - middle).max(axis=1) < _CELL)
        direction = unit(np.median(directions[near], axis=0))
        if len(near) >= _LEAST_BENDS and _look_around(normals[a[near]], direction):
            found.append((direction, np.unique([a[near], b[near]])))
    return found


def _one_sided(directions: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn directions so that their largest part is positive."""
    largest = np.argmax(np.abs(directions), axis=1)
    signs = np.sign(directions[np.arange(len(directions)), largest])
    return np.asarray(directions * signs[:, None])


def _look_around(normals: NDArray[np.float64], direction: NDArray[np.float64]) -> bool:
    """Whether normals look into most sectors around a direction."""
    x, y = basis_across(direction) @ normals.T
    sector = np.floor(np.arctan2(y, x) / (2 * np.pi) * _SECTORS).astype(int) % _SECTORS
    seen = np.zeros(_SECTORS, dtype=bool)
    seen[sector] = True
    # Eight facets look into eight sectors only; what is empty between them is no gap.
    reach = seen | np.roll(seen, 1) | np.roll(seen, -1)
    return bool(reach.sum() * 360 >= LEAST_SPAN * _SECTORS)


def _across_patches(
    scene: Scene, pairs: NDArray[np.int64], free: NDArray[np.int64]
) -> list[_Proposal]:
    """Directions square to all normals of a smooth patch."""
    labels = components(len(free), np.searchsorted(free, pairs))
    sizes = np.bincount(labels)
    order = np.argsort(labels, kind="stable")
    bounds = np.concatenate([[0], np.cumsum(sizes)])
    large = np.flatnonzero(sizes > _LEAST_BENDS)
    ranked = large[np.argsort(-sizes[large], kind="stable")][: 4 * _MOST]
    found = []
    for label in ranked.tolist():
        faces = free[order[bounds[label] : bounds[label + 1]]]
        direction, is_clear = _least_direction(scene, faces)
        if is_clear and _look_around(scene.regions.face_normals[faces], direction):
            found.append((direction, faces))
    return found


def _least_direction(
    scene: Scene, faces: NDArray[np.int64]
) -> tuple[NDArray[np.float64], bool]:
    """Direction of least spread of normals, and whether it stands out."""
    corners = scene.mesh.vertices[scene.mesh.faces[faces]]
    vectors = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.linalg.norm(vectors, axis=1)
    normals = scene.regions.face_normals[faces]
    spread = (normals * areas[:, None]).T @ normals
    values, directions = np.linalg.eigh(spread)
    return _one_sided(directions[:, :1].T)[0], bool(values[0] < _PLANAR_SPREAD * values[1])
