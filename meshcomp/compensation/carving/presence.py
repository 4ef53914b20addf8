"""Whether walls that solids were to bring to their places are there."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, lengths, unit
from meshcomp.compensation.carving.ways import Ways, mean_widths
from meshcomp.meshes import Mesh
from meshcomp.topology import components

__all__ = ["are_there", "planes_of"]

_THERE = 0.5  # of the area of walls, or nothing would be left of them
_SAME_PLANE = 2e-3  # mm, and radians
_STRIP = 4.0  # offsets: planes narrower on average may come to nothing


def are_there(
    ways: Ways, faces: NDArray[np.int64], mesh: Mesh, mine: NDArray[np.bool_]
) -> bool:
    """Whether faces of walls lie where they were to go.

    Of every feature half must be there, and of every plane that is no narrow strip: a slot
    that closes or a wall that comes to nothing is not where it should be. Nor may strips
    that lie beside each other be gone where they are no narrow strip together.

    Parameters
    ----------
    ways : Ways
    faces : (k,) int
        Refined faces that were to go there.
    mesh : Mesh
        What came of it.
    mine : (m,) bool
        Faces of `mesh` that may be theirs.
    """
    from scipy.spatial import cKDTree

    goals = ways.goals(faces)
    wanted = Mesh(goals.reshape(-1, 3), np.arange(3 * len(goals)).reshape(-1, 3))
    middle = wanted.vertices.mean(axis=0)
    tree = cKDTree(planes_of(wanted, np.arange(len(goals)), middle))
    made = np.flatnonzero(mine)
    # Within a bound the search is several times as quick; what is beyond it has no number.
    _, nearest = tree.query(planes_of(mesh, made, middle), distance_upper_bound=_SAME_PLANE)
    areas = lengths(mesh.area_vectors[made])
    found = np.bincount(nearest, areas, len(goals) + 1)[:-1]
    asked = lengths(wanted.area_vectors) * (ways.lives(faces) == 1)
    planes = components(len(goals), tree.query_pairs(_SAME_PLANE, output_type="ndarray"))
    there = np.bincount(planes, found) / np.maximum(np.bincount(planes, asked), 1e-12)
    lacks = asked * np.clip(1 - there, 0, 1)[planes]
    narrow = _STRIP * float(np.abs(ways.wanted.offset[faces]).max())
    strips = ways.widths < narrow
    is_gone = (asked > 0) & (there[planes] < _THERE)
    gone = faces[is_gone & strips[ways.regions[faces]]]
    if _widest(ways.refined.mesh, gone) > narrow:
        return False
    every = lengths(ways.refined.mesh.area_vectors)
    return all(
        _mostly(lacks, labels[faces], np.bincount(labels + 1, every)[1:], but)
        for labels, but in ((ways.wanted.feature, None), (ways.regions, strips))
    )


def _widest(mesh: Mesh, faces: NDArray[np.int64]) -> float:
    """Largest mean width of patches of faces that share corners, mm; 0 without faces."""
    if len(faces) == 0:
        return 0.0
    _, corners = np.unique(mesh.faces[faces], return_inverse=True)
    corners = corners.reshape(-1, 3)
    pairs = np.concatenate([corners[:, :2], corners[:, 1:]])
    patches = components(int(corners.max()) + 1, pairs)[corners[:, 0]]
    return float(mean_widths(Mesh(mesh.vertices, mesh.faces[faces]), patches).max())


def _mostly(
    lacks: NDArray[np.float64],
    labels: NDArray[np.int64],
    whole: NDArray[Any],
    but: NDArray[np.bool_] | None,
) -> bool:
    """Whether no label lacks more than half of its area, but for some labels."""
    missing = np.bincount(labels, lacks, len(whole)) > (1 - _THERE) * whole
    return not bool((missing if but is None else missing & ~but).any())


def planes_of(
    mesh: Mesh, faces: NDArray[np.int64], origin: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return normals of faces, and how far their planes are from a point, mm, (k, 4)."""
    normals = unit(mesh.area_vectors[faces])
    first = mesh.vertices[mesh.faces[faces, 0]] - origin
    return np.column_stack([normals, dot(normals, first)])
