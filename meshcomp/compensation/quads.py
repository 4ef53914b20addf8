"""Pairs of triangles that make up one facet of a cylinder, from rim to rim."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh

__all__ = ["Quads", "edge_keys", "paired_faces"]


@dataclass(frozen=True, slots=True, eq=False)
class Quads:
    """Facets of two triangles between two planes through the axis.

    Corners run around the facet: 0 and 3 on the lower plane, 1 and 2 on the upper one.
    """

    corners: NDArray[np.int64]  # (q, 4)
    levels: NDArray[np.int64]  # (q, 2) lower and upper plane
    faces: NDArray[np.int64]  # (q, 2) rows of the faces: that of corners 0 and 1 first
    on_first: NDArray[np.bool_]  # (q,) the diagonal runs from 0 to 2, not from 1 to 3

    def diagonals(self, count: int) -> NDArray[np.int64]:
        """Edge keys of the diagonals, (q,)."""
        a = np.where(self.on_first, self.corners[:, 0], self.corners[:, 1])
        b = np.where(self.on_first, self.corners[:, 2], self.corners[:, 3])
        return edge_keys(a, b, count)


def edge_keys(a: NDArray[np.int64], b: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """Return a number for each edge between vertices a and b of `count`."""
    return np.asarray(np.minimum(a, b) * count + np.maximum(a, b))


def paired_faces(
    mesh: Mesh, faces: NDArray[np.int64], levels: NDArray[np.int64]
) -> tuple[Quads, NDArray[np.bool_]]:
    """Find the facets of two triangles, each with a side on either plane.

    Parameters
    ----------
    mesh : Mesh
        Triangles.
    faces : (k,) int
        Faces of cylinders.
    levels : (k, 3) int
        Plane through the axis that each corner is on.

    Returns
    -------
    quads : Quads
    alone : (k,) bool
        Faces that are in none.
    """
    side, apex_level, side_level = _upright_sides(levels)
    corners = mesh.faces[faces]
    rows, edges = _crossing_edges(corners, side, len(mesh.vertices))
    one, other = _mutual(rows, edges, (side_level, apex_level))
    # The first has its side on the lower plane: corners 3 and 0, and its apex above.
    lower = side_level[one] < apex_level[one]
    one, other = np.where(lower, one, other), np.where(lower, other, one)
    begin = np.take_along_axis(corners[one], side[one][:, None], axis=1)[:, 0]
    end = np.take_along_axis(corners[one], (side[one][:, None] + 1) % 3, axis=1)[:, 0]
    apex = np.take_along_axis(corners[one], (side[one][:, None] + 2) % 3, axis=1)[:, 0]
    far = np.take_along_axis(corners[other], side[other][:, None], axis=1)[:, 0]
    next_far = np.take_along_axis(corners[other], (side[other][:, None] + 1) % 3, axis=1)[
        :, 0
    ]
    # The side of the second runs the other way; one of its ends is the first one's apex.
    on_first = next_far == apex
    quad = np.column_stack(
        [end, np.where(on_first, far, apex), np.where(on_first, apex, next_far), begin]
    )
    # Faces are named by the rim they stand on: the first has corners 0 and 1 or not.
    swapped = np.where(on_first, other, one), np.where(on_first, one, other)
    alone = np.ones(len(faces), dtype=bool)
    alone[one] = alone[other] = False
    pair = np.column_stack(swapped)
    return Quads(
        quad, np.column_stack([side_level[one], apex_level[one]]), pair, on_first
    ), alone


def _upright_sides(
    levels: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Which side of a face lies on one plane (-1: none), the planes of apex and side."""
    equal = levels == np.roll(levels, -1, axis=1)
    side = np.where(equal.sum(axis=1) == 1, np.argmax(equal, axis=1), -1)
    at = np.maximum(side, 0)[:, None]
    own = np.take_along_axis(levels, at, axis=1)[:, 0]
    apex = np.take_along_axis(levels, (at + 2) % 3, axis=1)[:, 0]
    return side, apex, own


def _crossing_edges(
    corners: NDArray[np.int64], side: NDArray[np.int64], count: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows and keys of the edges of faces with an upright side, that side excepted."""
    keys = edge_keys(corners, np.roll(corners, -1, axis=1), count)
    wanted = (side[:, None] >= 0) & (np.arange(3) != side[:, None])
    rows = np.repeat(np.arange(len(corners)), 3)[wanted.ravel()]
    return rows, keys[wanted]


def _mutual(
    rows: NDArray[np.int64],
    edges: NDArray[np.int64],
    planes: tuple[NDArray[np.int64], NDArray[np.int64]],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows of faces that share an edge, swap planes, and have no other such partner."""
    order = np.argsort(edges, kind="stable")
    rows, edges = rows[order], edges[order]
    same = np.flatnonzero(edges[1:] == edges[:-1])
    a, b = rows[same], rows[same + 1]
    side, apex = planes
    swap = (side[a] == apex[b]) & (apex[a] == side[b])
    a, b = a[swap], b[swap]
    partners = np.bincount(np.concatenate([a, b]), minlength=len(side))
    only = (partners[a] == 1) & (partners[b] == 1)
    return a[only], b[only]
