"""Triangles under repair: data only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh

__all__ = ["Patchwork", "untouched"]


@dataclass(frozen=True, slots=True, eq=False)
class Patchwork:
    """A mesh, and for each face the face of the file that it came from or lies beside."""

    mesh: Mesh
    parents: NDArray[np.int64]  # (m,)

    def only(self, rows: NDArray[np.bool_] | NDArray[np.int64]) -> Patchwork:
        """Return some of the faces."""
        return Patchwork(
            Mesh(self.mesh.vertices, self.mesh.faces[rows]), self.parents[rows]
        )

    def with_faces(self, faces: NDArray[np.int64]) -> Patchwork:
        """Return the same faces on other vertices, or run the other way."""
        return Patchwork(Mesh(self.mesh.vertices, faces), self.parents)

    def turned(self, rows: NDArray[np.bool_]) -> Patchwork:
        """Return it with some faces, marked in (m,), turned over."""
        faces = self.mesh.faces
        return self.with_faces(np.where(rows[:, None], faces[:, ::-1], faces))

    def plus(self, faces: NDArray[np.int64], beside: NDArray[np.int64]) -> Patchwork:
        """Return the patchwork with more faces, each beside one that is there."""
        return Patchwork(
            Mesh(self.mesh.vertices, np.concatenate([self.mesh.faces, faces])),
            np.concatenate([self.parents, self.parents[beside]]),
        )


def untouched(mesh: Mesh) -> Patchwork:
    """Begin with a mesh as it was read."""
    return Patchwork(mesh, np.arange(len(mesh.faces)))
