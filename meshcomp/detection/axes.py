"""Directions that axes of cylinders may have, besides the coordinate directions.

Facets of a cylinder bend about lines along its axis: where many bends share a direction
and look most ways around it, an axis is likely. Triangles of walls made anew bend every
way, but the normals of the whole patch still lie across its axis.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import medians, pieces
from meshcomp._vectors import basis_across, highest, lengths, unit
from meshcomp.detection.bend_circles import circles_of_bends, faces_about
from meshcomp.detection.bends import WIDEST_FACET
from meshcomp.detection.scenes import Scene
from meshcomp.detection.sectors import turn_seen
from meshcomp.detection.turns import LEAST_SPAN
from meshcomp.topology import components, edge_ends

__all__ = ["Proposal", "is_coordinate", "oblique_axes"]

_ALIGNED = 1e-3  # sine: directions nearer than this to a searched one are that one
_CELL = 4e-3  # width of a cell in which directions are counted
_LEAST_BENDS = 7  # of eight facets
_LEAST_TURN = 0.01  # sine between neighbouring facets: less has no direction
_MOST = 24  # directions searched
_MOST_LOOKED_AT = 64
_PLANAR_SPREAD = 0.02  # least over middle spread of normals across an axis
# Degrees that a patch may bend by at an edge: chamfers and then fillets come apart from
# the cylinder that they end.
_BENDS = (WIDEST_FACET, 30.0, 18.0, 10.0)
_MOST_PATCHES = 24  # of each bend


@dataclass(frozen=True, slots=True, eq=False)
class Proposal:
    """A direction that axes may have, and the faces that speak for it."""

    direction: NDArray[np.float64]  # (3,) unit
    faces: NDArray[np.int64]
    is_patch: bool  # one smooth patch, not facets here and there


def oblique_axes(scene: Scene, free: NDArray[np.bool_]) -> Iterator[Proposal]:
    """Propose directions of axes among faces that belong to no cylinder yet.

    Yields
    ------
    proposal : Proposal
        None along a coordinate axis, likeliest first.
    """
    pairs = scene.bends.regions
    mine = np.zeros(len(scene.regions.areas), dtype=bool)
    mine[scene.regions.of_face[free]] = True
    both = np.flatnonzero(mine[pairs[:, 0]] & mine[pairs[:, 1]])
    pairs, cosines = pairs[both], scene.bends.cosines[both]
    known = np.zeros(len(scene.mesh.faces), dtype=bool)
    for bend in _BENDS:
        smooth = cosines > np.cos(np.radians(bend))
        patches = _across_patches(scene, pairs[smooth], free)
        fresh = [patch for patch in patches if not known[patch.faces].all()]
        for patch in fresh:
            known[patch.faces] = True
        yield from fresh
    yield from _shared_by_bends(scene, both, free)


def is_coordinate(direction: NDArray[np.float64]) -> bool:
    """Whether a direction is one of the coordinate axes."""
    return float(np.sort(np.abs(direction))[1]) < _ALIGNED


def _shared_by_bends(
    scene: Scene, edges: NDArray[np.int64], free: NDArray[np.bool_]
) -> Iterator[Proposal]:
    """Directions about which many facets bend, looking most ways around."""
    normals = scene.regions.normals
    told = [_told_by(scene, edges[rows]) for rows in pieces(len(edges))]
    directions = np.concatenate([np.zeros((0, 3)), *(ways for _, ways in told)])
    edges = np.concatenate([np.zeros(0, dtype=np.int64), *(rows for rows, _ in told)])
    a, b = scene.bends.regions[edges].T
    found = 0
    for near in _likeliest(directions):
        direction = unit(medians(directions[near]))
        if not _look_around(normals[a[near]], direction):
            continue
        direction = _along_edges(scene, edges[near], direction)
        circles = circles_of_bends(scene, edges[near], direction)
        if len(circles[0]) > 0:
            mine = _faces_in(scene, np.concatenate([a[near], b[near]]), free)
            others = faces_about(scene, direction, circles, free)
            faces = np.union1d(mine, others)
            yield Proposal(direction, faces, is_patch=False)
            found += 1
        if found == _MOST:
            break


def _told_by(
    scene: Scene, edges: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Those edges about which facets clearly bend, (k,), and in which direction, (k, 3)."""
    first, second = (
        np.take(scene.regions.normals, side, axis=0)
        for side in scene.bends.regions[edges].T
    )
    bends = np.cross(first, second)
    sizes = np.linalg.norm(bends, axis=1)
    keep = np.flatnonzero(sizes > _LEAST_TURN)
    directions = _one_sided(bends[keep] / sizes[keep][:, None])
    oblique = np.sort(np.abs(directions), axis=1)[:, 1] > _ALIGNED
    return edges[keep[oblique]], directions[oblique]


def _likeliest(directions: NDArray[np.float64]) -> Iterator[NDArray[np.int64]]:
    """Rows of directions, (n, 3), that nearly agree, (k,), the most of them first."""
    cells = np.round(directions / _CELL).astype(np.int64) @ [1 << 40, 1 << 20, 1]
    order = np.argsort(cells, kind="stable")
    _, first, counts = np.unique(cells[order], return_index=True, return_counts=True)
    ends = first + counts
    by_first = np.argsort(directions[:, 0], kind="stable")
    firsts = directions[by_first, 0]
    looked_at = np.zeros((0, 3))
    for cell in np.argsort(-counts, kind="stable").tolist():
        if counts[cell] < _LEAST_BENDS // 2 or len(looked_at) == _MOST_LOOKED_AT:
            return
        middle = medians(directions[order[first[cell] : ends[cell]]])
        if (highest(np.abs(looked_at - middle)) < _CELL).any():
            continue
        looked_at = np.vstack([looked_at, middle])
        some = slice(*np.searchsorted(firsts, middle[0] + np.array([-_CELL, _CELL])))
        rows = np.sort(by_first[some])
        near = rows[highest(np.abs(directions[rows] - middle)) < _CELL]
        if len(near) >= _LEAST_BENDS:
            yield near


def _along_edges(
    scene: Scene, edges: NDArray[np.int64], direction: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Direction of the longest edges about which facets bend: surer than their normals."""
    ends = edge_ends(scene.mesh, scene.bends.half_edges[edges, 0])
    ways = ends[:, 1] - ends[:, 0]
    sizes = lengths(ways)
    ways = ways * (np.sign(ways @ direction) / np.maximum(sizes, 1e-12))[:, None]
    long = np.flatnonzero(sizes >= sizes.max() / 2)
    return unit(medians(ways[long]))


def _one_sided(directions: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn directions so that their largest part is positive."""
    largest = np.argmax(np.abs(directions), axis=1)
    signs = np.sign(directions[np.arange(len(directions)), largest])
    return np.asarray(directions * signs[:, None])


def _look_around(normals: NDArray[np.float64], direction: NDArray[np.float64]) -> bool:
    """Whether normals look into most sectors around a direction."""
    return turn_seen(normals @ basis_across(direction).T) >= LEAST_SPAN


def _across_patches(
    scene: Scene, pairs: NDArray[np.int64], free: NDArray[np.bool_]
) -> list[Proposal]:
    """Directions square to all normals of a smooth patch."""
    labels = components(len(scene.regions.areas), pairs)
    sizes = np.bincount(labels)
    order = np.argsort(labels, kind="stable")
    bounds = np.concatenate([[0], np.cumsum(sizes)])
    large = np.flatnonzero(sizes > _LEAST_BENDS)
    ranked = large[np.argsort(-sizes[large], kind="stable")][:_MOST_PATCHES]
    found = []
    for label in ranked.tolist():
        patch = order[bounds[label] : bounds[label + 1]]
        direction, is_clear = _least_direction(scene, patch)
        if is_coordinate(direction):
            continue  # searched already
        if is_clear and _look_around(scene.regions.normals[patch], direction):
            faces = _faces_in(scene, patch, free)
            found.append(Proposal(direction, faces, is_patch=True))
    return found


def _faces_in(
    scene: Scene, regions: NDArray[np.int64], free: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Free faces of some planar regions."""
    mine = np.zeros(len(scene.regions.areas), dtype=bool)
    mine[regions] = True
    return np.flatnonzero(mine[scene.regions.of_face] & free)


def _least_direction(
    scene: Scene, regions: NDArray[np.int64]
) -> tuple[NDArray[np.float64], bool]:
    """Direction of least spread of normals, and whether it stands out."""
    normals = scene.regions.normals[regions]
    spread = (normals * scene.regions.areas[regions][:, None]).T @ normals
    values, directions = np.linalg.eigh(spread)
    return _one_sided(directions[:, :1].T)[0], bool(values[0] < _PLANAR_SPREAD * values[1])
