"""A part as read from a file: its mesh as it stands on the bed, and where it came from."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh
from meshcomp.stands import Stand

__all__ = ["Part", "Piece", "Repair", "Source"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a part came from.

    `container` holds the bytes of a 3MF file, so that what meshcomp does not understand
    can be written back; it is None for formats that hold nothing but triangles.
    """

    path: str
    format: str  # "stl", "3mf", "obj" or "ply"
    unit: str  # "mm", "cm", "m", "inch", "foot" or "micron"
    unit_origin: str  # "said by the file", "asked for" or "assumed"
    sha256: str
    questions: tuple[str, ...] = ()  # doubts a person has to settle, in words
    container: bytes | None = None


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Piece:
    """One mesh object of a file.

    `to_bed` is the (4, 4) matrix from the object's own coordinates in the file's unit
    to the file's build coordinates in mm, before the stand turns them; `resource` is
    the object's identifier in a 3MF file.
    """

    name: str
    resource: int | None = None
    to_bed: NDArray[np.float64] | None = None
    copies: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """One kind of repair made on a mesh as it was read, and how often.

    Kinds: "repeated faces", "cracks" (points joined), "faces turned", "slits", "holes",
    "faces without area", "sheets" (faces dropped), "bodies turned", "bodies united",
    "overlaps left" (bodies that overlap still) and "faces joined" (those of a large file
    that only divided planes).
    """

    kind: str
    count: int


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Part:
    """A mesh in mm as it stands on the bed (Z up), with its pieces and its source."""

    name: str
    mesh: Mesh
    stand: Stand
    stand_is_assumed: bool
    source: Source
    pieces: tuple[Piece, ...]
    piece_of_face: NDArray[np.int64]  # (m,) index into pieces
    repairs: tuple[Repair, ...] = ()

    def with_mesh(self, mesh: Mesh, parents: NDArray[np.int64]) -> Part:
        """Return the part with another mesh.

        Parameters
        ----------
        mesh : Mesh
            As it stands on the bed, in mm.
        parents : (m,) int
            For every face of `mesh`, the face of the old mesh it came from.
        """
        return replace(self, mesh=mesh, piece_of_face=self.piece_of_face[parents])
