"""Planar regions: connected faces that lie in one plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.meshes import Mesh
from meshcomp.topology import Topology, components

__all__ = ["Regions", "flatness_limit", "planar_regions"]

_SINGLE = 2.0**-24  # relative rounding of a 32-bit coordinate
_SAME_SIDE = 0.98  # cosine: faces that bend more are not one plane, however small


@dataclass(frozen=True, slots=True, eq=False)
class Regions:
    """Planar regions of a mesh; a face in no larger region is a region of its own."""

    of_face: NDArray[np.int64]  # (m,) region of each face
    normals: NDArray[np.float64]  # (k, 3) unit outward normal of each region
    areas: NDArray[np.float64]  # (k,) mm²
    face_normals: NDArray[np.float64]  # (m, 3) of each face's region: steadier than its own


def flatness_limit(mesh: Mesh) -> float:
    """Distance from a plane, mm, that 32-bit coordinates cannot tell from zero."""
    return 2e-5 + 8 * _SINGLE * float(np.abs(mesh.vertices).max(initial=0.0))


def planar_regions(mesh: Mesh, topology: Topology) -> Regions:
    """Group connected faces that lie in one plane within `flatness_limit`."""
    limit = flatness_limit(mesh)
    vectors = mesh.area_vectors
    joined = _coplanar_pairs(mesh, topology, vectors, limit)
    labels = components(len(mesh.faces), joined)
    labels = _dissolve_curved(mesh, vectors, labels, limit)

    count = int(labels.max(initial=-1)) + 1
    sums = _sum_by(labels, vectors, count)
    normals = unit(sums)
    return Regions(labels, normals, np.linalg.norm(sums, axis=1), normals[labels])


def _sum_by(
    labels: NDArray[np.int64], rows: NDArray[np.float64], count: int
) -> NDArray[np.float64]:
    """Sum (m, 3) rows by label."""
    return np.stack([np.bincount(labels, rows[:, k], count) for k in range(3)], axis=1)


def _coplanar_pairs(
    mesh: Mesh, topology: Topology, vectors: NDArray[np.float64], limit: float
) -> NDArray[np.int64]:
    """Pairs of neighbouring faces in one plane, judged from the larger of the two."""
    halves = topology.pairs
    areas = np.linalg.norm(vectors, axis=1)
    swap = areas[halves[:, 0] // 3] < areas[halves[:, 1] // 3]
    halves = np.where(swap[:, None], halves[:, ::-1], halves)
    larger, smaller = halves[:, 0] // 3, halves[:, 1] // 3

    normals = unit(vectors)
    corner = mesh.faces.ravel()
    base = mesh.vertices[corner[halves[:, 0]]]
    opposite = mesh.vertices[corner[3 * smaller + (halves[:, 1] + 2) % 3]]
    away = np.abs(dot(normals[larger], opposite - base))
    longest = np.linalg.norm(
        np.diff(mesh.corners, axis=1, append=mesh.corners[:, :1]), axis=2
    )
    sliver = 2 * areas <= 10 * limit * longest.max(axis=1)
    alike = dot(normals[larger], normals[smaller]) > _SAME_SIDE
    flat = (away <= limit) & (alike | sliver[smaller])
    return np.column_stack([larger[flat], smaller[flat]])


def _dissolve_curved(
    mesh: Mesh, vectors: NDArray[np.float64], labels: NDArray[np.int64], limit: float
) -> NDArray[np.int64]:
    """Make single faces of regions that crept around a curve."""
    count = int(labels.max(initial=-1)) + 1
    normals = unit(_sum_by(labels, vectors, count))
    members = np.bincount(labels, minlength=count)
    first = np.zeros(count, dtype=np.int64)
    first[labels[::-1]] = mesh.faces[::-1, 0]
    origin = mesh.vertices[first]
    heights = dot(mesh.corners - origin[labels][:, None], normals[labels][:, None])
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, labels, heights.min(axis=1))
    np.maximum.at(high, labels, heights.max(axis=1))
    curved = (high - low > 4 * limit) & (members > 1)
    alone = curved[labels]
    fresh = labels.copy()
    fresh[alone] = count + np.arange(int(alone.sum()))
    return np.asarray(np.unique(fresh, return_inverse=True)[1], dtype=np.int64)
