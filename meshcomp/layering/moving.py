"""Apply a map of heights to a mesh, and look whether it is still sound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.guard import unsound_pairs
from meshcomp.compensation.refining import Refined
from meshcomp.compensation.splitting import split_at_height
from meshcomp.errors import UnsoundResultError
from meshcomp.inspections import Inspection
from meshcomp.layering.knots import Knots
from meshcomp.meshes import Mesh
from meshcomp.segmentation import planar_regions
from meshcomp.topology import topology_of

__all__ = ["Moved", "moved_mesh"]


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """A mesh with moved heights, and the old face of each face."""

    before: Mesh  # the same faces, before anything moved
    mesh: Mesh
    parents: NDArray[np.int64]  # (m,)
    split_faces: int  # triangles that were split to follow the map

    def faces_of(self, old: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the faces that came from some old faces."""
        return np.asarray(np.flatnonzero(np.isin(self.parents, old)))


def moved_mesh(inspection: Inspection, knots: Knots, bed: float, limit: float) -> Moved:
    """Move the vertices of a mesh up or down as a map of heights says.

    A triangle that reaches over a knot of the map moves by its corners, which bends
    nothing. Where faces would fold or cross for it, all such triangles are split at the
    knots: the map is then followed exactly, and keeps everything in order.

    Raises
    ------
    UnsoundResultError
        If faces cross or fold all the same, by rounding to 32 bits.
    """
    mesh = inspection.part.mesh
    whole = Moved(mesh, _mapped(mesh, knots, bed, limit), np.arange(len(mesh.faces)), 0)
    if len(_unsound(mesh, whole)) == 0:
        return whole
    heights = [z + bed for item in knots.items for z in (item.low, item.high)]
    fine, parents = _split_at(mesh, np.unique(heights))
    count = int((np.bincount(parents) > 1).sum())
    parted = Moved(fine, _mapped(fine, knots, bed, limit), parents, count)
    pairs = _unsound(mesh, parted)
    if len(pairs):
        corner = parted.mesh.corners[pairs[0, 0]].mean(axis=0)
        x, y, z = inspection.part.stand.to_file(corner)
        raise UnsoundResultError(
            f"{inspection.part.name}: heights cannot move to layers: {len(pairs)} faces "
            f"would cross near ({x:.3f}, {y:.3f}, {z:.3f}) mm: leave heights as they are, "
            "or move fewer with --snap-only MM"
        )
    return parted


def _split_at(mesh: Mesh, heights: NDArray[np.float64]) -> tuple[Mesh, NDArray[np.int64]]:
    """Split all triangles that reach over some heights."""
    parents = np.arange(len(mesh.faces))
    for height in heights.tolist():
        every = np.ones(len(mesh.faces), dtype=bool)
        mesh, of_before = split_at_height(mesh, height, every)
        parents = parents[of_before]
    return mesh, parents


def _mapped(mesh: Mesh, knots: Knots, bed: float, limit: float) -> Mesh:
    """Move vertices as they will be written, in 32 bits; leave the others to the bit."""
    z = mesh.vertices[:, 2]
    by = knots.moved(z - bed)
    new = z + by
    for item in knots.items:
        if item.low == item.high:
            new[np.abs(z - bed - item.low) <= limit] = bed + item.low + item.wanted
    moves = by != 0
    vertices = mesh.vertices.copy()
    vertices[moves, 2] = new.astype(np.float32).astype(np.float64)[moves]
    return mesh.moved(vertices)


def _unsound(mesh: Mesh, moved: Moved) -> NDArray[np.int64]:
    """Pairs of faces that fold or cross and did not before."""
    after = Refined(
        moved.mesh,
        moved.parents,
        len(mesh.vertices),
        np.full(len(moved.mesh.faces), -1),
        np.zeros((0, 3)),
        np.zeros(0, dtype=np.int64),
        np.zeros(0, dtype=bool),
    )
    moves = (moved.before.vertices != moved.mesh.vertices).any(axis=1)
    changed = moves[moved.mesh.faces].any(axis=1)
    regions = planar_regions(mesh, topology_of(mesh))
    return unsound_pairs(mesh, regions, after, changed)[0]
