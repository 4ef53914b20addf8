"""Find where a moved mesh is unsound: faces turned over, faces that now cross."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.compensation.refining import Refined
from meshcomp.crossings import crossing_pairs
from meshcomp.meshes import Mesh

__all__ = ["unsound_faces"]

_LEAST_COSINE = 0.1  # a moved face must still look the way it did
_RELIABLE_HEIGHT = 2e-4  # mm: a thinner triangle has no direction to speak of


def unsound_faces(
    before: Mesh, after: Refined, moved: NDArray[np.bool_], old: NDArray[np.int64]
) -> tuple[NDArray[np.int64], str]:
    """Find faces that folded or cross others.

    Parameters
    ----------
    before : Mesh
        The inspected mesh.
    after : Refined
        The moved mesh, rounded as it will be written, and the old face of each face.
    moved : (m,) bool
        Faces of `after` with a moved corner, or made anew.
    old : (k, 2) int
        Pairs of old faces that crossed before anything moved.

    Returns
    -------
    faces : (k,) int
        Sorted; empty if the mesh is sound.
    reason : str
        What is wrong there.
    """
    folded = _folded(before, after, moved)
    pairs = crossing_pairs(after.mesh, moved)
    fresh = pairs[~_known(after.parents[pairs], old)] if len(old) else pairs
    if len(fresh):
        return np.union1d(folded, fresh.ravel()), "faces would cross"
    return folded, "faces would turn over"


def _folded(before: Mesh, after: Refined, moved: NDArray[np.bool_]) -> NDArray[np.int64]:
    was = unit(before.area_vectors)[after.parents]
    solid = after.mesh.heights > _RELIABLE_HEIGHT
    was_solid = (before.heights > _RELIABLE_HEIGHT)[after.parents]
    turned = dot(unit(after.mesh.area_vectors), was) < _LEAST_COSINE
    return np.flatnonzero(moved & solid & was_solid & turned)


def _known(pairs: NDArray[np.int64], old: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether pairs of old faces, (k, 2), are among those that crossed before."""
    size = int(max(pairs.max(initial=0), old.max(initial=0))) + 1
    low, high = pairs.min(axis=1), pairs.max(axis=1)
    return np.isin(low * size + high, old.min(axis=1) * size + old.max(axis=1))
