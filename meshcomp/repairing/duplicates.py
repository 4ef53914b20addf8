"""Faces that stand in a file more than once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.repairing.patchwork import Patchwork
from meshcomp.topology import topology_of

__all__ = ["without_repeated"]


def without_repeated(work: Patchwork) -> tuple[Patchwork, int]:
    """Keep one of each face, and one side of what is drawn from both sides throughout.

    Faces that lie on each other back to back are left where two bodies touch: then some
    other edge than theirs has more than two faces.

    Returns
    -------
    work : Patchwork
    dropped : int
        How many faces went.

    Examples
    --------
    >>> from meshcomp.meshes import Mesh
    >>> from meshcomp.repairing.patchwork import untouched
    >>> twice = Mesh([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1, 2), (1, 2, 0)])
    >>> without_repeated(untouched(twice))[1]
    1
    """
    faces = work.mesh.faces
    topology = topology_of(work.mesh)
    # An edge of a repeated face has more faces than two, or two that run the same way.
    if not topology.crowded and not (topology.neighbours < 0).all(axis=1).any():
        return work, 0
    ordered, is_even = _ordered(faces)
    keys = _numbered(ordered)
    first = _first_of_each(2 * keys + is_even)
    alone = _first_of_each(keys)
    # Where every face has its back, nothing is enclosed but by one side of them.
    is_two_sided = len(first) == 2 * len(alone)
    kept = alone if is_two_sided else first
    if len(kept) == len(faces):
        return work, 0
    return work.only(kept), len(faces) - len(kept)


def _ordered(faces: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Corners in rising order, and whether the face runs round them that way."""
    low, high = faces.min(axis=1), faces.max(axis=1)
    middle = faces.sum(axis=1) - low - high
    place = np.argmin(faces, axis=1)
    after = faces[np.arange(len(faces)), (place + 1) % 3]
    return np.column_stack([low, middle, high]), after == middle


def _numbered(rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give equal rows equal numbers."""
    order = np.lexsort(rows.T)
    new = (np.diff(rows[order], axis=0) != 0).any(axis=1)
    numbers = np.zeros(len(rows), np.int64)
    numbers[order[1:]] = np.cumsum(new)
    return numbers


def _first_of_each(keys: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.sort(np.unique(keys, return_index=True)[1])
