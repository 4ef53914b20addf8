"""Planes that a file divides much finer than their shape needs, made of few faces again.

A surface cut into a million triangles is the same surface cut into a thousand, where most
of them lie in the plane of their neighbours; all that follows is then as much quicker.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across, dot
from meshcomp.loops import Rim, rim_of
from meshcomp.meshes import Mesh
from meshcomp.parts import Part, Repair
from meshcomp.repairing.chains import amid_straight_edges
from meshcomp.repairing.slivers import flat_limit
from meshcomp.segmentation import Regions, planar_regions
from meshcomp.topology import Topology, least_of_cycles, topology_of

__all__ = ["with_planes_joined"]

_FEW = 20_000  # faces: with fewer, nothing takes long
_ROUNDS = 4
_QUAD = 4


@dataclass(frozen=True, slots=True, eq=False)
class _Divided:
    """A mesh, its planar regions, and those that stay divided as they are, (k,) bool."""

    mesh: Mesh
    topology: Topology
    regions: Regions
    held: NDArray[np.bool_]


def with_planes_joined(part: Part) -> Part:
    """Join the faces of planes, where that leaves less than half of the faces.

    Points amid planes and amid straight edges go, as far as 32-bit coordinates cannot
    tell them from their plane or edge (`segmentation.flatness_limit`); all other points
    keep every bit. A small mesh, and one that is no closed solid, stays as it is.

    Returns
    -------
    part : Part
        With a repair "faces joined" that counts the faces that are gone.
    """
    mesh = part.mesh
    if len(mesh.faces) < _FEW:
        return part
    topology = topology_of(mesh)
    if not topology.is_closed:
        return part
    regions = planar_regions(mesh, topology)
    if 2 * len(regions.areas) > len(mesh.faces):
        return part
    held = np.zeros(len(regions.areas), dtype=bool)
    for _ in range(_ROUNDS):
        divided = _Divided(mesh, topology, regions, held)
        faces, parents, failed = _joined(divided)
        if not failed.any():
            return _sound(part, faces, parents)
        held = held | failed
    return part


def _sound(part: Part, faces: NDArray[np.int64], parents: NDArray[np.int64]) -> Part:
    """Return the part with its new faces, if they are fewer by far and as sound."""
    before, after = len(part.mesh.faces), len(faces)
    if 2 * after > before:
        return part
    mesh = Mesh(part.mesh.vertices, faces).compact()
    topology = topology_of(mesh)
    if not topology.is_closed or topology.crowded > topology_of(part.mesh).crowded:
        return part
    gone = Repair(kind="faces joined", count=before - after)
    return replace(part.with_mesh(mesh, parents), repairs=(*part.repairs, gone))


def _joined(
    divided: _Divided,
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Return new faces, (j, 3), the old face of each, and the regions that failed."""
    mesh, of_face = divided.mesh, divided.regions.of_face
    rim = rim_of(divided.topology.twins, of_face)
    starts = divided.topology.starts[rim.half_edges]
    on_rim = np.zeros(len(mesh.vertices), dtype=bool)
    on_rim[starts] = True
    needless = ~on_rim | amid_straight_edges(mesh, divided.topology, rim, divided.held)
    wanted = np.zeros(len(divided.held), dtype=bool)
    wanted[of_face[needless[mesh.faces].any(axis=1)]] = True
    wanted &= ~divided.held
    outlines = rim.without(needless[starts] | ~wanted[rim.groups])
    fresh, numbers, failed = _triangles(divided, outlines)
    failed[np.setdiff1d(np.flatnonzero(wanted), numbers)] = True  # no outline was left
    kept = np.flatnonzero(~wanted[of_face])
    first = np.zeros(len(wanted), dtype=np.int64)
    first[of_face[::-1]] = np.arange(len(of_face) - 1, -1, -1)
    faces = np.concatenate([mesh.faces[kept], fresh])
    return faces, np.concatenate([kept, first[numbers]]), failed


def _triangles(
    divided: _Divided, outlines: Rim
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Triangles of outlines, the region of each, and the regions that have none."""
    normals = divided.regions.normals
    is_simple, triangles, numbers = _of_simple_outlines(divided, outlines)
    vertices, starts = divided.mesh.vertices, divided.topology.starts
    loops: dict[int, list[NDArray[np.int64]]] = {}
    rest = outlines.without(is_simple)
    for loop in rest.loops():
        points = starts[rest.half_edges[loop]]
        loops.setdefault(int(rest.groups[loop[0]]), []).append(points)
    made = {g: _triangulated(vertices, own, normals[g]) for g, own in loops.items()}
    several = [triangles, *made.values()]
    counts = [len(t) for t in made.values()]
    regions = np.concatenate([numbers, np.repeat(list(made), counts).astype(np.int64)])
    faces = np.concatenate(several)
    failed = np.zeros(len(normals), dtype=bool)
    flat = Mesh(vertices, faces).heights <= flat_limit(divided.mesh)
    failed[regions[flat]] = True
    return faces, regions, failed


def _triangulated(
    vertices: NDArray[np.float64],
    loops: list[NDArray[np.int64]],
    normal: NDArray[np.float64],
) -> NDArray[np.int64]:
    """Triangles between loops of vertices in a plane; none where the loops cross."""
    from meshcomp.solids import triangulate_outline

    nothing = np.zeros((0, 3), dtype=np.int64)
    if min(len(loop) for loop in loops) < 3:  # noqa: PLR2004 - no outline
        return nothing
    frame = basis_across(normal)
    triangles = triangulate_outline([vertices[loop] @ frame.T for loop in loops])
    return nothing if triangles is None else np.concatenate(loops)[triangles]


def _of_simple_outlines(
    divided: _Divided, outlines: Rim
) -> tuple[NDArray[np.bool_], NDArray[np.int64], NDArray[np.int64]]:
    """Triangles of regions with one loop of three or four: most facets of cylinders.

    Returns
    -------
    done : (r,) bool
        Half-edges of such outlines.
    triangles : (j, 3) int
    numbers : (j,) int
        Region of each.
    """
    after = outlines.successors
    label = least_of_cycles(after)
    length = np.bincount(label, minlength=len(after))[label]
    alone = np.bincount(outlines.groups, minlength=len(divided.held))[outlines.groups]
    single = alone == length
    first = label == np.arange(len(label))
    corners = divided.topology.starts[outlines.half_edges]
    threes = np.flatnonzero(first & single & (length == _QUAD - 1))
    fours = np.flatnonzero(first & single & (length == _QUAD))
    ring = [fours]
    for _ in range(_QUAD - 1):
        ring.append(after[ring[-1]])
    quads = np.column_stack([corners[place] for place in ring])
    halves, convex = _halved(divided, quads, outlines.groups[fours])
    triangle = np.column_stack(
        [corners[threes], corners[after[threes]], corners[after[after[threes]]]]
    )
    numbers = outlines.groups[np.concatenate([threes, np.repeat(fours[convex], 2)])]
    done = np.isin(label, np.concatenate([threes, fours[convex]]))
    return done, np.concatenate([triangle, halves]), numbers


def _halved(
    divided: _Divided, quads: NDArray[np.int64], numbers: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Cut convex quadrilaterals along the diagonal that leaves the higher triangles."""
    normals = divided.regions.normals[numbers]
    cuts = [quads[:, [0, 1, 2, 0, 2, 3]], quads[:, [1, 2, 3, 1, 3, 0]]]
    meshes = [Mesh(divided.mesh.vertices, cut.reshape(-1, 3)) for cut in cuts]
    least = [mesh.heights.reshape(-1, 2).min(axis=1) for mesh in meshes]
    upright = [
        (dot(mesh.area_vectors, np.repeat(normals, 2, axis=0)) > 0).reshape(-1, 2)
        for mesh in meshes
    ]
    convex = np.concatenate(upright, axis=1).all(axis=1)
    chosen = np.where((least[0] >= least[1])[:, None], *cuts)[convex]
    return chosen.reshape(-1, 3), convex
