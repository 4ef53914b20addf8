"""How often a surface winds about places beside it: what is inside out, or drawn twice."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import unit
from meshcomp.meshes import Mesh
from meshcomp.repairing.cracks import crack_limit
from meshcomp.repairing.turning import plain_surfaces
from meshcomp.topology import bodies_of, topology_of

__all__ = ["doubled_faces", "negative_patches", "winding_about"]

_MOST_PATCHES = 500  # each costs a look at all faces
_BEFORE = 1e-4  # of a face's size, by which the place before it is away
_MOST_LOOKS = 3_000_000  # faces looked at, some seconds
_FEW, _MANY = 4, 64  # places looked at, at the least and at the most


def winding_about(point: NDArray[np.float64], axes: NDArray[np.float64]) -> float:
    """Return the winding number of triangles about a point.

    The sum of solid angles; A. van Oosterom, J. Strackee, IEEE Trans. Biomed. Eng. 30
    (1983) 125-126.

    Parameters
    ----------
    point : (3,) float
        In mm.
    axes : (3, 3, k) float
        Coordinates of the corners, axis by axis: quicker for many points, mm.

    Examples
    --------
    >>> corners = np.array([(3, -1, -1), (-1, 3, -1), (-1, -1, 3), (-1, -1, -1)], float)
    >>> faces = [(0, 1, 2), (0, 3, 1), (1, 3, 2), (2, 3, 0)]
    >>> round(winding_about(np.zeros(3), corners[faces].T), 9)
    1.0
    """
    axes = axes - point[:, None, None]
    (ax, bx, cx), (ay, by, cy), (az, bz, cz) = axes
    la, lb, lc = np.sqrt(axes[0] * axes[0] + axes[1] * axes[1] + axes[2] * axes[2])
    volume = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
    rest = (
        la * lb * lc
        + (ax * bx + ay * by + az * bz) * lc
        + (bx * cx + by * cy + bz * cz) * la
        + (cx * ax + cy * ay + cz * az) * lb
    )
    return float(np.arctan2(volume, rest).sum() / (2 * np.pi))


def negative_patches(mesh: Mesh) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Mark surfaces with a winding number below zero before them, where bodies touch.

    Parameters
    ----------
    mesh : Mesh
        Closed, mm.

    Returns
    -------
    negative : (p,) bool
        For each surface between edges of more than two faces; none without such edges.
    label : (m,) int
        The surface of each face.
    """
    largest, label = _largest_of_patches(mesh)
    if len(largest) > _MOST_PATCHES:
        return np.zeros(0, dtype=bool), np.zeros(len(mesh.faces), dtype=np.int64)
    return _windings(mesh, largest, _BEFORE * _sizes(mesh, largest)) < -0.5, label  # noqa: PLR2004 - whole numbers


def doubled_faces(mesh: Mesh) -> NDArray[np.int64]:
    """Find faces at which the winding number of their own body rises by two.

    There the body is drawn twice. The largest faces are looked at: of each surface
    between crowded edges, of each body, of all.

    Parameters
    ----------
    mesh : Mesh
        Closed, its bodies turned outward, mm.

    Returns
    -------
    faces : (k,) int
    """
    count = int(np.clip(_MOST_LOOKS // len(mesh.faces), _FEW, _MANY))
    bodies = bodies_of(mesh)
    chosen = [
        _largest(mesh, _largest_of_patches(mesh)[0])[:count],
        _largest(mesh, _first_of(mesh, bodies))[:count],
        _largest(mesh, np.arange(len(mesh.faces)))[:count],
    ]
    faces = np.unique(np.concatenate(chosen))
    away = np.maximum(_BEFORE * _sizes(mesh, faces), 2 * crack_limit(mesh))
    found = []
    for body in np.unique(bodies[faces]):
        rows = np.flatnonzero(bodies == body)
        own, mine = Mesh(mesh.vertices, mesh.faces[rows]), bodies[faces] == body
        at = np.searchsorted(rows, faces[mine])
        rise = _windings(own, at, -away[mine]) - _windings(own, at, away[mine])
        found.append(faces[mine][rise > 1.5])  # noqa: PLR2004 - whole numbers
    return np.concatenate(found)


def _largest(mesh: Mesh, faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return faces in falling order of their area."""
    areas = np.linalg.norm(mesh.area_vectors[faces], axis=1)
    return np.asarray(faces[np.argsort(-areas, kind="stable")])


def _first_of(mesh: Mesh, label: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the largest face of each label."""
    areas = np.linalg.norm(mesh.area_vectors, axis=1)
    order = np.lexsort((-areas, label))
    return np.asarray(order[np.flatnonzero(np.diff(label[order], prepend=-1))])


def _largest_of_patches(mesh: Mesh) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Largest face of each surface between crowded edges, and the surface of each face."""
    if not topology_of(mesh).crowded:
        return np.zeros(0, dtype=np.int64), np.zeros(len(mesh.faces), dtype=np.int64)
    label, _ = plain_surfaces(mesh)
    return _first_of(mesh, label), label


def _sizes(mesh: Mesh, faces: NDArray[np.int64]) -> NDArray[np.float64]:
    """Lengths like those of the sides of faces, (k,) mm."""
    return np.asarray(np.sqrt(np.linalg.norm(mesh.area_vectors[faces], axis=1)))


def _windings(
    mesh: Mesh, faces: NDArray[np.int64], away: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Winding numbers before faces, so far away, (k,) mm; behind them where negative."""
    if len(faces) == 0:  # spares a copy of all corners
        return np.zeros(0)
    normals = unit(mesh.area_vectors[faces])
    corners = mesh.corners
    points = corners[faces].mean(axis=1) + away[:, None] * normals
    axes = np.ascontiguousarray(corners.T)
    return np.array([winding_about(point, axes) for point in points], dtype=float)
