"""Which of the pairs of faces that lie near each other cross.

Contact is not crossing: an edge must pass from one side of a face to the other, inside
its outline; or where edges meet edges only, the faces must have a length in common and lie
on both sides of each other. Faces that share an edge can only fold, which is another test's
business.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.meshes import Mesh

__all__ = ["that_cross"]

_LEAST_DEPTH = 1e-9  # mm, how far an edge's end must be off the face's plane
_SURE_DEPTH = 1e-6  # mm, the same where edges meet edges: beyond the rounding of slivers
_SURE_LENGTH = 1e-4  # mm, that two faces have in common


def that_cross(
    mesh: Mesh, normals: NDArray[np.float64], pairs: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Pick those of some pairs of faces that cross.

    Parameters
    ----------
    mesh : Mesh
        Triangles, mm.
    normals : (m, 3) float
        Unit normals of its faces.
    pairs : (k, 2) int
    """
    near_ones = pairs[_reach_through(mesh, normals, pairs)]
    crossing = _cross(mesh, near_ones)
    rest = np.flatnonzero(~crossing)
    crossing[rest] = _share_a_length(mesh, normals, near_ones[rest])
    return np.asarray(near_ones[crossing])


def _reach_through(
    mesh: Mesh, normals: NDArray[np.float64], pairs: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether each face has corners on both sides of the other's plane.

    Faces that share an edge are left out: they can only fold.
    """
    rows = np.arange(len(pairs))
    for one, other in ((0, 1), (1, 0)):
        plane, corners = pairs[rows, one], mesh.faces[pairs[rows, other]]
        normal = np.take(normals, plane, axis=0)
        base = np.take(mesh.vertices, mesh.faces[plane, 0], axis=0)
        offset = dot(normal, base)
        heights = [
            dot(normal, np.take(mesh.vertices, corners[:, k], axis=0)) - offset
            for k in range(3)
        ]
        low = np.minimum(np.minimum(heights[0], heights[1]), heights[2])
        high = np.maximum(np.maximum(heights[0], heights[1]), heights[2])
        rows = rows[(low < -_LEAST_DEPTH) & (high > _LEAST_DEPTH)]
    a, b = mesh.faces[pairs[rows, 0]], mesh.faces[pairs[rows, 1]]
    shared = (a[:, :, None] == b[:, None, :]).sum(axis=(1, 2))
    reach = np.zeros(len(pairs), dtype=bool)
    reach[rows[shared < 2]] = True  # noqa: PLR2004
    return reach


def _cross(mesh: Mesh, pairs: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether each pair of faces crosses."""
    a, b = mesh.faces[pairs[:, 0]], mesh.faces[pairs[:, 1]]
    equal = a[:, :, None] == b[:, None, :]
    shared_a, shared_b = equal.any(axis=2), equal.any(axis=1)
    crossing = np.zeros(len(pairs), dtype=bool)
    for edges_of, face, shared in ((a, b, shared_a), (b, a, shared_b)):
        for k in range(3):
            j = (k + 1) % 3
            # An edge that ends in a common corner touches there and cannot pass.
            open_edge = ~shared[:, k] & ~shared[:, j] & (shared.sum(axis=1) < 2)  # noqa: PLR2004
            rows = np.flatnonzero(open_edge & ~crossing)
            crossing[rows] = _pierces(
                mesh.vertices.take(edges_of[rows, k], axis=0),
                mesh.vertices.take(edges_of[rows, j], axis=0),
                mesh.vertices.take(face[rows], axis=0),
            )
    return crossing


def _share_a_length(
    mesh: Mesh, normals: NDArray[np.float64], pairs: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether faces have a length of the line in common that both their planes share.

    Each face covers a stretch of that line (T. Möller, A fast triangle-triangle
    intersection test, J. Graphics Tools 2 (1997) 25-30).
    """
    heights = [
        dot(normals[one][:, None], mesh.vertices[mesh.faces[other]])
        - dot(normals[one], mesh.vertices[mesh.faces[one, 0]])[:, None]
        for one, other in (pairs.T, pairs.T[::-1])
    ]
    sure = np.ones(len(pairs), dtype=bool)
    for height in heights:
        sure &= (height.min(axis=1) < -_SURE_DEPTH) & (height.max(axis=1) > _SURE_DEPTH)
    rows = np.flatnonzero(sure)
    lines = unit(np.cross(normals[pairs[rows, 0]], normals[pairs[rows, 1]]))
    ends = [
        _stretch(dot(lines[:, None], mesh.vertices[mesh.faces[face[rows]]]), height[rows])
        for face, height in zip(pairs.T[::-1], heights, strict=True)
    ]
    low, high = np.maximum(ends[0][0], ends[1][0]), np.minimum(ends[0][1], ends[1][1])
    sure[rows] = high - low > _SURE_LENGTH
    return sure


def _stretch(
    along: NDArray[np.float64], heights: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """From where to where triangles meet a plane, along a line in it; both (n, 3) to (n,).

    Corners lie on both sides, so two sides reach from one to the other, or a side and a
    corner.
    """
    following, above = np.roll(along, -1, axis=1), np.roll(heights, -1, axis=1)
    passes = heights * above < 0
    share = heights / np.where(passes, heights - above, 1.0)
    at = np.where(passes, along + share * (following - along), np.nan)
    at = np.concatenate([at, np.where(heights == 0, along, np.nan)], axis=1)
    return np.nanmin(at, axis=1), np.nanmax(at, axis=1)


def _pierces(
    start: NDArray[np.float64], end: NDArray[np.float64], face: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Whether edges pass through the inside of faces, (n,)."""
    a, b, c = face[:, 0], face[:, 1], face[:, 2]
    normal = np.cross(b - a, c - a)
    least = _LEAST_DEPTH * np.linalg.norm(normal, axis=1)
    before, after = dot(normal, start - a), dot(normal, end - a)
    passes = ((before > least) & (after < -least)) | ((before < -least) & (after > least))
    hit = np.zeros(len(start), dtype=bool)
    rows = np.flatnonzero(passes)
    way = (end - start)[rows]
    corners = [side[rows] - start[rows] for side in (a, b, c)]
    turns = np.column_stack(
        [dot(way, np.cross(corners[k], corners[(k + 1) % 3])) for k in range(3)]
    )
    hit[rows] = (turns > 0).all(axis=1) | (turns < 0).all(axis=1)
    return hit
