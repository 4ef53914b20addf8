"""Crossing faces from one try to the next: what did not move is not looked at again."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import all_of
from meshcomp.crossings import crossing_pairs
from meshcomp.meshes import Mesh
from meshcomp.segmentation import Regions

__all__ = ["Looked", "crossed_before", "crossing_again"]


@dataclass(slots=True, eq=False)
class Looked:
    """What earlier looks have shown; one for all tries on a mesh.

    `last` is forgotten (`forget`) where the vertices get other numbers.
    """

    last: tuple[Mesh, NDArray[np.int64]] | None = None  # moved mesh, its crossing pairs
    old: NDArray[np.int64] = field(default_factory=lambda: np.zeros((0, 2), np.int64))
    # pairs of `last` whose planes crossed before anything moved, (k, 2)
    regions: NDArray[np.bool_] | None = None  # of the inspected mesh, looked at already
    crossed: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))

    def forget(self) -> None:
        """Begin anew: the next mesh has other vertices."""
        self.last = None


def crossing_again(
    last: tuple[Mesh, NDArray[np.int64]], mesh: Mesh, moved: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Find the pairs of faces that cross, given those of a mesh with the same vertices.

    Parameters
    ----------
    last : (Mesh, (k, 2) int)
        The mesh of the last try, and its pairs.
    mesh : Mesh
        The mesh now; its vertices have the same numbers.
    moved : (m,) bool
        Faces of which one at least must be in a pair.

    Returns
    -------
    pairs : (k, 2) int
    """
    before, pairs = last
    place = _places(before, mesh)
    new = place < 0
    # A face that went back to where it was at first is new as well, though not moved.
    found = crossing_pairs(mesh, new)
    now = np.full(len(before.faces), -1)
    now[place[~new]] = np.flatnonzero(~new)
    kept = now[pairs]
    kept = kept[(kept >= 0).all(axis=1)]
    every = np.concatenate([kept, found])
    return np.asarray(every[moved[every].any(axis=1)])


def _places(before: Mesh, mesh: Mesh) -> NDArray[np.int64]:
    """Find for each face the one that was before, lying where it lies, or -1."""
    same = all_of(before.vertices == mesh.vertices)
    count = len(mesh.vertices)
    # A directed edge belongs to one face; where bodies touch, another look does no harm.
    old, new = (m.faces[:, 0] * count + m.faces[:, 1] for m in (before, mesh))
    order = np.argsort(old, kind="stable")
    at = np.minimum(np.searchsorted(old, new, sorter=order), len(old) - 1)
    place = order[at]
    is_same = all_of(np.take(before.faces, place, axis=0) == mesh.faces)
    return np.where(is_same & all_of(same[mesh.faces]), place, -1)


def crossed_before(
    before: Mesh, regions: Regions, pairs: NDArray[np.int64], looked: Looked
) -> NDArray[np.bool_]:
    """Whether the planar regions of pairs of old faces crossed before anything moved.

    Regions are compared, not faces: planar faces are made anew where their rims move.
    """
    size = len(regions.areas)
    if looked.regions is None:
        looked.regions = np.zeros(size, dtype=bool)
    wanted = np.zeros(size, dtype=bool)
    wanted[regions.of_face[pairs]] = True
    wanted &= ~looked.regions
    if wanted.any():
        old = regions.of_face[crossing_pairs(before, wanted[regions.of_face])]
        looked.crossed = np.union1d(looked.crossed, _keys(old, size))
        looked.regions |= wanted
    return np.isin(_keys(regions.of_face[pairs], size), looked.crossed)


def _keys(pairs: NDArray[np.int64], size: int) -> NDArray[np.int64]:
    """Return a number for each pair, whichever comes first."""
    return np.asarray(pairs.min(axis=1) * size + pairs.max(axis=1))
