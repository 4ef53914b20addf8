"""The only door to manifold3d: outlines, sections and solids in double precision."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh
from meshcomp.topology import Topology, components, fans, topology_of

__all__ = [
    "Solid",
    "apart",
    "column_of",
    "cut_away_from",
    "sections_at",
    "shared_thicknesses",
    "solid_of",
    "thinned",
    "triangulate_outline",
    "united",
]

_FOLDED = -1e-9  # mm², twice the area below which a triangle is turned over


def triangulate_outline(loops: list[NDArray[np.float64]]) -> NDArray[np.int64] | None:
    """Triangulate a plane outline, keeping every point of it.

    Parameters
    ----------
    loops : list of (n, 2) float
        Outer loops counter-clockwise, holes clockwise, mm.

    Returns
    -------
    triangles : (k, 3) int or None
        Counter-clockwise, indices into the loops put end to end; None where the outline
        crosses itself, so that some triangle would be turned over.

    Examples
    --------
    >>> triangulate_outline([np.array([(0.0, 0.0), (1, 0), (1, 1), (0, 1)])]).shape
    (2, 3)
    """
    import manifold3d

    points = np.concatenate(loops)
    origin = points.mean(axis=0)
    triangles = manifold3d.triangulate([loop - origin for loop in loops], -1, False)
    triangles = np.asarray(triangles, dtype=np.int64).reshape(-1, 3)
    a, b, c = (points[triangles[:, k]] - origin for k in range(3))
    ab, ac = b - a, c - a
    doubled = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    return None if (doubled < _FOLDED).any() else triangles


@dataclass(frozen=True, slots=True, eq=False)
class Solid:
    """A closed mesh that manifold3d can cut, in double precision, body by body.

    Bodies that overlap or touch are not united: each shows its own outline.
    """

    bodies: tuple[Any, ...]  # manifold3d.Manifold

    def sections(
        self, frame: NDArray[np.float64], heights: Sequence[float]
    ) -> list[list[NDArray[np.float64]]]:
        """Cut across the last row of a frame.

        Parameters
        ----------
        frame : (3, 3) float
            Right-handed unit rows.
        heights : sequence of float
            Positions along the last row, mm.

        Returns
        -------
        sections : list of list of (n, 2) float
            Rings at each height, in the first two directions, mm; material to the left.
        """
        matrix = np.column_stack([frame, np.zeros(3)])
        turned = [body.transform(matrix) for body in self.bodies]
        reach = [body.bounding_box()[2::3] for body in turned]
        return [
            [
                np.asarray(ring, dtype=np.float64)
                for body, (low, high) in zip(turned, reach, strict=True)
                if low <= height <= high
                for ring in body.slice(height).to_polygons()
            ]
            for height in heights
        ]


def column_of(solid: Solid, outline: NDArray[np.float64]) -> Solid:
    """Return the material of a solid that stands over an outline.

    Parameters
    ----------
    solid : Solid
    outline : (k, 2) float
        Counter-clockwise in X and Y, mm.

    Examples
    --------
    >>> tetrahedron = Mesh(
    ...     [(0, 0, 0), (2, 0, 0), (0, 2, 0), (0, 0, 2)],
    ...     [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)],
    ... )
    >>> square = np.array([(0.0, 0.0), (1, 0), (1, 1), (0, 1)])
    >>> ((ring,),) = column_of(solid_of(tetrahedron), square).sections(np.eye(3), [0.5])
    >>> ring.max(axis=0).tolist()
    [1.0, 1.0]
    """
    import manifold3d

    base = manifold3d.CrossSection([outline])
    columns = []
    for body in solid.bodies:
        box = body.bounding_box()
        low, high = np.array(box[:2]), np.array(box[3:5])
        if (outline.min(axis=0) <= high).all() and (outline.max(axis=0) >= low).all():
            height = box[5] - box[2] + 2.0
            column = manifold3d.Manifold.extrude(base, height).translate((0, 0, box[2] - 1))
            columns.append(body ^ column)
    return Solid(tuple(columns))


def solid_of(mesh: Mesh, topology: Topology | None = None) -> Solid:
    """Hand a closed mesh to manifold3d.

    Parameters
    ----------
    mesh : Mesh
        Closed, mm.
    topology : Topology, optional
        Its half-edges, where they are known already.

    Examples
    --------
    >>> tetrahedron = Mesh(
    ...     [(0, 0, 0), (2, 0, 0), (0, 2, 0), (0, 0, 2)],
    ...     [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)],
    ... )
    >>> ((ring,),) = solid_of(tetrahedron).sections(np.eye(3), [1.0])
    >>> ring.shape
    (3, 2)
    """
    import manifold3d

    topology = topology_of(mesh) if topology is None else topology
    vertices, faces = apart(mesh, topology)
    bodies = components(len(faces), topology.pairs // 3)
    order = np.argsort(bodies, kind="stable")
    parts = np.split(faces[order], np.flatnonzero(np.diff(bodies[order])) + 1)
    return Solid(
        tuple(manifold3d.Manifold(manifold3d.Mesh64(*_used(vertices, p))) for p in parts)
    )


def apart(mesh: Mesh, topology: Topology) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Give each fan of faces about a vertex a vertex of its own.

    Where bodies touch at a vertex or along an edge, manifold3d would pair faces anew.

    Returns
    -------
    vertices : (n, 3) float
    faces : (m, 3) int
    """
    own = fans(topology)
    first = np.zeros(int(own.max(initial=-1)) + 1, dtype=np.int64)
    first[own] = mesh.faces.ravel()
    return mesh.vertices[first], own.reshape(-1, 3)


def _used(
    vertices: NDArray[np.float64], faces: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.uint64]]:
    used, flat = np.unique(faces, return_inverse=True)
    return vertices[used], flat.reshape(-1, 3).astype(np.uint64)


def sections_at(
    mesh: Mesh, frame: NDArray[np.float64], heights: list[float]
) -> list[list[NDArray[np.float64]]]:
    """Cut a closed mesh by manifold3d: `solid_of` and `Solid.sections` in one.

    Examples
    --------
    >>> tetrahedron = Mesh(
    ...     [(0, 0, 0), (2, 0, 0), (0, 2, 0), (0, 0, 2)],
    ...     [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)],
    ... )
    >>> [len(rings) for rings in sections_at(tetrahedron, np.eye(3), [0.5, 1.0])]
    [1, 1]
    """
    return solid_of(mesh).sections(frame, heights) if heights else []


def shared_thicknesses(
    mesh: Mesh,
    topology: Topology,
    groups: list[NDArray[np.int64]],
    pairs: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Measure how thick the solids are that closed groups of faces have in common.

    Parameters
    ----------
    mesh : Mesh
        Triangles, mm.
    topology : Topology
        Its half-edges.
    groups : list of (k,) int
        Faces of each group.
    pairs : (p, 2) int
        Which groups to compare.

    Returns
    -------
    thicknesses : (p,) float
        Twice the volume in common by its surface, mm: the mean thickness of a film.
    """
    solids = _manifolds(mesh, topology, groups)
    found = []
    for one, two in pairs.tolist():
        common = solids[one] ^ solids[two]
        found.append(2 * common.volume() / max(common.surface_area(), 1e-12))
    return np.array(found, dtype=float)


def united(
    mesh: Mesh, topology: Topology, groups: list[NDArray[np.int64]]
) -> tuple[Mesh, NDArray[np.int64]] | None:
    """Unite closed groups of faces that overlap.

    Parameters
    ----------
    mesh : Mesh
        Triangles, mm.
    topology : Topology
        Its half-edges.
    groups : list of (k,) int
        Faces of each closed group.

    Returns
    -------
    mesh : Mesh
        One closed surface; corners that were there keep their coordinates.
    parents : (m,) int
        The face of `mesh` that each face lies in.
        None for both where manifold3d finds no solid.

    Examples
    --------
    >>> tetrahedron = Mesh(
    ...     [(0, 0, 0), (2, 0, 0), (0, 2, 0), (0, 0, 2)],
    ...     [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)],
    ... )
    >>> from meshcomp.meshes import concatenate
    >>> both = concatenate([tetrahedron, tetrahedron.moved(tetrahedron.vertices + 0.25)])
    >>> one, parents = united(both, topology_of(both), [np.arange(4), np.arange(4, 8)])
    >>> round(2 * 8 / 6 - one.volume, 6) == round((2 - 0.75) ** 3 / 6, 6)
    True
    """
    import manifold3d

    solids = _manifolds(mesh, topology, groups)
    whole = manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)
    if whole.is_empty() or whole.status() != manifold3d.Error.NoError:
        return None
    found = whole.to_mesh64()
    return (
        Mesh(found.vert_properties[:, :3], np.asarray(found.tri_verts, np.int64)),
        np.asarray(found.face_id, np.int64),
    )


def _manifolds(
    mesh: Mesh, topology: Topology, groups: list[NDArray[np.int64]]
) -> list[Any]:
    """Hand groups of faces to manifold3d, each face under its own number."""
    import manifold3d

    vertices, faces = apart(mesh, topology)
    return [
        manifold3d.Manifold(
            manifold3d.Mesh64(*_used(vertices, faces[rows]), face_id=rows.astype(np.uint64))
        )
        for rows in groups
    ]


def thinned(
    mesh: Mesh, groups: NDArray[np.int64], tolerance: float
) -> tuple[Mesh, NDArray[np.int64]] | None:
    """Return a closed mesh with fewer faces that lies within a tolerance of it.

    Parameters
    ----------
    mesh : Mesh
        Closed, mm.
    groups : (m,) int
        Not below zero; edges between faces of two groups stay.
    tolerance : float
        By which the surface may move, mm.

    Returns
    -------
    (Mesh, (k,) int) or None
        Some of the vertices, and the group of each face; None if it is no solid.

    Examples
    --------
    >>> side = Mesh(
    ...     [(0, 0, 0), (2, 0, 0), (0, 2, 0), (0, 0, 2), (1, 0, 0)],
    ...     [(0, 2, 4), (4, 2, 1), (0, 4, 3), (4, 1, 3), (1, 2, 3), (2, 0, 3)],
    ... )
    >>> coarse, groups = thinned(side, np.zeros(6, dtype=np.int64), 0.01)
    >>> len(coarse.faces), groups.tolist()
    (4, [0, 0, 0, 0])
    """
    import manifold3d

    faces = mesh.faces.astype(np.uint64)
    # A copy of the vertices, since manifold3d takes none that are read-only.
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(mesh.vertices.copy(), faces, face_id=groups.astype(np.uint64))
    )
    if solid.status() != manifold3d.Error.NoError:
        return None
    coarse = solid.simplify(tolerance).to_mesh64()
    # Copies, since views would keep the mesh of manifold3d alive.
    return (
        Mesh(np.array(coarse.vert_properties[:, :3]), np.array(coarse.tri_verts)),
        np.array(coarse.face_id, dtype=np.int64),
    )


def cut_away_from(
    mesh: Mesh, cutters: Sequence[Mesh], regions: NDArray[np.int64]
) -> tuple[Mesh, NDArray[np.int64], NDArray[np.int64]]:
    """Take small solids away from a closed mesh, in double precision.

    Bodies that no cutter's box reaches are left as they are, and so are all vertices.

    Parameters
    ----------
    mesh : Mesh
        Closed, mm.
    cutters : sequence of Mesh
        Closed solids.
    regions : (m,) int
        Planar region of each face: cuts make no points on lines amid one.

    Returns
    -------
    mesh : Mesh
        What is left; faces that the cut does not touch may have changed their order.
    parents : (k,) int
        The face of the mesh before, or one of its region; -1 for a face that the cut made.
    cutter : (k,) int
        Which cutter made a face, or -1.

    Examples
    --------
    >>> tetrahedron = Mesh(
    ...     [(0, 0, 0), (2, 0, 0), (0, 2, 0), (0, 0, 2)],
    ...     [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)],
    ... )
    >>> small = tetrahedron.moved(tetrahedron.vertices / 2 - 0.1)
    >>> left, parents, cutter = cut_away_from(tetrahedron, [small], np.arange(4))
    >>> left.volume < tetrahedron.volume, sorted(set(cutter.tolist()))
    (True, [-1, 0])
    """
    topology = topology_of(mesh)
    bodies = components(len(mesh.faces), topology.pairs // 3)
    vertices, faces = apart(mesh, topology)
    pieces: list[tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]] = []
    made_by: list[NDArray[np.int64]] = []
    for body in range(int(bodies.max(initial=-1)) + 1):
        mine = np.flatnonzero(bodies == body)
        used, own = _used(vertices, faces[mine])
        near = [k for k, cutter in enumerate(cutters) if _boxes_meet(used, cutter.vertices)]
        tools = {k: cutters[k] for k in near}
        points, triangles, found, cutter_of = _cut_body(used, own, regions[mine], tools)
        pieces.append((points, triangles, np.where(found < 0, -1, mine[found])))
        made_by.append(cutter_of)
    starts = np.cumsum([0] + [len(points) for points, _, _ in pieces[:-1]])
    return (
        Mesh(
            np.concatenate([points for points, _, _ in pieces]),
            np.concatenate(
                [t + first for (_, t, _), first in zip(pieces, starts, strict=True)]
            ),
        ),
        np.concatenate([parents for _, _, parents in pieces]),
        np.concatenate(made_by),
    )


def _boxes_meet(a: NDArray[np.float64], b: NDArray[np.float64]) -> bool:
    return bool((a.min(axis=0) <= b.max(axis=0)).all() and (b.min(0) <= a.max(0)).all())


def _cut_body(
    points: NDArray[np.float64],
    triangles: NDArray[np.uint64],
    regions: NDArray[np.int64],
    cutters: dict[int, Mesh],
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Cut one body; tell points, triangles, the old face of each and its cutter."""
    every = np.arange(len(triangles))
    if not cutters:
        return points, triangles.astype(np.int64), every, np.full(len(every), -1)
    import manifold3d

    solid, number = _known_body(points, triangles, regions)
    numbers, tools = {}, []
    for k, cutter in cutters.items():
        sides = np.arange(len(cutter.faces))
        tool, its = _known_body(cutter.vertices, cutter.faces.astype(np.uint64), sides)
        tools.append(tool)
        numbers[its] = k
    result = (
        solid - manifold3d.Manifold.batch_boolean(tools, manifold3d.OpType.Add)
    ).to_mesh64()
    left = np.asarray(result.vert_properties, dtype=np.float64)[:, :3]
    faces = np.asarray(result.tri_verts).astype(np.int64)
    ends = np.asarray(result.run_index, dtype=np.int64) // 3
    runs = np.repeat(np.asarray(result.run_original_id, dtype=np.int64), np.diff(ends))
    old = runs == number
    first = np.zeros(int(regions.max()) + 1, dtype=np.int64)
    first[regions[::-1]] = every[::-1]
    of_region = first[np.where(old, np.asarray(result.face_id, dtype=np.int64), 0)]
    same = _same_triangles(points[triangles.astype(np.int64)], left[faces])
    parents = np.where(old, np.where(same < 0, of_region, same), -1)
    made_by = np.array([numbers.get(run, -1) for run in runs.tolist()], dtype=np.int64)
    return left, faces, parents, made_by


def _same_triangles(
    before: NDArray[np.float64], after: NDArray[np.float64]
) -> NDArray[np.int64]:
    """Triangle before with the same corners to the last bit, for each after, or -1."""
    # Their nine numbers sorted: the same triangle may begin at another corner.
    keys = [np.sort(c.reshape(-1, 9).view(np.int64), axis=1) for c in (before, after)]
    _, index = np.unique(np.concatenate(keys), axis=0, return_inverse=True)
    index = index.reshape(-1)
    known = np.full(int(index.max(initial=-1)) + 1, -1)
    known[index[: len(before)]] = np.arange(len(before))
    return np.asarray(known[index[len(before) :]])


def _known_body(
    points: NDArray[np.float64],
    triangles: NDArray[np.uint64],
    regions: NDArray[np.int64],
) -> tuple[Any, int]:
    """Hand a body to manifold3d so that each region is known again after a cut."""
    import manifold3d

    number = int(manifold3d.Manifold.reserve_ids(1))
    body = manifold3d.Manifold(
        manifold3d.Mesh64(
            np.array(points),  # manifold3d takes no read-only arrays
            np.array(triangles),
            run_index=np.array([0, 3 * len(triangles)], dtype=np.uint64),
            run_original_id=np.array([number], dtype=np.uint32),
            face_id=regions.astype(np.uint64),
        )
    )
    return body, number
