"""Triangulate planar faces anew from their moved outlines.

Points inside a planar face are no part of its shape; where the outline overtakes them,
triangles fold. A fresh triangulation of the outline has none of them and cannot fold.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across, dot
from meshcomp.compensation.refining import Refined
from meshcomp.meshes import Mesh
from meshcomp.topology import next_half_edge, topology_of

__all__ = ["flattened"]

_THIN = 1e-4  # mm: a moved triangle thinner than this is better made anew


def flattened(
    refined: Refined,
    moved: Mesh,
    regions: tuple[NDArray[np.int64], NDArray[np.float64]],
    touched: NDArray[np.bool_],
) -> tuple[Refined, NDArray[np.bool_]]:
    """Triangulate the planar regions anew that folded or were cut.

    Parameters
    ----------
    refined : Refined
        The mesh before the motion, with parents.
    moved : Mesh
        The same faces on moved vertices.
    regions : (m,) int and (k, 3) float
        Planar region of each refined face (-1: never), and the regions' normals.
    touched : (m,) bool
        Faces whose corners moved, or that were cut.

    Returns
    -------
    flat : Refined
        Moved mesh, and the face of the inspected mesh that each face came from.
    fresh : (m,) bool
        Which of its faces were made anew.
    """
    of_face, normals = regions
    wanted = _worn_regions(refined, moved, regions, touched)
    if len(wanted) == 0:
        return replace(refined, mesh=moved), np.zeros(len(moved.faces), dtype=bool)
    marked = np.zeros(len(normals), dtype=bool)
    marked[wanted] = True
    worn = (of_face >= 0) & marked[np.maximum(of_face, 0)]
    faces, owners = [], []
    for region, loops in _outlines(moved, of_face, worn).items():
        triangles = _triangulated(moved.vertices, loops, normals[region])
        if triangles is None:
            mine = np.flatnonzero(worn & (of_face == region))
            triangles, parents = moved.faces[mine], refined.parents[mine]
        else:
            first = refined.parents[np.argmax(of_face == region)]
            parents = np.full(len(triangles), first)
        faces.append(triangles)
        owners.append(parents)
    kept = moved.faces[~worn]
    mesh = Mesh(moved.vertices, np.concatenate([kept, *faces]))
    parents = np.concatenate([refined.parents[~worn], *owners])
    fresh = np.arange(len(mesh.faces)) >= len(kept)
    return replace(refined, mesh=mesh, parents=parents), fresh


def _worn_regions(
    refined: Refined,
    moved: Mesh,
    regions: tuple[NDArray[np.int64], NDArray[np.float64]],
    touched: NDArray[np.bool_],
) -> NDArray[np.int64]:
    """Regions of several faces of which one was cut, folded or became a needle."""
    of_face, normals = regions
    planar = of_face >= 0
    cut = np.bincount(refined.parents)[refined.parents] > 1
    turned = dot(moved.area_vectors, normals[np.maximum(of_face, 0)]) <= 0
    heights, old = moved.heights, refined.mesh.heights
    thin = (heights < _THIN) & (old > 2 * heights)
    worn = np.unique(of_face[planar & (cut | (touched & (turned | thin)))])
    counts = np.bincount(of_face[planar], minlength=len(normals))
    return np.asarray(worn[counts[worn] > 1])


def _outlines(
    mesh: Mesh, of_face: NDArray[np.int64], worn: NDArray[np.bool_]
) -> dict[int, list[list[int]]]:
    """Vertex loops around each worn region, material to the left."""
    twins = topology_of(mesh).twins
    region = np.where(worn, of_face, -1)
    own = np.repeat(region, 3)
    across = np.where(twins >= 0, region[twins // 3], -2)
    rim = np.flatnonzero((own >= 0) & (own != across))
    following = _next_on_rim(rim, twins, own)
    start = mesh.faces.ravel()[rim].tolist()
    position = {half_edge: k for k, half_edge in enumerate(rim.tolist())}
    successor = [position[h] for h in following.tolist()]
    loops: dict[int, list[list[int]]] = {}
    seen = [False] * len(rim)
    for first in range(len(rim)):
        loop, here = [], first
        while not seen[here]:
            seen[here] = True
            loop.append(start[here])
            here = successor[here]
        if loop:
            loops.setdefault(int(own[rim[first]]), []).append(loop)
    return loops


def _next_on_rim(
    rim: NDArray[np.int64], twins: NDArray[np.int64], own: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Rim half-edge after each one: turn about its end until the region is left."""
    following = next_half_edge(rim)
    for _ in range(len(own)):
        twin = twins[following]
        inside = (twin >= 0) & (own[np.maximum(twin, 0)] == own[following])
        if not inside.any():
            break
        following = np.where(inside, next_half_edge(twin), following)
    return following


def _triangulated(
    vertices: NDArray[np.float64], loops: list[list[int]], normal: NDArray[np.float64]
) -> NDArray[np.int64] | None:
    """Triangles of a planar outline, or None where it crosses itself."""
    from meshcomp.solids import triangulate_outline

    frame = basis_across(normal)
    index = np.concatenate([np.array(loop) for loop in loops])
    outline = [vertices[np.array(loop)] @ frame.T for loop in loops]
    triangles = triangulate_outline(outline)
    return None if triangles is None else index[triangles]
