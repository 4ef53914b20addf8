"""The only door to manifold3d: outlines, sections and solids in double precision."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import distinct
from meshcomp.meshes import Mesh
from meshcomp.topology import Topology, components, fans, topology_of

__all__ = [
    "Solid",
    "apart",
    "shared_thicknesses",
    "solid_of",
    "thinned",
    "triangulate_outline",
    "united",
    "used",
]

_MOST_AROUND = 5_000  # faces at a vertex: thinning out takes the square of it
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
    origin = np.add.reduce(points) / len(points)  # few points: `mean` takes longer
    local = [loop - origin for loop in loops]
    triangles = manifold3d.triangulate(local, -1, False)
    triangles = np.asarray(triangles, dtype=np.int64).reshape(-1, 3)
    corners = (points - origin).take(triangles, axis=0)
    sides = corners[:, 1:] - corners[:, :1]
    doubled = sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]
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
        tuple(manifold3d.Manifold(manifold3d.Mesh64(*used(vertices, p))) for p in parts)
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


def used(
    vertices: NDArray[np.float64], faces: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.uint64]]:
    """Return the vertices that some faces, (m, 3), have, and the faces numbered by them."""
    own = distinct(faces, len(vertices))
    place = np.zeros(len(vertices), dtype=np.uint64)
    place[own] = np.arange(len(own), dtype=np.uint64)
    return vertices[own], place[faces]


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
    mesh: Mesh,
    topology: Topology,
    groups: list[NDArray[np.int64]],
    tolerance: float = 0.0,
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
    tolerance : float, optional
        By which the surface may move where that takes out short edges, mm.

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
    found = (whole.simplify(tolerance) if tolerance else whole).to_mesh64()
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
            manifold3d.Mesh64(*used(vertices, faces[rows]), face_id=rows.astype(np.uint64))
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
        Some of the vertices, and the group of each face; None if it is no solid, or has
        a point with so many faces about it that this would take without end.

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

    if np.bincount(mesh.faces.ravel()).max(initial=0) > _MOST_AROUND:
        return None
    # A copy of the vertices, since manifold3d takes none that are read-only.
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(
            mesh.vertices.copy(),
            mesh.faces.astype(np.uint64),
            face_id=groups.astype(np.uint64),
        )
    )
    if solid.status() != manifold3d.Error.NoError:
        return None
    coarse = solid.simplify(tolerance).to_mesh64()
    # Copies, since views would keep the mesh of manifold3d alive.
    return (
        Mesh(np.array(coarse.vert_properties[:, :3]), np.array(coarse.tri_verts)),
        np.array(coarse.face_id, dtype=np.int64),
    )
