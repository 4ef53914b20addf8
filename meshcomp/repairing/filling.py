"""Slits, T-junctions and small holes closed with triangles between their rims."""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across, dot, unit
from meshcomp.crossings import crossing_pairs
from meshcomp.meshes import Mesh
from meshcomp.repairing.cracks import crack_limit
from meshcomp.repairing.duplicates import edge_numbers
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.repairing.rims import joined_at_rims, loops_of, vertex_pairs
from meshcomp.solids import triangulate_outline
from meshcomp.topology import topology_of

__all__ = ["LARGEST_HOLE", "LARGEST_IN_PLANE", "filled"]

LARGEST_HOLE = 0.05  # extent, of the part's diagonal
LARGEST_IN_PLANE = 0.25  # the same, where the rim shows the plane, or is a triangle;
# a triangle missing from a plane leaves no doubt, however large it is
_WIDEST_HOLE = 5.0  # mm, where it does not
_NARROW = 0.2  # mm: mean width of a plane hole that nobody drew, no line is so thin
_FLAT_SHARE = 0.05  # of a hole's extent: how far its rim may leave a plane
_SAME_PLANE = 0.9999  # cosine
_MOST_EDGES = 100_000  # open edges: more are no accident
_LONGEST_LOOP = 5_000
_MOST_ROUNDS = 8  # of leaving out patches that fit badly


def filled(work: Patchwork) -> tuple[Patchwork, int, int]:
    """Close what is open where the surface that is missing is beyond doubt.

    A slit is as wide as a crack may be (`crack_limit`): a T-junction, where a corner of
    one face lies on another's edge, is one of no width. A hole is closed where its rim
    is as good as plane and short, or where a face at the rim lies in the rim's plane, or
    where it is plane and narrower than any line that is printed.

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
    sheet = _Sheet(
        work.mesh,
        work.mesh.diagonal,
        crack_limit(work.mesh),
        joined_at_rims(work.mesh, half_edges),
    )
    loops = loops_of(work.mesh, half_edges)
    threes = np.array([loop for loop in loops if len(loop) == 3], np.int64)  # noqa: PLR2004
    faces, beside, are_slits = _over_triangles(sheet, threes.reshape(-1, 3))
    patches = [faces[k : k + 1] for k in range(len(faces))]
    rims, slits = beside.tolist(), are_slits.tolist()
    for loop in loops:
        found, is_slit = _over(sheet, loop)
        if found is not None:
            patches.append(found)
            rims.append(loop[0] // 3)
            slits.append(is_slit)
            sheet.taken.update(vertex_pairs(found))
    return _with_good(work, _Patches(patches, np.array(rims), np.array(slits, dtype=bool)))


def _with_good(work: Patchwork, patches: _Patches) -> tuple[Patchwork, int, int]:
    """Add patches, but for those that fit badly; count slits and holes."""
    kept = np.ones(len(patches.faces), dtype=bool)
    for _ in range(_MOST_ROUNDS):
        if not kept.any():
            break
        more, number = _with_patches(work, patches, np.flatnonzero(kept))
        bad = _misfits(work, more, number, patches.are_slits)
        if len(bad) == 0:
            slits = int(patches.are_slits[kept].sum())
            return more, slits, int(kept.sum()) - slits
        kept[bad] = False
    return work, 0, 0


def _with_patches(
    work: Patchwork, patches: _Patches, chosen: NDArray[np.int64]
) -> tuple[Patchwork, NDArray[np.int64]]:
    """Add some patches, and number faces by the patch they are of, -1 for old ones."""
    number = np.repeat(chosen, [len(patches.faces[k]) for k in chosen])
    faces = np.concatenate([patches.faces[k] for k in chosen])
    old = np.full(len(work.mesh.faces), -1)
    return work.plus(faces, patches.beside[number]), np.concatenate([old, number])


def _misfits(
    work: Patchwork,
    more: Patchwork,
    number: NDArray[np.int64],
    are_slits: NDArray[np.bool_],
) -> NDArray[np.int64]:
    """Patches that give an edge too many faces; if none does, holes that cross a face."""
    if topology_of(more.mesh).crowded > topology_of(work.mesh).crowded:
        edges = edge_numbers(more.mesh.faces)
        is_old = number < 0
        before = np.bincount(edges[is_old].ravel(), minlength=int(edges.max()) + 1)
        after = np.bincount(edges.ravel())
        crowded = ((after > 2) & (before <= 2))[edges].any(axis=1)  # noqa: PLR2004
        return np.unique(number[crowded & ~is_old])
    is_hole = (number >= 0) & ~are_slits[number]
    if not is_hole.any():
        return np.zeros(0, np.int64)
    crossing = np.zeros(len(number), dtype=bool)
    crossing[crossing_pairs(more.mesh, is_hole)] = True
    return np.unique(number[crossing & is_hole])  # what is missing is another surface


@dataclass(frozen=True, slots=True, eq=False)
class _Patches:
    """Faces over loops, (k, 3) each, a face beside each loop, and which are slits."""

    faces: list[NDArray[np.int64]]
    beside: NDArray[np.int64]
    are_slits: NDArray[np.bool_]


def _over(sheet: _Sheet, loop: NDArray[np.int64]) -> tuple[NDArray[np.int64] | None, bool]:
    """Triangles over a loop of more than three corners, and whether it is a slit."""
    if not 3 < len(loop) <= _LONGEST_LOOP:  # noqa: PLR2004
        return None, False
    found = _slit(sheet, loop)
    return (_hole(sheet, loop), False) if found is None else (found, True)


def _over_triangles(
    sheet: _Sheet, loops: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Close loops of three corners, many at once.

    Returns
    -------
    faces : (k, 3) int
        New triangles.
    beside : (k,) int
        A face at the rim of each.
    are_slits : (k,) bool
    """
    # A face whose whole rim is open is a stray one: its other side closes nothing.
    loops = loops[(loops // 3 != loops[:, :1] // 3).any(axis=1)]
    mesh = sheet.mesh
    faces = mesh.faces.ravel()[loops][:, ::-1]
    corners = mesh.vertices[faces]
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    twice = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    are_slits = np.linalg.norm(twice, axis=1) <= sheet.width * sides.sum(axis=1)
    around = unit(_area_vectors(mesh, loops // 3))
    goes_on = (dot(around, unit(twice)[:, None]) > _SAME_PLANE).any(axis=1)
    extent = np.linalg.norm(np.ptp(corners, axis=1), axis=1)
    good = are_slits | goes_on | (extent <= LARGEST_IN_PLANE * sheet.diagonal)
    return faces[good], loops[good, 0] // 3, are_slits[good]


def _area_vectors(mesh: Mesh, faces: NDArray[np.int64]) -> NDArray[np.float64]:
    a, b, c = (mesh.vertices[mesh.faces[faces, k]] for k in range(3))
    return np.asarray(np.cross(b - a, c - a) / 2)


@dataclass(frozen=True, slots=True, eq=False)
class _Sheet:
    """The open mesh, and its measures, mm."""

    mesh: Mesh
    diagonal: float
    width: float  # of the widest slit
    taken: set[tuple[int, int]]  # vertices that have an edge: a cut there is one too many

    def ring(self, loop: NDArray[np.int64]) -> NDArray[np.int64]:
        """Vertices along a rim, in the order in which the missing faces run round it."""
        return np.asarray(self.mesh.faces.ravel()[loop][::-1], np.int64)


def _slit(sheet: _Sheet, loop: NDArray[np.int64]) -> NDArray[np.int64] | None:
    """Triangles across a slit, or None where the loop is none."""
    ring = sheet.ring(loop)
    points = sheet.mesh.vertices[ring]
    points = points - points.mean(axis=0)
    following = np.roll(points, -1, axis=0)
    most = sheet.width * np.linalg.norm(following - points, axis=1).sum() / 2
    if np.linalg.norm(np.cross(points, following).sum(axis=0)) / 2 > most:
        return None
    triangles = _zipped(points, ring, sheet.taken)
    if triangles is None:
        return None
    a, b, c = (points[triangles[:, k]] for k in range(3))
    areas = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    return np.asarray(ring[triangles]) if areas.sum() <= most else None


def _zipped(
    points: NDArray[np.float64], ring: NDArray[np.int64], taken: set[tuple[int, int]]
) -> NDArray[np.int64] | None:
    """Cut ears off a ring, the one of the shortest cut first, (n - 2, 3).

    None where every way of cutting makes an edge that is there already.
    """
    names = ring.tolist()
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
        if not waiting:
            return None
        _, k, i, j = heapq.heappop(waiting)
        if gone[k] or before[k] != i or after[k] != j:
            continue
        is_last = len(triangles) == count - 3
        if not is_last and (min(names[i], names[j]), max(names[i], names[j])) in taken:
            continue
        triangles.append((i, k, j))
        gone[k] = True
        after[i], before[j] = j, i
        heapq.heappush(waiting, cut(i))
        heapq.heappush(waiting, cut(j))
    return np.array(triangles, np.int64).reshape(-1, 3)


def _hole(sheet: _Sheet, loop: NDArray[np.int64]) -> NDArray[np.int64] | None:
    """Triangles across a small plane hole, or None where the loop is none."""
    ring = sheet.ring(loop)
    points = sheet.mesh.vertices[ring]
    points = points - points.mean(axis=0)
    twice = np.cross(points, np.roll(points, -1, axis=0)).sum(axis=0)
    normal = unit(twice)
    extent = float(np.linalg.norm(np.ptp(points, axis=0)))
    off = float(np.abs(points @ normal).max())
    if not normal.any() or off > max(sheet.width, _FLAT_SHARE * extent):
        return None
    is_narrow = float(np.linalg.norm(twice)) / 2 <= _NARROW * extent
    is_plane = off <= sheet.width and (is_narrow or _goes_on(sheet.mesh, loop, normal))
    small = min(_WIDEST_HOLE, LARGEST_HOLE * sheet.diagonal)
    if extent > (LARGEST_IN_PLANE * sheet.diagonal if is_plane else small):
        return None
    triangles = triangulate_outline([points @ basis_across(normal).T])
    # Anything but the triangles of one polygon means that the rim crosses itself.
    if triangles is None or len(triangles) != len(ring) - 2:
        return None
    return np.asarray(ring[triangles], np.int64)


def _goes_on(mesh: Mesh, loop: NDArray[np.int64], normal: NDArray[np.float64]) -> bool:
    """Whether a face at the rim lies in the plane of the hole."""
    around = unit(_area_vectors(mesh, loop // 3))
    return bool((around @ normal > _SAME_PLANE).any())
