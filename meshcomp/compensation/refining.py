"""Split the facets of coarse cylinders, so that they can be made round.

Every facet is cut by planes through the axis. The points that this puts on the rims are
given to the faces beyond the rims too, so the mesh stays closed, and no height changes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across
from meshcomp.compensation.quads import Quads, edge_keys, paired_faces
from meshcomp.features import Cylinder
from meshcomp.meshes import Mesh

__all__ = ["SAGITTA", "Refined", "refine"]

Edges = Mapping[str, NDArray[np.float64]]

SAGITTA = 0.001  # mm: facets of a compensated cylinder are at most this far inside
_SAME_STEP = 0.3  # of the widest facet: corners nearer than this stand on one plane


@dataclass(frozen=True, slots=True, eq=False)
class Refined:
    """A mesh whose first vertices are the old ones, and the old face of each face.

    A strip is what lies between two neighbouring planes through a cylinder's axis.
    """

    mesh: Mesh
    parents: NDArray[np.int64]
    old_vertices: int
    strips: NDArray[np.int64]  # (m,) strip of each face, -1 where there is none
    strip_normals: NDArray[np.float64]  # (s, 3) unit, radial
    strip_owners: NDArray[np.int64]  # (s,) number of the cylinder of each strip
    uneven: NDArray[np.bool_]  # (c,) cylinders with faces cut otherwise than rim to rim


def refine(mesh: Mesh, cylinders: list[Cylinder], edges: Edges | None = None) -> Refined:
    """Split the facets of cylinders until their sagitta is at most `SAGITTA`.

    Parameters
    ----------
    mesh : Mesh
        Closed, mm.
    cylinders : list of Cylinder
        Those to be made round; their `faces` index `mesh`.
    edges : mapping, optional
        By cylinder's id, angles about its axis at which edges are wanted, (k,) radians
        from the first vector of `basis_across`.
    """
    edges = edges or {}
    count = len(mesh.faces)
    refined = Refined(
        mesh,
        np.arange(count),
        len(mesh.vertices),
        np.full(count, -1),
        np.zeros((0, 3)),
        np.zeros(0, dtype=np.int64),
        np.zeros(0, dtype=bool),
    )
    coarse = [c for c in cylinders if c.sagitta > SAGITTA or len(edges.get(c.id, ()))]
    for together in _apart(mesh, coarse):
        refined = _split(refined, together, edges)
    return refined


def _apart(mesh: Mesh, cylinders: list[Cylinder]) -> list[list[Cylinder]]:
    """Group cylinders so that no two of a group share a vertex."""
    groups: list[tuple[set[int], list[Cylinder]]] = []
    for cylinder in cylinders:
        corners = set(mesh.vertices_of(cylinder.faces).tolist())
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


def _split(refined: Refined, cylinders: list[Cylinder], edges: Edges) -> Refined:
    mesh, parents = refined.mesh, refined.parents
    faces, levels, angles = _levels(mesh, parents, cylinders, edges)
    if len(faces) == 0:
        return refined
    quads, alone = paired_faces(mesh, faces, levels)
    cuts, points = _cut_edges(mesh, faces, levels, angles, quads)
    pieces = [
        _beyond(mesh, faces, cuts),
        _rungs(mesh, faces, cuts, quads),
        _strips(mesh, faces[alone], levels[alone], cuts),
    ]
    triangles, owners = (np.concatenate([p[k] for p in pieces]) for k in (0, 1))
    lowest = np.concatenate([pieces[1][2], pieces[2][2]])
    numbers, normals = _numbered(lowest, angles, len(refined.strip_normals))
    first = int(refined.strip_owners.max(initial=-1)) + 1
    counts = [len(planes) for _, planes in angles]
    return Refined(
        mesh=Mesh(np.concatenate([mesh.vertices, points]), triangles),
        parents=parents[owners],
        old_vertices=refined.old_vertices,
        strips=np.concatenate([refined.strips[pieces[0][1]], numbers]),
        strip_normals=np.concatenate([refined.strip_normals, normals]),
        strip_owners=np.concatenate(
            [refined.strip_owners, np.repeat(first + np.arange(len(angles)), counts)]
        ),
        uneven=np.concatenate([refined.uneven, _uneven(levels[alone], len(angles))]),
    )


def _uneven(levels: NDArray[np.int64], count: int) -> NDArray[np.bool_]:
    """Cylinders with a face cut otherwise than from rim to rim, (count,)."""
    cut = levels.max(axis=1) > levels.min(axis=1) + 1
    return np.bincount(levels[cut, 0] >> 32, minlength=count) > 0


def _beyond(
    mesh: Mesh, faces: NDArray[np.int64], cuts: _Cuts
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Faces that are no part of the cylinders, with the rims' new points."""
    rest = np.ones(len(mesh.faces), dtype=bool)
    rest[faces] = False
    return _fans(mesh, np.flatnonzero(rest), cuts)


def _rungs(
    mesh: Mesh,
    faces: NDArray[np.int64],
    cuts: _Cuts,
    quads: Quads,
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Cut quads into strips from rim to rim; like `_strips`, without their diagonals."""
    corners, level = quads.corners, quads.levels
    counts = level[:, 1] - level[:, 0]
    quad = np.repeat(np.arange(len(corners)), counts)
    at = (
        level[quad, 0]
        + np.arange(len(quad))
        - np.repeat(np.cumsum(counts) - counts, counts)
    )
    ends = (level[quad, 0], level[quad, 1], len(mesh.vertices))
    rims = [
        [_on_edge(cuts, corners[quad, a], corners[quad, b], at + k, ends) for k in (0, 1)]
        for a, b in ((0, 1), (3, 2))
    ]
    (p, p_next), (q, q_next) = rims
    first = np.column_stack([p, p_next, q_next])
    second = np.column_stack([p, q_next, q])
    owner = faces[quads.faces[quad, 0]], faces[quads.faces[quad, 1]]
    return np.concatenate([first, second]), np.concatenate(owner), np.concatenate([at, at])


def _numbered(
    lowest: NDArray[np.int64],
    angles: list[tuple[Cylinder, NDArray[np.float64]]],
    first: int,
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Give numbers to strips, from `first` on, by their lower planes; find normals."""
    counts = np.array([len(planes) for _, planes in angles])
    starts = np.cumsum(counts) - counts
    owner = lowest >> 32
    level = (lowest - (owner << 32)) % counts[owner]
    normals = []
    for cylinder, planes in angles:
        half = np.diff(np.append(planes, planes[0] + 2 * np.pi)) / 2
        middle = planes + half
        frame = basis_across(cylinder.direction)
        side = -1.0 if cylinder.is_internal else 1.0
        normals.append(side * np.column_stack([np.cos(middle), np.sin(middle)]) @ frame)
    return first + starts[owner] + level, np.concatenate(normals)


def _levels(
    mesh: Mesh, parents: NDArray[np.int64], cylinders: list[Cylinder], edges: Edges
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
        wanted = edges.get(cylinder.id, np.zeros(0))
        levels, planes = _planes(mesh, faces, cylinder, wanted)
        all_faces.append(faces)
        all_levels.append(levels + (number << 32))
        all_angles.append((cylinder, planes))
    if not all_faces:
        return np.zeros(0, np.int64), np.zeros((0, 3), np.int64), []
    return np.concatenate(all_faces), np.concatenate(all_levels), all_angles


def _planes(
    mesh: Mesh, faces: NDArray[np.int64], cylinder: Cylinder, edges: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Level of each corner, (k, 3), and the angle of every level, once around."""
    frame = basis_across(cylinder.direction)
    across = (mesh.vertices[mesh.faces[faces]] - cylinder.point) @ frame.T
    angles = np.arctan2(across[..., 1], across[..., 0]) % (2 * np.pi)
    widest = 2 * np.arccos(max(1 - SAGITTA / (cylinder.nominal_size / 2), 0.5))
    distinct, index = _distinct(angles.ravel(), _SAME_STEP * widest)
    distinct, index = _with_edges(distinct, index, edges, _SAME_STEP * widest)
    gaps = np.diff(np.append(distinct, distinct[0] + 2 * np.pi))
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


def _with_edges(
    distinct: NDArray[np.float64],
    index: NDArray[np.int64],
    edges: NDArray[np.float64],
    limit: float,
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Put angles of wanted edges among those of corners, but for those that are there."""
    turned = distinct[0] + (edges - distinct[0]) % (2 * np.pi)
    around = np.append(distinct, distinct[0] + 2 * np.pi)
    far = np.abs(turned[:, None] - around).min(axis=1, initial=np.inf) > limit
    added = turned[far]
    if len(added) == 0:
        return distinct, index
    every = np.sort(np.concatenate([distinct, added]))
    return every, np.searchsorted(every, distinct)[index]


def _distinct(
    angles: NDArray[np.float64], limit: float
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Group angles, each group narrower than a limit; return its first, and the groups."""
    order = np.argsort(angles)
    ordered = angles[order]
    # Groups begin after the widest gap, so that none lies across zero.
    first = int(np.argmax(np.diff(ordered, prepend=ordered[-1] - 2 * np.pi)))
    order = np.roll(order, -first)
    turned = (angles[order] - angles[order[0]]) % (2 * np.pi)
    begins = [0]
    while (
        following := int(np.searchsorted(turned, turned[begins[-1]] + limit, "right"))
    ) < len(turned):
        begins.append(following)
    group = np.zeros(len(angles), dtype=np.int64)
    group[begins[1:]] = 1
    index = np.zeros(len(angles), dtype=np.int64)
    index[order] = np.cumsum(group)
    return turned[begins] + angles[order[0]], index


def _cut_edges(
    mesh: Mesh,
    faces: NDArray[np.int64],
    levels: NDArray[np.int64],
    angles: list[tuple[Cylinder, NDArray[np.float64]]],
    quads: Quads,
) -> tuple[_Cuts, NDArray[np.float64]]:
    """Put points on the edges where they pass the planes between their ends.

    Diagonals of quads are left out: they go.
    """
    starts, ends = mesh.faces[faces].ravel(), np.roll(mesh.faces[faces], -1, axis=1).ravel()
    a, b = levels.ravel(), np.roll(levels, -1, axis=1).ravel()
    keys = edge_keys(starts, ends, len(mesh.vertices))
    keys, first = np.unique(keys, return_index=True)
    rising = a[first] <= b[first]
    low = np.where(rising, a[first], b[first])
    high = np.where(rising, b[first], a[first])
    low_vertex = np.where(rising, starts[first], ends[first])
    high_vertex = np.where(rising, ends[first], starts[first])
    counts = np.maximum(high - low - 1, 0)
    counts[np.isin(keys, quads.diagonals(len(mesh.vertices)))] = 0
    firsts = len(mesh.vertices) + np.concatenate([[0], np.cumsum(counts)[:-1]])
    cuts = _Cuts(keys, firsts, low_vertex, counts)

    edge = np.repeat(np.arange(len(keys)), counts)
    level = low[edge] + 1 + np.arange(len(edge)) + len(mesh.vertices) - firsts[edge]
    points = _points_at(
        mesh.vertices[low_vertex[edge]], mesh.vertices[high_vertex[edge]], level, angles
    )
    return cuts, points


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
    index = np.searchsorted(cuts.keys, edge_keys(a, b, count))
    index = np.minimum(index, len(cuts.keys) - 1)
    # Counted from this face's own level, which may be a whole turn from its neighbour's.
    inner = cuts.firsts[index] + level - np.minimum(level_a, level_b) - 1
    return np.where(level == level_a, a, np.where(level == level_b, b, inner))


def _strips(
    mesh: Mesh, faces: NDArray[np.int64], levels: NDArray[np.int64], cuts: _Cuts
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Cut faces into strips between neighbouring planes.

    Returns the triangles, the face of each, and the lower of its two planes.
    """
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
        np.concatenate([np.concatenate([lower, lower])[real], level[flat, 0]]),
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
        keys = edge_keys(corners, np.roll(corners, -1, axis=1), len(mesh.vertices))
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
