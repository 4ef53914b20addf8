"""Bodies that share edges and overlap, told apart by their order in the file."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.crossings import crossing_pairs
from meshcomp.meshes import Mesh
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.solids import apart
from meshcomp.topology import Topology, bodies_of, topology_of

__all__ = ["disentangled"]


def disentangled(work: Patchwork) -> Patchwork:
    """Give bodies that share edges vertices of their own, where that is sounder.

    Where more than two faces share an edge, those on either side of a wedge of material
    are one body's (`meshcomp.topology`). That is right for bodies that touch; for bodies
    that overlap there may be no such wedge, and what is so paired crosses itself. Files
    hold one body after the other, so their order tells them apart as well.

    Parameters
    ----------
    work : Patchwork
        Closed, mm.

    Returns
    -------
    work : Patchwork
        As it was, unless order leaves fewer faces that cross others of their own body.
    """
    if not topology_of(work.mesh).crowded:
        return work
    pairs = crossing_pairs(work.mesh)
    before = _within(pairs, bodies_of(work.mesh))
    if before == 0:
        return work
    other = Patchwork(Mesh(*apart(work.mesh, _by_order(work.mesh))), work.parents)
    after = _within(pairs, bodies_of(other.mesh))
    return other if topology_of(other.mesh).is_closed and after < before else work


def _within(pairs: NDArray[np.int64], bodies: NDArray[np.int64]) -> int:
    """Count the pairs of faces of one body."""
    return int((bodies[pairs[:, 0]] == bodies[pairs[:, 1]]).sum())


def _by_order(mesh: Mesh) -> Topology:
    """Pair the half-edges of each edge in the order of the file, one way with the other."""
    starts, ends = mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel()
    keys = np.minimum(starts, ends) * len(mesh.vertices) + np.maximum(starts, ends)
    order = np.lexsort([starts > ends, keys])  # keeps the order of the file among equals
    first = np.flatnonzero(np.diff(keys[order], prepend=-1))
    sizes = np.diff(first, append=len(order))
    half = np.repeat(sizes // 2, sizes)
    place = np.arange(len(order)) - np.repeat(first, sizes)
    partner = np.arange(len(order)) + np.where(place < half, half, -half)
    twins = np.full(len(order), -1)
    twins[order] = order[partner]
    return Topology(twins, starts)
