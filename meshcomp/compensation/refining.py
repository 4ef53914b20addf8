"""Split the facets of coarse cylinders, so that they can be made round.

Every facet is cut by planes through the axis. The points that this puts on the rims are
given to the faces beyond the rims too, so the mesh stays closed, and no height changes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across
from meshcomp.features import Cylinder
from meshcomp.meshes import Mesh

__all__ = ["Refined", "refine"]

SAGITTA = 0.001  # mm: facets of a compensated cylinder are at most this far inside
_SAME_ANGLE = 2e-5  # radians: corners nearer than this stand on one line along the axis


@dataclass(frozen=True, slots=True, eq=False)
class Refined:
    """A mesh whose first vertices are the old ones, and the old face of each face."""

    mesh: Mesh
    parents: NDArray[np.int64]
    old_vertices: int


def refine(mesh: Mesh, cylinders: list[Cylinder]) -> Refined:
    """Split the facets of cylinders until their sagitta is at most `SAGITTA`.

    Parameters
    ----------
    mesh : Mesh
        Closed, mm.
    cylinders : list of Cylinder
        Those to be made round; their `faces` index `mesh`.
    """
    refined = Refined(mesh, np.arange(len(mesh.faces)), len(mesh.vertices))
    for together in _apart(mesh, [c for c in cylinders if c.sagitta > SAGITTA]):
        refined = _split(refined, together)
    return refined


def _apart(mesh: Mesh, cylinders: list[Cylinder]) -> list[list[Cylinder]]:
    """Group cylinders so that no two of a group share a vertex."""
    groups: list[tuple[set[int], list[Cylinder]]] = []
    for cylinder in cylinders:
        corners = set(np.unique(mesh.faces[cylinder.faces]).tolist())
        for used, members in groups:
            if used.isdisjoint(corners):
                used.update(corners)
                members.append(cylinder)
                break
        else:
            groups.append((corners, [cylinder]))
    return [members for _, members in groups]


@dataclass(frozen=True, slots=True, eq=False)
class _Cuts:
    """New points on edges: those of edge i follow from `firsts[i]`, by rising level."""

    keys: NDArray[np.int64]  # (e,) sorted edge keys
    firsts: NDArray[np.int64]  # (e,) index of the first new vertex
    low_vertex: NDArray[np.int64]  # (e,) where the level is low
    counts: NDArray[np.int64]  # (e,)


def _split(refined: Refined, cylinders: list[Cylinder]) -> Refined:
    mesh, parents = refined.mesh, refined.parents
    faces, levels, angles = _levels(mesh, parents, cylinders)
    if len(faces) == 0:
        return refined
    cuts, points = _cut_edges(mesh, faces, levels, angles)
    strips, strip_parents = _strips(mesh, faces, levels, cuts)
    rest = np.ones(len(mesh.faces), dtype=bool)
    rest[faces] = False
    beyond, beyond_parents = _fans(mesh, np.flatnonzero(rest), cuts)
    return Refined(
        Mesh(
            np.concatenate([mesh.vertices, points]),
            np.concatenate([beyond, strips]),
        ),
        parents[np.concatenate([beyond_parents, strip_parents])],
        refined.old_vertices,
    )


def _levels(
    mesh: Mesh, parents: NDArray[np.int64], cylinders: list[Cylinder]
) -> tuple[
    NDArray[np.int64], NDArray[np.int64], list[tuple[Cylinder, NDArray[np.float64]]]
]:
    """Give every corner the number of its plane through the axis.

    Returns
    -------
    faces : (k,) int
    levels : (k, 3) int
        Plane of each corner, unwrapped within a face; cylinder i has its planes above
        i * 2**32.
    angles : list
        Cylinder and the angle of each of its planes, radians.
    """
    owner = np.full(int(parents.max()) + 1, -1)
    for number, cylinder in enumerate(cylinders):
        owner[cylinder.faces] = number
    of_face = owner[parents]
    all_faces, all_levels, all_angles = [], [], []
    for number, cylinder in enumerate(cylinders):
        faces = np.flatnonzero(of_face == number)
        levels, planes = _planes(mesh, faces, cylinder)
        all_faces.append(faces)
        all_levels.append(levels + (number << 32))
        all_angles.append((cylinder, planes))
    if not all_faces:
        return np.zeros(0, np.int64), np.zeros((0, 3), np.int64), []
    return np.concatenate(all_faces), np.concatenate(all_levels), all_angles


def _planes(
    mesh: Mesh, faces: NDArray[np.int64], cylinder: Cylinder
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Level of each corner, (k, 3), and the angle of every level, once around."""
    frame = basis_across(cylinder.direction)
    across = (mesh.vertices[mesh.faces[faces]] - cylinder.point) @ frame.T
    angles = np.arctan2(across[..., 1], across[..., 0]) % (2 * np.pi)
    distinct, index = _distinct(angles.ravel())
    gaps = np.diff(np.append(distinct, distinct[0] + 2 * np.pi))
    widest = 2 * np.arccos(max(1 - SAGITTA / (cylinder.nominal_size / 2), 0.5))
    pieces = np.maximum(np.ceil(gaps / widest - 1e-9), 1).astype(np.int64)
    firsts = np.concatenate([[0], np.cumsum(pieces)])
    shares = np.arange(firsts[-1]) - np.repeat(firsts[:-1], pieces)
    planes = np.repeat(distinct, pieces) + shares * np.repeat(gaps / pieces, pieces)
    levels = firsts[index].reshape(-1, 3)
    turn = int(firsts[-1])
    # Facets are narrow, so the nearer way around is the right one.
    away = levels - levels[:, :1]
    levels = levels[:, :1] + (away + turn // 2) % turn - turn // 2
    return levels + turn, planes


def _distinct(
    angles: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Merge angles nearer than `_SAME_ANGLE`; return them and the index of each."""
    order = np.argsort(angles)
    steps = np.diff(angles[order], prepend=angles[order[0]] - 1) > _SAME_ANGLE
    group = np.cumsum(steps) - 1
    distinct = angles[order][steps]
    # The last group may be the first one again, seen from the other side of zero.
    if len(distinct) > 1 and distinct[0] + 2 * np.pi - angles[order[-1]] <= _SAME_ANGLE:
        group[group == len(distinct) - 1] = 0
        distinct = distinct[:-1]
    index = np.zeros(len(angles), dtype=np.int64)
    index[order] = group
    return distinct, index


def _cut_edges(
    mesh: Mesh,
    faces: NDArray[np.int64],
    levels: NDArray[np.int64],
    angles: list[tuple[Cylinder, NDArray[np.float64]]],
) -> tuple[_Cuts, NDArray[np.float64]]:
    """Put points on the edges where they pass the planes between their ends."""
    starts, ends = mesh.faces[faces].ravel(), np.roll(mesh.faces[faces], -1, axis=1).ravel()
    a, b = levels.ravel(), np.roll(levels, -1, axis=1).ravel()
    keys = _edge_keys(starts, ends, len(mesh.vertices))
    keys, first = np.unique(keys, return_index=True)
    rising = a[first] <= b[first]
    low = np.where(rising, a[first], b[first])
    high = np.where(rising, b[first], a[first])
    low_vertex = np.where(rising, starts[first], ends[first])
    high_vertex = np.where(rising, ends[first], starts[first])
    counts = np.maximum(high - low - 1, 0)
    firsts = len(mesh.vertices) + np.concatenate([[0], np.cumsum(counts)[:-1]])
    cuts = _Cuts(keys, firsts, low_vertex, counts)

    edge = np.repeat(np.arange(len(keys)), counts)
    level = low[edge] + 1 + np.arange(len(edge)) + len(mesh.vertices) - firsts[edge]
    points = _points_at(
        mesh.vertices[low_vertex[edge]], mesh.vertices[high_vertex[edge]], level, angles
    )
    return cuts, points


def _edge_keys(a: NDArray[np.int64], b: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    return np.asarray(np.minimum(a, b) * count + np.maximum(a, b))


def _points_at(
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    level: NDArray[np.int64],
    angles: list[tuple[Cylinder, NDArray[np.float64]]],
) -> NDArray[np.float64]:
    """Where edges pass their planes, (k, 3) mm."""
    points = np.zeros_like(low)
    owner = level >> 32
    for number, (cylinder, planes) in enumerate(angles):
        mine = owner == number
        angle = planes[(level[mine] - (number << 32)) % len(planes)]
        frame = basis_across(cylinder.direction)
        a, b = (
            (low[mine] - cylinder.point) @ frame.T,
            (high[mine] - cylinder.point) @ frame.T,
        )
        normal = np.column_stack([-np.sin(angle), np.cos(angle)])
        from_a, from_b = (a * normal).sum(axis=1), (b * normal).sum(axis=1)
        share = np.clip(from_a / (from_a - from_b), 0.0, 1.0)[:, None]
        points[mine] = low[mine] + share * (high[mine] - low[mine])
    return points


def _on_edge(
    cuts: _Cuts,
    a: NDArray[np.int64],
    b: NDArray[np.int64],
    level: NDArray[np.int64],
    ends: tuple[NDArray[np.int64], NDArray[np.int64], int],
) -> NDArray[np.int64]:
    """Vertex where the edge from a to b passes a level between (or at) its ends."""
    level_a, level_b, count = ends
    index = np.searchsorted(cuts.keys, _edge_keys(a, b, count))
    index = np.minimum(index, len(cuts.keys) - 1)
    # Counted from this face's own level, which may be a whole turn from its neighbour's.
    inner = cuts.firsts[index] + level - np.minimum(level_a, level_b) - 1
    return np.where(level == level_a, a, np.where(level == level_b, b, inner))


def _strips(
    mesh: Mesh, faces: NDArray[np.int64], levels: NDArray[np.int64], cuts: _Cuts
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Cut faces into strips between neighbouring planes."""
    order = np.argsort(levels, axis=1, kind="stable")
    level = np.take_along_axis(levels, order, axis=1)
    corner = np.take_along_axis(mesh.faces[faces], order, axis=1)
    # A sorting that leaves exactly one corner in place turned the face over.
    flipped = (order == [0, 1, 2]).sum(axis=1) == 1

    counts = level[:, 2] - level[:, 0]
    flat = counts == 0
    face = np.repeat(np.arange(len(faces)), counts)
    steps = np.arange(len(face)) - np.repeat(np.cumsum(counts) - counts, counts)
    lower = level[face, 0] + steps
    long_way = [
        _on_long(cuts, corner, level, face, lower + k, len(mesh.vertices)) for k in (0, 1)
    ]
    short_way = [
        _on_short(cuts, corner, level, face, lower + k, len(mesh.vertices), upper=k == 0)
        for k in (0, 1)
    ]
    first = np.column_stack([long_way[0], long_way[1], short_way[1]])
    second = np.column_stack([long_way[0], short_way[1], short_way[0]])
    # Sorted low, middle, high keeps the orientation unless the sorting was odd; the long
    # edge runs against it.
    triangles = np.concatenate([first, second])
    owner = np.concatenate([face, face])
    triangles = np.where(flipped[owner][:, None], triangles, triangles[:, ::-1])
    real = (
        (triangles[:, 0] != triangles[:, 1])
        & (triangles[:, 1] != triangles[:, 2])
        & (triangles[:, 2] != triangles[:, 0])
    )
    kept = mesh.faces[faces[flat]]
    return (
        np.concatenate([triangles[real], kept]),
        np.concatenate([faces[owner[real]], faces[flat]]),
    )


def _on_long(
    cuts: _Cuts,
    corner: NDArray[np.int64],
    level: NDArray[np.int64],
    face: NDArray[np.int64],
    at: NDArray[np.int64],
    count: int,
) -> NDArray[np.int64]:
    a, b = corner[face, 0], corner[face, 2]
    return _on_edge(cuts, a, b, at, (level[face, 0], level[face, 2], count))


def _on_short(  # noqa: PLR0913 - one strip's worth of arrays
    cuts: _Cuts,
    corner: NDArray[np.int64],
    level: NDArray[np.int64],
    face: NDArray[np.int64],
    at: NDArray[np.int64],
    count: int,
    *,
    upper: bool,
) -> NDArray[np.int64]:
    """Pass the middle corner: below it on the first edge, above it on the second.

    `upper` tells the strip's lower side, which at the middle corner's plane belongs to
    the second edge; both edges meet in the corner there.
    """
    middle = level[face, 1]
    second = (at > middle) | ((at == middle) & upper)
    a = np.where(second, corner[face, 1], corner[face, 0])
    b = np.where(second, corner[face, 2], corner[face, 1])
    level_a = np.where(second, middle, level[face, 0])
    level_b = np.where(second, level[face, 2], middle)
    found = _on_edge(cuts, a, b, at, (level_a, level_b, count))
    return np.where(at == middle, corner[face, 1], found)


def _fans(
    mesh: Mesh, faces: NDArray[np.int64], cuts: _Cuts
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Split faces beyond the rims, one edge at a time, from the corner opposite."""
    corners, parents = mesh.faces[faces], faces
    for _ in range(3):
        keys = _edge_keys(corners, np.roll(corners, -1, axis=1), len(mesh.vertices))
        fresh = (corners >= len(mesh.vertices)) | (
            np.roll(corners, -1, axis=1) >= len(mesh.vertices)
        )
        index = np.minimum(np.searchsorted(cuts.keys, keys), len(cuts.keys) - 1)
        cut = (cuts.keys[index] == keys) & (cuts.counts[index] > 0) & ~fresh
        hit = cut.any(axis=1)
        if not hit.any():
            break
        side = np.argmax(cut[hit], axis=1)
        edge = index[hit][np.arange(len(side)), side]
        fan, owner = _fan(corners[hit], side, edge, cuts)
        corners = np.concatenate([corners[~hit], fan])
        parents = np.concatenate([parents[~hit], parents[hit][owner]])
    return corners, parents


def _fan(
    corners: NDArray[np.int64],
    side: NDArray[np.int64],
    edge: NDArray[np.int64],
    cuts: _Cuts,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    rows = np.arange(len(side))
    start, end = corners[rows, side], corners[rows, (side + 1) % 3]
    apex = corners[rows, (side + 2) % 3]
    counts = cuts.counts[edge]
    owner = np.repeat(rows, counts + 1)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(counts + 1) - counts - 1, counts + 1)
    forward = (start == cuts.low_vertex[edge])[owner]
    first, count = cuts.firsts[edge][owner], counts[owner]

    def chain(k: NDArray[np.int64]) -> NDArray[np.int64]:
        inner = first + np.where(forward, k - 1, count - k)
        return np.where(k == 0, start[owner], np.where(k == count + 1, end[owner], inner))

    return np.column_stack([chain(step), chain(step + 1), apex[owner]]), owner
