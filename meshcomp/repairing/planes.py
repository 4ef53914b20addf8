"""Planes that a file divides much finer than their shape needs, made of few faces again.

A surface cut into a million triangles is the same surface cut into a thousand, where most
of them lie in the plane of their neighbours; all that follows is then as much quicker.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.loops import Rim, rim_of
from meshcomp.meshes import Mesh, largest_faces
from meshcomp.parts import Part, Repair
from meshcomp.repairing.chains import amid_straight_edges
from meshcomp.repairing.patchwork import untouched
from meshcomp.repairing.slivers import flat_limit, without_slivers
from meshcomp.segmentation import Regions, planar_regions
from meshcomp.topology import Topology, topology_of
from meshcomp.triangulating import Known, triangulated

__all__ = ["PLANES_JOINED", "with_planes_joined"]

PLANES_JOINED = "faces joined"  # kind of repair

_FEW = 20_000  # faces: with fewer, nothing takes long
_ROUNDS = 12  # each leaves a few regions more as they are
_FINE = 8  # faces of a plane, on average: with more, most points are amid planes
_TWO = 2
_TRIANGLE = 3


@dataclass(frozen=True, slots=True, eq=False)
class _Divided:
    """A mesh, its planar regions, and those that stay divided as they are."""

    mesh: Mesh
    topology: Topology
    regions: Regions
    rim: Rim  # of all regions
    held: NDArray[np.bool_]  # (k,)


@dataclass(frozen=True, slots=True, eq=False)
class _Joined:
    """Faces, (j, 3), the old face of each, and which of them are new, (j,) bool."""

    faces: NDArray[np.int64]
    parents: NDArray[np.int64]
    is_fresh: NDArray[np.bool_]


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
    if 2 * len(regions.areas) > len(mesh.faces) or _stay(topology, regions):
        return part
    rim = rim_of(topology.twins, regions.of_face)
    held = np.zeros(len(regions.areas), dtype=bool)
    for _ in range(_ROUNDS):
        divided = _Divided(mesh, topology, regions, rim, held)
        joined, failed = _joined(divided)
        if not failed.any():
            return _sound(part, joined)
        held = held | failed
    return part


def _stay(topology: Topology, regions: Regions) -> bool:
    """Whether half of the points or more are corners of three planes: none of them goes."""
    if _FINE * len(regions.areas) < len(regions.of_face):
        return False
    across = np.take(regions.of_face, topology.twins // 3).reshape(-1, 3)
    borders = (across != regions.of_face[:, None]).ravel()
    ends = np.bincount(topology.starts[borders])
    points = np.count_nonzero(np.bincount(topology.starts))
    return bool(2 * np.count_nonzero(ends > _TWO) >= points)


def _sound(part: Part, joined: _Joined) -> Part:
    """Return the part with its new faces, if they are fewer by far and as sound."""
    before, after = len(part.mesh.faces), len(joined.faces)
    if 2 * after > before:
        return part
    mesh = Mesh(part.mesh.vertices, joined.faces).compact()
    work = untouched(mesh)
    limits = np.where(joined.is_fresh, flat_limit(mesh), -1.0)
    if (mesh.heights <= limits).any():  # between points on one line
        work, _ = without_slivers(work, limits)
        mesh = work.mesh.compact()
    topology = topology_of(mesh)
    if not topology.is_closed or topology.crowded > topology_of(part.mesh).crowded:
        return part
    gone = Repair(kind=PLANES_JOINED, count=before - len(mesh.faces))
    repaired = part.with_mesh(mesh, joined.parents[work.parents])
    return replace(repaired, repairs=(*part.repairs, gone))


def _joined(divided: _Divided) -> tuple[_Joined, NDArray[np.bool_]]:
    """Triangulate regions anew without needless points; say which regions failed."""
    mesh, of_face = divided.mesh, divided.regions.of_face
    rim = divided.rim
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
    faces = np.concatenate([mesh.faces[kept], fresh])
    parents = np.concatenate([kept, largest_faces(mesh, of_face)[numbers]])
    return _Joined(faces, parents, np.arange(len(faces)) >= len(kept)), failed


def _triangles(
    divided: _Divided, outlines: Rim
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Triangles of outlines, the region of each, and the regions that have none."""
    mesh, normals = divided.mesh, divided.regions.normals
    found = outlines.outlines(divided.topology.starts)
    hurt = np.zeros(len(found.groups), dtype=bool)
    hurt[found.of_ring[np.diff(found.firsts) < _TRIANGLE]] = True
    whole = found.without(np.ones(len(mesh.vertices), dtype=bool), of=hurt)
    made = triangulated(mesh.vertices, whole, normals, Known())
    failed = np.zeros(len(normals), dtype=bool)
    failed[made.failed] = True
    failed[found.groups[hurt]] = True
    return made.faces, made.regions, failed
