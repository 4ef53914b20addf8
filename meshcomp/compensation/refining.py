"""Split the facets of coarse cylinders, so that they can be made round.

Every facet is cut by planes through the axis. The points that this puts on the rims are
given to the faces beyond the rims too, so the mesh stays closed, and no height changes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import rows_of
from meshcomp._vectors import basis_across
from meshcomp.compensation.cuts import Cuts, cut_edges, on_edge
from meshcomp.compensation.quads import Quads, paired_faces
from meshcomp.compensation.strips import fans, strips
from meshcomp.features import Cylinder
from meshcomp.meshes import Mesh

__all__ = ["SAGITTA", "Refined", "refine"]

Edges = Mapping[str, NDArray[np.float64]]

SAGITTA = 0.001  # mm: facets of a compensated cylinder are at most this far inside
_MOST_AROUND = 4096  # facets of a circle: enough for `SAGITTA` up to 6.8 m across
_SAME_STEP = 0.3  # of the widest facet: corners nearer than this stand on one plane
_SAME_EDGE = 0.0015  # mm: an edge of a roof may lie this far from where it should


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
    unit: float = 1.0  # mm, of the numbers that the file will hold


def refine(mesh: Mesh, cylinders: list[Cylinder], edges: Edges | None = None) -> Refined:
    """Split the facets of cylinders until their sagitta is at most `SAGITTA`.

    A circle metres across gets no more facets than `_MOST_AROUND`, however it sags.

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


def _split(refined: Refined, cylinders: list[Cylinder], edges: Edges) -> Refined:
    mesh, parents = refined.mesh, refined.parents
    faces, levels, angles = _levels(mesh, parents, cylinders, edges)
    if len(faces) == 0:
        return refined
    quads, alone = paired_faces(mesh, faces, levels)
    cuts, points = cut_edges(mesh, faces, levels, angles, quads)
    pieces = [
        _beyond(mesh, faces, cuts),
        _rungs(mesh, faces, cuts, quads),
        strips(mesh, faces[alone], levels[alone], cuts),
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
    mesh: Mesh, faces: NDArray[np.int64], cuts: Cuts
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Faces that are no part of the cylinders, with the rims' new points."""
    rest = np.ones(len(mesh.faces), dtype=bool)
    rest[faces] = False
    return fans(mesh, np.flatnonzero(rest), cuts)


def _rungs(
    mesh: Mesh,
    faces: NDArray[np.int64],
    cuts: Cuts,
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
        [on_edge(cuts, corners[quad, a], corners[quad, b], at + k, ends) for k in (0, 1)]
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
    faces_of = rows_of(owner[parents], len(cylinders))
    all_faces, all_levels, all_angles = [], [], []
    for number, cylinder in enumerate(cylinders):
        faces = faces_of[number]
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
    widest = _widest(cylinder.nominal_size / 2)
    distinct, index = _distinct(angles.ravel(), _SAME_STEP * widest)
    same = _SAME_EDGE / (cylinder.nominal_size / 2)
    distinct, index = _with_edges(distinct, index, edges, same)
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


def _widest(radius: float) -> float:
    """Return the widest facet of a circle that is to be round, radians."""
    return float(
        max(2 * np.arccos(max(1 - SAGITTA / radius, 0.5)), 2 * np.pi / _MOST_AROUND)
    )


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
