"""Edges at which planar regions bend gently into each other, as facets of a curve do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import different, pieces
from meshcomp._vectors import cross, dot, unit
from meshcomp.detection.double_curvature import are_doubly_curved
from meshcomp.meshes import Mesh
from meshcomp.segmentation import Regions
from meshcomp.topology import Topology, components, next_half_edge

__all__ = ["WIDEST_FACET", "Bends", "bends_of"]

WIDEST_FACET = 46.0  # degrees: eight facets make a circle, six make a hexagon
_LEAST_TURN = 1e-5  # sine: less is rounding of one plane
_NOISE = 0.005  # mm, out of the plane of a facet
_SLIVER = 0.02  # mm, least height of a triangle that has a direction
_MANY = 100_000  # regions: of fewer, all are looked at
_ALONG_LIMIT = 2e-3  # sine between an edge and an axis that it runs along


@dataclass(frozen=True, slots=True, eq=False)
class Bends:
    """Edges between two planar regions that turn by less than a facet may."""

    half_edges: NDArray[np.int64]  # (e, 2) a half-edge and its twin
    directions: NDArray[np.float64]  # (e, 3) unit, along the edges
    cosines: NDArray[np.float64]  # (e,) between the two normals
    rising: NDArray[np.float64]  # (e,) sine by which the far corners rise: > 0 in a hole
    is_curved: NDArray[np.bool_]  # (m,) faces whose region has such an edge
    is_sliver: NDArray[np.bool_]  # (m,) faces by themselves, too low to have a direction
    is_double: NDArray[np.bool_]  # (m,) faces amid what is curved both ways, if looked for
    of_face: NDArray[np.int64]  # (m,) region of each face
    faces: NDArray[np.int64]  # (e, 2) on both sides of each edge
    regions: NDArray[np.int64]  # (e, 2) the same

    def among(self, known: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Edges that have some faces, (m,) bool, on both sides, (e,)."""
        return np.asarray(known[self.faces[:, 0]] & known[self.faces[:, 1]])

    def joined(
        self, faces: NDArray[np.int64], edges: NDArray[np.int64] | NDArray[np.bool_]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Join the regions of some faces, (k,), over some of the edges, (e,).

        Edges have those faces on both sides. Returned are the patch of each region, (r,),
        numbered from 0, and the row of that for each face, (k,).
        """
        mine = self.of_face[faces]
        regions = different(mine)
        pairs = np.searchsorted(regions, self.regions[edges])
        return components(len(regions), pairs), np.searchsorted(regions, mine)

    def along(self, direction: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Faces whose region bends about a direction somewhere, (m,)."""
        cosines = self.directions @ direction
        mine = self.faces[1 - cosines * cosines < _ALONG_LIMIT**2]
        bending = np.zeros(int(self.of_face.max(initial=-1)) + 1, dtype=bool)
        bending[self.of_face[mine.ravel()]] = True
        return np.asarray(bending[self.of_face])


def bends_of(mesh: Mesh, topology: Topology, regions: Regions) -> Bends:
    """Find the edges of a mesh at which it is curved."""
    double = _doubly_curved(mesh, topology, regions)
    edges = topology.pairs
    if double.any():
        edges = edges[~double[edges // 3].all(axis=1)]
    gentle = [_bending(edges[rows], regions) for rows in pieces(len(edges))]
    half_edges = np.concatenate([np.zeros((0, 2), np.int64), *(e for e, _, _ in gentle)])
    sides = np.concatenate([np.zeros((0, 2), np.int64), *(s for _, s, _ in gentle)])
    cosines = np.concatenate([np.zeros(0), *(c for _, _, c in gentle)])
    corners = mesh.faces.ravel()
    first, last = corners[half_edges[:, 0]], corners[next_half_edge(half_edges[:, 0])]
    curved = np.zeros(len(regions.areas), dtype=bool)
    curved[sides] = True
    rising = [
        _rising(mesh, half_edges[rows], np.take(regions.normals, sides[rows, 0], axis=0))
        for rows in pieces(len(half_edges))
    ]
    return Bends(
        half_edges=half_edges,
        directions=unit(mesh.vertices[last] - mesh.vertices[first]),
        cosines=cosines,
        rising=np.concatenate([np.zeros(0), *rising]),
        is_curved=curved[regions.of_face],
        is_sliver=_are_slivers(mesh, regions),
        is_double=double,
        of_face=regions.of_face,
        faces=half_edges // 3,
        regions=sides,
    )


def _doubly_curved(mesh: Mesh, topology: Topology, regions: Regions) -> NDArray[np.bool_]:
    """Faces of large meshes amid what is curved both ways, (m,): no edge there matters."""
    if len(regions.areas) < _MANY:
        return np.zeros(len(mesh.faces), dtype=bool)
    return are_doubly_curved(mesh, topology, regions.face_normals)


def _bending(
    half_edges: NDArray[np.int64], regions: Regions
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Edges that bend by less than a facet may, (k, 2), both regions, (k, 2), cosine."""
    sides = np.take(regions.of_face, half_edges // 3)
    apart = np.flatnonzero(sides[:, 0] != sides[:, 1])
    first, second = (np.take(regions.normals, side, axis=0) for side in sides[apart].T)
    cosines = dot(first, second)
    gentle = np.flatnonzero(cosines > np.cos(np.radians(WIDEST_FACET)))
    turns = cross(first[gentle], second[gentle])
    gentle = gentle[dot(turns, turns) > _LEAST_TURN**2]
    return half_edges[apart[gentle]], sides[apart[gentle]], cosines[gentle]


def _rising(
    mesh: Mesh,
    half_edges: NDArray[np.int64],
    normals: NDArray[np.float64],
) -> NDArray[np.float64]:
    """How far the corner beyond each edge rises over the plane this side of it, (e,).

    As a share of its distance from the farther end of the edge. A few microns out of
    plane count as flat: noise tilts the diagonal of a long facet either way, and narrow
    facets by many degrees.
    """
    corners = mesh.faces.ravel()
    beyond = next_half_edge(next_half_edge(half_edges[:, 1]))
    opposite = np.take(mesh.vertices, corners[beyond], axis=0)
    ends = (half_edges[:, 0], next_half_edge(half_edges[:, 0]))
    ways = [opposite - np.take(mesh.vertices, corners[end], axis=0) for end in ends]
    distance = np.sqrt(np.maximum(*(dot(way, way) for way in ways)))
    height = dot(ways[0], normals)
    height[np.abs(height) < _NOISE] = 0.0
    return np.asarray(height / np.maximum(distance, 1e-12))


def _are_slivers(mesh: Mesh, regions: Regions) -> NDArray[np.bool_]:
    """Faces alone in their plane, whose plane noise may tilt by more than a facet may."""
    alone = np.bincount(regions.of_face, minlength=len(regions.areas)) == 1
    slivers = alone[regions.of_face]
    single = np.flatnonzero(slivers)
    slivers[single] = Mesh(mesh.vertices, mesh.faces[single]).heights < _SLIVER
    return np.asarray(slivers)
