"""Faces as low as a crack is wide, over which a joined crack has folded the surface."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.crossings import crossing_pairs
from meshcomp.meshes import Mesh
from meshcomp.repairing.cracks import crack_limit
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.repairing.slivers import without_slivers
from meshcomp.topology import topology_of

__all__ = ["without_folds"]


def without_folds(work: Patchwork) -> tuple[Patchwork, int]:
    """Take up low faces beside faces that cross, where fewer cross then.

    A face without area, one corner of which a crack has moved, has a height of up to the
    crack's width; its neighbours then stand through the face beyond its longest edge.

    Parameters
    ----------
    work : Patchwork
        After its cracks were joined, mm.

    Returns
    -------
    work : Patchwork
    taken : int
        How many low faces there are less.

    Examples
    --------
    >>> from meshcomp.meshes import Mesh
    >>> from meshcomp.repairing.patchwork import untouched
    >>> corners = [(0, 0, 0), (6, 0, 0), (0, 6, 0), (0, 0, 6), (3, -0.001, 0.001)]
    >>> faces = [(0, 2, 4), (4, 2, 1), (0, 1, 3), (0, 4, 1), (1, 2, 3), (2, 0, 3)]
    >>> without_folds(untouched(Mesh(corners, faces)))[1]
    1
    """
    mesh, limit = work.mesh, crack_limit(work.mesh)
    is_low = mesh.heights <= limit
    if not is_low.any():
        return work, 0
    at_low = np.zeros(len(mesh.vertices), dtype=bool)
    at_low[mesh.faces[is_low]] = True
    pairs = crossing_pairs(mesh, np.asarray(at_low[mesh.faces].any(axis=1)))
    if len(pairs) == 0:
        return work, 0
    at_crossing = np.zeros(len(mesh.vertices), dtype=bool)
    at_crossing[mesh.faces[pairs]] = True
    beside = is_low & at_crossing[mesh.faces].any(axis=1)
    done, _ = without_slivers(work, np.where(beside, limit, -1.0))
    was, now = topology_of(mesh), topology_of(done.mesh)
    same = now.is_closed == was.is_closed and now.crowded <= was.crowded
    if not same or _crossing_at(done.mesh, mesh, beside) >= _crossing_at(
        mesh, mesh, beside
    ):
        return work, 0
    return done, int(is_low.sum() - (done.mesh.heights <= limit).sum())


def _crossing_at(mesh: Mesh, before: Mesh, beside: NDArray[np.bool_]) -> int:
    """Count the pairs that cross at corners of some faces; all others stay as they are."""
    at = np.zeros(len(before.vertices), dtype=bool)
    at[before.faces[beside]] = True
    return len(crossing_pairs(mesh, np.asarray(at[mesh.faces].any(axis=1))))
