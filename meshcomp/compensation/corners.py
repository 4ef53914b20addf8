"""Corners of walls, each with what its wall asks of the vertex there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.meshes import Mesh

__all__ = ["LEVEL_LIMIT", "SLIVER", "SLOPING", "WEAK", "Corners", "corners_of"]

LEVEL_LIMIT = 1e-3  # horizontal part of a normal: less is a level face
SLOPING = 2e-3  # vertical part of a normal: more is no upright wall
SLIVER = 1e-3  # weight: less is no wall to go by
WEAK = 7e-4  # eigenvalue ratio: walls that bend by less than 3 degrees are parallel

_RELIABLE_HEIGHT = 1e-3  # mm: thinner triangles have no normal to speak of


@dataclass(frozen=True, slots=True, eq=False)
class Corners:
    """Corners of faces that are not level, with what they ask for: a row each."""

    vertex: NDArray[np.int64]
    normal: NDArray[np.float64]  # (c, 3) unit
    horizontal: NDArray[np.float64]  # length of the horizontal part of the normal
    across: NDArray[np.float64]  # (c, 2) that part made unit; zero where there is none
    offset: NDArray[np.float64]  # along the horizontal part of the normal
    weight: NDArray[np.float64]
    is_straight: NDArray[np.bool_]  # of a straight wall

    def only(self, rows: NDArray[np.bool_]) -> Corners:
        """Return some of the rows."""
        at = np.flatnonzero(rows)
        return Corners(
            self.vertex[at],
            np.take(self.normal, at, axis=0),
            self.horizontal[at],
            np.take(self.across, at, axis=0),
            self.offset[at],
            self.weight[at],
            self.is_straight[at],
        )


def corners_of(
    mesh: Mesh,
    faces: NDArray[np.int64],
    normals: NDArray[np.float64],
    offsets: NDArray[np.float64],
    is_straight: NDArray[np.bool_],
) -> Corners:
    """Return a row for each corner of some faces.

    Parameters
    ----------
    mesh : Mesh
    faces : (k,) int
    normals : (k, 3) float
        Unit, as steady as can be had.
    offsets : (k, 3) float
        What each corner is asked for, mm.
    is_straight : (k,) bool
        Whether a face is part of a straight wall.
    """
    points = np.take(mesh.vertices, np.take(mesh.faces, faces, axis=0), axis=0)
    to_next = unit(np.take(points, (1, 2, 0), axis=1) - points)
    from_last = np.take(to_next, (2, 0, 1), axis=1)
    angles = np.arccos(np.clip(-dot(to_next, from_last), -1, 1))
    steady = np.minimum(1.0, (mesh.heights[faces] / _RELIABLE_HEIGHT) ** 2)
    horizontal = np.hypot(normals[:, 0], normals[:, 1])
    across = normals[:, :2] / np.where(horizontal > 0, horizontal, 1.0)[:, None]
    return Corners(
        mesh.faces[faces].ravel(),
        np.repeat(normals, 3, axis=0),
        np.repeat(horizontal, 3),
        np.repeat(across, 3, axis=0),
        offsets.ravel(),
        (angles * steady[:, None]).ravel(),
        np.repeat(is_straight, 3),
    )
