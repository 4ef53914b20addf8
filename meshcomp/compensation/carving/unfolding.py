"""Slits without width that cuts leave in planes are taken out.

A solid that is taken away, or added, ends in the plane in which other parts of the wall are
already. What is left between the two has no thickness, but faces that lie back on those of
the plane, or needles. A fresh triangulation of the plane's outline has neither.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import all_of, any_of, dot, highest, unit
from meshcomp.loops import rim_of
from meshcomp.meshes import Mesh, largest_faces
from meshcomp.segmentation import flatness_limit, planar_regions
from meshcomp.topology import Topology, components, topology_of
from meshcomp.triangulating import Known, triangulated

__all__ = ["NEEDLE", "folded_back", "unfolded"]

NEEDLE = 2e-6  # mm: rounding may turn lower faces
_BACK_TO_BACK = -0.999  # cosine: a fold, or an edge of under 3 degrees
_NO_WEDGE = 2e-5  # mm: where an edge is no thicker at the far side of a face
_WIDE = 2e-4  # mm: lower faces have no direction to speak of
_MOST_PLANES = 64


def folded_back(mesh: Mesh, rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """Find the faces that lie back on a neighbour: in one plane, none crosses.

    Parameters
    ----------
    mesh : Mesh
    rows : (k,) int
        Faces to look at.

    Returns
    -------
    faces : (f,) int
        Some of them.

    Examples
    --------
    >>> corners = [(0, 0, 0), (4, 0, 0), (4, 4, 0), (0, 4, 0), (2, -1, 0)]
    >>> sheet = Mesh(corners, [(0, 1, 4), (1, 2, 4), (2, 3, 4), (3, 0, 4)])
    >>> folded_back(sheet, np.arange(4)).tolist()
    [0, 1, 3]
    """
    beside = topology_of(mesh).neighbours_of(rows)
    normals, is_wide = unit(mesh.area_vectors), mesh.heights > _WIDE
    own = normals[rows][:, None]
    turned = dot(own, normals[beside]) < _BACK_TO_BACK
    turned &= is_wide[rows][:, None] & is_wide[beside] & (beside >= 0)
    at, k = np.nonzero(turned)
    away = mesh.corners[beside[at, k]] - mesh.vertices[mesh.faces[rows[at], 0]][:, None]
    turned[at, k] = highest(np.abs(dot(away, own[at]))) < _NO_WEDGE
    return rows[any_of(turned)]


def unfolded(
    mesh: Mesh, rows: NDArray[np.int64], lowest: float = NEEDLE
) -> tuple[Mesh, NDArray[np.int64]]:
    """Triangulate planes anew in which faces lie back on their neighbours, or are needles.

    Parameters
    ----------
    mesh : Mesh
        Closed.
    rows : (k,) int
        Faces to look at.
    lowest : float, optional
        Height below which a face is a needle, mm.

    Returns
    -------
    mesh : Mesh
        On the same vertices.
    parents : (m,) int
        The face that each is; for new ones the largest of their plane.
    """
    low = rows[Mesh(mesh.vertices, mesh.faces[rows]).heights < lowest]
    groups = _groups(mesh, np.union1d(folded_back(mesh, rows), low))
    count = int(groups.max(initial=-1)) + 1
    if count == 0:
        return mesh, np.arange(len(groups))
    normals, largest = _normals(mesh, groups, count), largest_faces(mesh, groups)
    outlines = rim_of(topology_of(mesh).twins, groups).outlines(mesh.faces.ravel())
    found = triangulated(mesh.vertices, outlines, normals, Known())
    made = np.isin(np.arange(count), found.failed, invert=True)
    left = np.flatnonzero(~np.append(made, False)[groups])
    faces = np.concatenate([mesh.faces[left], found.faces])
    return Mesh(mesh.vertices, faces), np.concatenate([left, largest[found.regions]])


def _normals(mesh: Mesh, groups: NDArray[np.int64], count: int) -> NDArray[np.float64]:
    """Which way groups of faces look, (k, 3)."""
    rows = np.flatnonzero(groups >= 0)
    columns = mesh.area_vectors[rows].T
    sums = [np.bincount(groups[rows], column, count) for column in columns]
    return unit(np.column_stack(sums))


def _groups(mesh: Mesh, worn: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give connected faces in the planes of worn ones a number, (m,); others have -1."""
    groups = np.full(len(mesh.faces), -1)
    if len(worn) == 0:
        return groups
    topology = topology_of(mesh)
    is_worn = np.zeros(len(groups), dtype=bool)
    is_worn[worn] = True
    count = 0
    for flat in _in_planes(mesh, topology, worn):
        rows = flat[groups[flat] < 0]
        label = _connected(topology, rows)
        asked = np.unique(label[is_worn[rows]])
        place = np.full(len(rows), -1)
        place[asked] = count + np.arange(len(asked))
        groups[rows] = place[label]
        count += len(asked)
    return groups


def _connected(topology: Topology, rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give those of some faces, ascending, that hang together one number, (k,)."""
    beside = topology.neighbours_of(rows)
    place = np.minimum(np.searchsorted(rows, beside), len(rows) - 1)
    at, k = np.nonzero(rows[place] == beside)
    return components(len(rows), np.column_stack([at, place[at, k]]))


def _in_planes(
    mesh: Mesh, topology: Topology, worn: NDArray[np.int64]
) -> Iterator[NDArray[np.int64]]:
    """Yield the faces in each plane beside worn ones, ascending; largest planes first."""
    regions = planar_regions(mesh, topology)
    beside = topology.neighbours_of(worn)
    beside = np.where(beside < 0, worn[:, None], beside)
    near = regions.of_face[np.column_stack([worn, beside])]
    areas = regions.areas[near]
    planes = np.unique(near[np.arange(len(near)), np.argmax(areas, axis=1)])
    limit, first = flatness_limit(mesh), np.ascontiguousarray(mesh.faces[:, 0])
    for plane in planes[np.argsort(-regions.areas[planes])][:_MOST_PLANES]:
        inside = mesh.faces[regions.of_face == plane]
        heights = mesh.vertices @ regions.normals[plane]
        level = np.median(heights[inside])
        on = np.abs(heights - level) <= limit
        rows = np.flatnonzero(on[first])  # few: the other corners of those
        yield rows[all_of(on[mesh.faces[rows]])]
