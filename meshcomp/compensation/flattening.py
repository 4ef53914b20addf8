"""Triangulate planar faces, and strips of cylinders, anew from their moved outlines.

Points inside a planar face are no part of its shape; where the outline overtakes them,
triangles fold. A fresh triangulation of the outline has none of them and cannot fold.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import pieces
from meshcomp._vectors import dot
from meshcomp.compensation.charts import Charts
from meshcomp.compensation.films import in_films
from meshcomp.compensation.refining import Refined
from meshcomp.loops import Outlines, rim_of
from meshcomp.meshes import Mesh, largest_faces
from meshcomp.topology import topology_of
from meshcomp.triangulating import Known, Triangles, triangulated

__all__ = ["flattened"]

_THIN = 1e-4  # mm: a moved triangle thinner than this is better made anew


def flattened(
    refined: Refined,
    moved: Mesh,
    charts: Charts,
    touched: NDArray[np.bool_],
    known: Known | None = None,
) -> tuple[Refined, NDArray[np.int64], NDArray[np.bool_]]:
    """Triangulate the planar regions anew that folded or were cut.

    Parameters
    ----------
    refined : Refined
        The mesh before the motion, with parents.
    moved : Mesh
        The same faces on moved vertices.
    charts : Charts
        Regions of the refined faces, and those to be made anew in any case.
    touched : (m,) bool
        Faces whose corners moved, or that were cut.
    known : Known, optional
        Triangles of earlier tries.

    Returns
    -------
    flat : Refined
        Moved mesh, and the face of the inspected mesh that each face came from.
    of_face : (m,) int
        Region of each of its faces.
    fresh : (m,) bool
        Which of its faces were made anew.
    """
    of_face = charts.of_face
    worn = _worn_regions(refined, moved, charts, touched)[of_face]
    if not worn.any():
        nothing = np.zeros(len(moved.faces), dtype=bool)
        return replace(refined, mesh=moved), of_face, nothing
    known = Known() if known is None else known
    outlines = _shortened(refined.mesh, charts, worn, known)
    fresh, made = _triangles(moved.vertices, outlines, charts, known)
    kept = ~made[of_face]
    largest = largest_faces(refined.mesh, np.where(worn, of_face, -1))
    faces = np.concatenate([moved.faces[kept], fresh.faces])
    parents = np.concatenate(
        [refined.parents[kept], refined.parents[largest[fresh.regions]]]
    )
    of_new_face = np.concatenate([of_face[kept], fresh.regions])
    is_fresh = np.arange(len(faces)) >= np.count_nonzero(kept)
    left = ~in_films(Mesh(moved.vertices, faces), is_fresh)
    flat = replace(refined, mesh=Mesh(moved.vertices, faces[left]), parents=parents[left])
    return flat, of_new_face[left], is_fresh[left]


def _shortened(
    mesh: Mesh, charts: Charts, worn: NDArray[np.bool_], known: Known
) -> Outlines:
    """Vertex loops around each worn region, without what strips need not keep."""
    before = known.outlines
    if before is not None and before[0] is mesh and np.array_equal(before[1], worn):
        return before[2]
    of_face, owners = charts.of_face, charts.owners
    outlines = _outlines(mesh, of_face, worn)
    needless = _needless(mesh, owners[of_face], worn, outlines.vertices)
    shorter = outlines.without(needless, of=owners[outlines.groups] >= 0)
    known.outlines = mesh, worn, shorter
    return shorter


def _triangles(
    vertices: NDArray[np.float64], outlines: Outlines, charts: Charts, known: Known
) -> tuple[Triangles, NDArray[np.bool_]]:
    """Triangles of regions that can be made anew, and which regions those are, (k,).

    The strips of a cylinder share points that are left out, so where one of its strips
    cannot be made anew, none is.
    """
    found = triangulated(vertices, outlines, charts.normals, known)
    made = np.zeros(len(charts.normals), dtype=bool)
    made[outlines.groups] = True
    made[found.failed] = False
    owners = charts.owners[found.failed]
    made &= ~np.isin(charts.owners, owners[owners >= 0])
    kept = made[found.regions]
    return Triangles(found.faces[kept], found.regions[kept], found.failed), made


def _worn_regions(
    refined: Refined,
    moved: Mesh,
    charts: Charts,
    touched: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Regions of several faces that are wanted anew, or folded or grew a needle, (k,)."""
    of_face, normals = charts.of_face, charts.normals
    rows = np.flatnonzero(touched)
    worn = charts.anew.copy()
    for some in pieces(len(rows)):
        faces = rows[some]
        now = Mesh(moved.vertices, np.take(moved.faces, faces, axis=0))
        heights = now.heights
        turned = dot(now.area_vectors, normals[of_face[faces]]) <= 0
        worn[of_face[faces[turned]]] = True
        thin = np.flatnonzero(heights < _THIN)
        before = Mesh(refined.mesh.vertices, refined.mesh.faces[faces[thin]])
        thinner = thin[before.heights > 2 * heights[thin]]
        worn[of_face[faces[thinner]]] = True
    at_work = np.zeros(len(worn), dtype=bool)
    at_work[of_face[rows]] = True
    return worn & at_work & (np.bincount(of_face, minlength=len(normals)) > 1)


def _outlines(mesh: Mesh, of_face: NDArray[np.int64], worn: NDArray[np.bool_]) -> Outlines:
    """Vertex loops around each worn region, material to the left."""
    topology = topology_of(mesh)
    rim = rim_of(topology.twins, np.where(worn, of_face, -1))
    return rim.outlines(topology.starts)


def _needless(
    mesh: Mesh,
    owners: NDArray[np.int64],
    worn: NDArray[np.bool_],
    on_rims: NDArray[np.int64],
) -> NDArray[np.bool_]:
    """Vertices amid a cylinder, on the border of just two of its strips, (n,).

    A cylinder's shape is that of its rims; where a rim overtakes such points, they fold.
    """
    count = len(mesh.vertices)
    owner, is_shared = np.full(count, -1), np.zeros(count, dtype=bool)
    mine = np.where(worn, owners, -1)[:, None]
    owner[mesh.faces] = mine
    is_shared[mesh.faces[owner.take(mesh.faces) != mine]] = True
    twice = np.bincount(on_rims, minlength=count) == 2  # noqa: PLR2004
    return np.asarray((owner >= 0) & ~is_shared & twice)
