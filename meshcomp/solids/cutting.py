"""Cuts of solids by manifold3d: small solids taken away, columns taken out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh, largest_faces
from meshcomp.solids import Solid, apart, used
from meshcomp.topology import components, topology_of

__all__ = ["column_of", "cut_away_from"]


def column_of(solid: Solid, outline: NDArray[np.float64]) -> Solid:
    """Return the material of a solid that stands over an outline.

    Parameters
    ----------
    solid : Solid
    outline : (k, 2) float
        Counter-clockwise in X and Y, mm.

    Examples
    --------
    >>> from meshcomp.solids import solid_of
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


def cut_away_from(
    mesh: Mesh,
    cutters: Sequence[Mesh],
    regions: NDArray[np.int64],
    *,
    owners: Sequence[int] | None = None,
    adds: bool = False,
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
    owners : sequence of int, optional
        A face of the body that each cutter is for; all bodies that it reaches if not said.
    adds : bool, optional
        Whether the solids are added instead; each to its owner's body.

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
        corners, own = used(vertices, faces[mine])
        near = [
            k
            for k, cutter in enumerate(cutters)
            if (owners is None or bodies[owners[k]] == body)
            and _boxes_meet(corners, cutter.vertices)
        ]
        tools = {k: cutters[k] for k in near}
        points, triangles, found, cutter_of = _cut_body(
            (corners, own), regions[mine], tools, adds=adds
        )
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
    body: tuple[NDArray[np.float64], NDArray[np.uint64]],
    regions: NDArray[np.int64],
    cutters: dict[int, Mesh],
    *,
    adds: bool,
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Cut one body, or add; tell points, triangles, the old face of each, its cutter."""
    points, triangles = body
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
    whole = manifold3d.Manifold.batch_boolean(tools, manifold3d.OpType.Add)
    result = (solid + whole if adds else solid - whole).to_mesh64()
    left = np.asarray(result.vert_properties, dtype=np.float64)[:, :3]
    faces = np.asarray(result.tri_verts).astype(np.int64)
    ends = np.asarray(result.run_index, dtype=np.int64) // 3
    runs = np.repeat(np.asarray(result.run_original_id, dtype=np.int64), np.diff(ends))
    old = runs == number
    before = Mesh(points, triangles.astype(np.int64))
    ids = np.where(old, np.asarray(result.face_id, dtype=np.int64), 0)
    of_region = largest_faces(before, regions)[ids]
    same = _same_triangles(before, Mesh(left, faces))
    parents = np.where(old, np.where(same < 0, of_region, same), -1)
    made_by = np.array([numbers.get(run, -1) for run in runs.tolist()], dtype=np.int64)
    return left, faces, parents, made_by


def _same_triangles(before: Mesh, after: Mesh) -> NDArray[np.int64]:
    """Triangle before with the same corners to the last bit, for each after, or -1."""
    order = np.argsort(before.hashes, kind="stable")
    at = np.searchsorted(before.hashes, after.hashes, sorter=order)
    found = order[np.minimum(at, len(order) - 1)]
    return np.where(before.hashes[found] == after.hashes, found, -1)


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
