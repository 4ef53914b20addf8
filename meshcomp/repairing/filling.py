"""Slits, T-junctions and small holes closed with triangles between their rims."""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across, unit
from meshcomp.meshes import Mesh
from meshcomp.repairing.cracks import crack_limit
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.repairing.rims import loops_of
from meshcomp.solids import triangulate_outline
from meshcomp.topology import topology_of

__all__ = ["LARGEST_HOLE", "LARGEST_IN_PLANE", "filled"]

LARGEST_HOLE = 0.05  # extent, of the part's diagonal
LARGEST_IN_PLANE = 0.25  # the same, where the rim shows the plane, or is a triangle
_WIDEST_HOLE = 5.0  # mm, where it does not
_FLAT_SHARE = 0.05  # of a hole's extent: how far its rim may leave a plane
_SAME_PLANE = 0.9999  # cosine
_MOST_EDGES = 100_000  # open edges: more are no accident
_LONGEST_LOOP = 5_000


def filled(work: Patchwork) -> tuple[Patchwork, int, int]:
    """Close what is open where the surface that is missing is beyond doubt.

    A slit is as wide as a crack may be (`crack_limit`): a T-junction, where a corner of
    one face lies on another's edge, is one of no width. A hole is closed where its rim
    is as good as plane and short, or where a face at the rim lies in the rim's plane.

    Returns
    -------
    work : Patchwork
    slits, holes : int
        How many of each were closed.

    Examples
    --------
    >>> from meshcomp.repairing.patchwork import untouched
    >>> corners = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)]
    >>> open_one = Mesh(corners, [(0, 2, 1), (0, 1, 3), (1, 2, 3)])
    >>> filled(untouched(open_one))[1:]
    (0, 0)
    """
    topology = topology_of(work.mesh)
    half_edges = topology.open_half_edges
    if not 0 < len(half_edges) <= _MOST_EDGES:
        return work, 0, 0
    faces, beside, slits = [], [], 0
    sheet = _Sheet(work.mesh, work.mesh.diagonal, crack_limit(work.mesh))
    for loop in loops_of(work.mesh, half_edges):
        found = _slit(sheet, loop)
        slits += found is not None
        if found is None:
            found = _hole(sheet, loop)
        if found is not None:
            faces.append(found)
            beside.append(np.full(len(found), loop[0] // 3))
    if not faces:
        return work, 0, 0
    more = work.plus(np.concatenate(faces), np.concatenate(beside))
    if topology_of(more.mesh).crowded > topology.crowded:
        return work, 0, 0
    return more, slits, len(faces) - slits


@dataclass(frozen=True, slots=True, eq=False)
class _Sheet:
    """The open mesh, and its measures, mm."""

    mesh: Mesh
    diagonal: float
    width: float  # of the widest slit

    def ring(self, loop: NDArray[np.int64]) -> NDArray[np.int64]:
        """Vertices along a rim, in the order in which the missing faces run round it."""
        return np.asarray(self.mesh.faces.ravel()[loop][::-1], np.int64)


def _slit(sheet: _Sheet, loop: NDArray[np.int64]) -> NDArray[np.int64] | None:
    """Triangles across a slit, or None where the loop is none."""
    if not 2 < len(loop) <= _LONGEST_LOOP:  # noqa: PLR2004
        return None
    ring = sheet.ring(loop)
    points = sheet.mesh.vertices[ring]
    points = points - points.mean(axis=0)
    following = np.roll(points, -1, axis=0)
    most = sheet.width * np.linalg.norm(following - points, axis=1).sum() / 2
    if np.linalg.norm(np.cross(points, following).sum(axis=0)) / 2 > most:
        return None
    triangles = _zipped(points)
    a, b, c = (points[triangles[:, k]] for k in range(3))
    areas = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    return np.asarray(ring[triangles]) if areas.sum() <= most else None


def _zipped(points: NDArray[np.float64]) -> NDArray[np.int64]:
    """Cut ears off a ring, the one of the shortest cut first, (n - 2, 3)."""
    count = len(points)
    before = [k - 1 for k in range(count)]
    after = [k + 1 for k in range(count)]
    before[0], after[-1] = count - 1, 0
    gone = [False] * count

    def cut(k: int) -> tuple[float, int, int, int]:
        i, j = before[k], after[k]
        return float(np.linalg.norm(points[i] - points[j])), k, i, j

    waiting = [cut(k) for k in range(count)]
    heapq.heapify(waiting)
    triangles: list[tuple[int, int, int]] = []
    while len(triangles) < count - 2:
        _, k, i, j = heapq.heappop(waiting)
        if gone[k] or before[k] != i or after[k] != j:
            continue
        triangles.append((i, k, j))
        gone[k] = True
        after[i], before[j] = j, i
        heapq.heappush(waiting, cut(i))
        heapq.heappush(waiting, cut(j))
    return np.array(triangles, np.int64).reshape(-1, 3)


def _hole(sheet: _Sheet, loop: NDArray[np.int64]) -> NDArray[np.int64] | None:
    """Triangles across a small plane hole, or None where the loop is none."""
    if not 2 < len(loop) <= _LONGEST_LOOP:  # noqa: PLR2004
        return None
    ring = sheet.ring(loop)
    points = sheet.mesh.vertices[ring]
    points = points - points.mean(axis=0)
    normal = unit(np.cross(points, np.roll(points, -1, axis=0)).sum(axis=0))
    extent = float(np.linalg.norm(np.ptp(points, axis=0)))
    off = float(np.abs(points @ normal).max())
    if not normal.any() or off > max(sheet.width, _FLAT_SHARE * extent):
        return None
    is_plane = off <= sheet.width and _goes_on(sheet.mesh, loop, normal)
    if extent > _largest(sheet, is_plane=is_plane, corners=len(loop)):
        return None
    triangles = triangulate_outline([points @ basis_across(normal).T])
    # Anything but the triangles of one polygon means that the rim crosses itself.
    if triangles is None or len(triangles) != len(ring) - 2:
        return None
    return np.asarray(ring[triangles], np.int64)


def _goes_on(mesh: Mesh, loop: NDArray[np.int64], normal: NDArray[np.float64]) -> bool:
    """Whether a face at the rim lies in the plane of the hole."""
    a, b, c = (mesh.vertices[mesh.faces[loop // 3, k]] for k in range(3))
    around = unit(np.cross(b - a, c - a))
    return bool((around @ normal > _SAME_PLANE).any())


def _largest(sheet: _Sheet, *, is_plane: bool, corners: int) -> float:
    """Extent up to which a hole is closed, mm."""
    is_triangle = corners == 3  # noqa: PLR2004
    if is_plane and is_triangle:  # a facet missing from a plane leaves no doubt at all
        return sheet.diagonal
    if is_plane or is_triangle:
        return LARGEST_IN_PLANE * sheet.diagonal
    return min(_WIDEST_HOLE, LARGEST_HOLE * sheet.diagonal)
