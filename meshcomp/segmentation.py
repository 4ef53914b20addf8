"""Planar regions: connected faces that lie in one plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import pieces
from meshcomp._vectors import dot, unit
from meshcomp.meshes import Mesh
from meshcomp.topology import Topology, components

__all__ = ["Regions", "flatness_limit", "planar_regions", "rims_of"]

_SINGLE = 2.0**-24  # relative rounding of a 32-bit coordinate
_CLOSER = 8.0  # times as close to a plane as to be looked at again
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
    return mesh.kept("planar regions", lambda mesh: _grouped(mesh, topology))


def _grouped(mesh: Mesh, topology: Topology) -> Regions:
    limit, count = flatness_limit(mesh), len(mesh.faces)
    pairs, away = _coplanar_pairs(mesh, topology, limit)
    labels = components(count, pairs)
    sums = _area_vectors_by(labels, mesh)
    crept = _have_crept(mesh, unit(sums), labels, limit)
    if crept.any():
        # Small faces of a gentle curve: what is in one plane all the same is closer to it.
        limit /= _CLOSER
        labels = components(count, pairs[~crept[pairs[:, 0]] | (away <= limit)])
        normals = unit(_area_vectors_by(labels, mesh))
        again = _have_crept(mesh, normals, labels, limit)
        labels = _made_single(labels, crept & again)
        sums = _area_vectors_by(labels, mesh)
    normals = unit(sums)
    face_normals = np.take(normals, labels, axis=0)
    return Regions(labels, normals, np.linalg.norm(sums, axis=1), face_normals)


def _area_vectors_by(labels: NDArray[np.int64], mesh: Mesh) -> NDArray[np.float64]:
    """Sum the area vectors of the faces of each label, (k, 3) mm²."""
    count = int(labels.max(initial=-1)) + 1
    columns = [np.bincount(labels, axis, count) for axis in mesh.area_vectors.T]
    return np.stack(columns, axis=1)


def _coplanar_pairs(
    mesh: Mesh, topology: Topology, limit: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Pairs of neighbouring faces in one plane, judged from the larger of the two.

    Also how far the smaller one's corner is off the larger one's plane, (e,) mm.
    """
    vectors = mesh.area_vectors
    areas = np.sqrt(dot(vectors, vectors))
    normals = vectors / np.where(areas > 0, areas, 1.0)[:, None]
    columns = [np.ascontiguousarray(rows.T) for rows in (normals, mesh.vertices)]
    found = [(np.zeros((0, 2), np.int64), np.zeros(0))]
    for rows in pieces(len(topology.twins)):
        first = np.arange(rows.start, rows.stop)
        second = topology.twins[rows]
        once = first < second
        edges = first[once], second[once]
        larger, smaller, away, cosine = _beside(mesh, areas, columns, edges)
        flat = np.flatnonzero(away <= limit)
        larger, smaller, away = larger[flat], smaller[flat], away[flat]
        sure = cosine[flat] > _SAME_SIDE
        sure[~sure] = _is_sliver(mesh, smaller[~sure], limit)
        found.append((np.column_stack([larger, smaller])[sure], away[sure]))
    return np.concatenate([each for each, _ in found]), np.concatenate(
        [away for _, away in found]
    )


def _beside(
    mesh: Mesh,
    areas: NDArray[np.float64],
    columns: list[NDArray[np.float64]],
    edges: tuple[NDArray[np.int64], NDArray[np.int64]],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """Return the larger face at some edges, the smaller, how far it is off, the cosine.

    `columns` are those of normals and of vertices, `edges` both half-edges of each.
    """
    first, second = edges
    faces = first // 3, second // 3
    swap = areas[faces[0]] < areas[faces[1]]
    larger, smaller = np.where(swap, faces[1], faces[0]), np.where(swap, *faces)
    near, far = np.where(swap, second, first), np.where(swap, first, second)
    far += np.where(far - 3 * smaller == 0, 2, -1)  # to the corner off the common edge
    corner = mesh.faces.ravel()
    opposite, base = corner[far], corner[near]
    away, cosine = np.zeros(len(far)), np.zeros(len(far))
    for normal, place in zip(*columns, strict=True):
        of_larger = normal[larger]
        away += of_larger * (place[opposite] - place[base])
        cosine += of_larger * normal[smaller]
    return larger, smaller, np.abs(away), cosine


def _is_sliver(mesh: Mesh, faces: NDArray[np.int64], limit: float) -> NDArray[np.bool_]:
    """Whether faces are too low for their normals to mean anything, (k,)."""
    return Mesh(mesh.vertices, mesh.faces[faces]).heights <= 10 * limit


def _have_crept(
    mesh: Mesh, normals: NDArray[np.float64], labels: NDArray[np.int64], limit: float
) -> NDArray[np.bool_]:
    """Faces of regions that crept around a curve, (m,)."""
    count = len(normals)
    vectors = mesh.area_vectors
    whole = np.bincount(labels, np.sqrt(dot(vectors, vectors)), count)
    sums = _area_vectors_by(labels, mesh)
    # All around a narrow tube area vectors add up to nothing, and so to no normal.
    closed = dot(sums, sums) < (_SAME_SIDE * whole) ** 2
    first = np.zeros(count, dtype=np.int64)
    first[labels[::-1]] = mesh.faces[::-1, 0]
    several = np.flatnonzero((np.bincount(labels, minlength=count) > 1)[labels])
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    levels = dot(normals, mesh.vertices[first])
    columns = [np.ascontiguousarray(rows.T) for rows in (normals, mesh.vertices)]
    for rows in pieces(len(several)):
        mine = labels[several[rows]]
        corners = np.ascontiguousarray(mesh.faces[several[rows]].T)
        heights = np.broadcast_to(-levels[mine], corners.shape).copy()
        for normal, place in zip(*columns, strict=True):
            heights += normal[mine] * place[corners]
        np.minimum.at(low, mine, heights.min(axis=0))
        np.maximum.at(high, mine, heights.max(axis=0))
    return np.asarray(((high - low > 4 * limit) | closed)[labels])


def _made_single(labels: NDArray[np.int64], alone: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Give some faces a label of their own."""
    if not alone.any():
        return labels
    fresh = labels.copy()
    fresh[alone] = len(labels) + np.arange(int(alone.sum()))
    rank = np.cumsum(np.bincount(fresh) > 0) - 1
    return np.asarray(rank[fresh])


def rims_of(mesh: Mesh, topology: Topology) -> NDArray[np.bool_]:
    """Mark the faces at the rim of their planar region, (m,)."""
    of_face = planar_regions(mesh, topology).of_face
    across = np.append(of_face, -1)[topology.neighbours]  # the last: no neighbour
    return np.asarray((across != of_face[:, None]).any(axis=1))
