"""Find where a moved mesh is unsound: faces turned over, faces that now cross."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import pieces
from meshcomp._vectors import dot, unit
from meshcomp.compensation.looking import Looked, crossed_before, crossing_again
from meshcomp.compensation.refining import Refined
from meshcomp.compensation.sheets import in_single_sheet
from meshcomp.crossings import crossing_pairs
from meshcomp.meshes import Mesh
from meshcomp.segmentation import Regions, planar_regions, rims_of
from meshcomp.topology import bodies_of, topology_of

__all__ = ["folded", "unsound_pairs"]

_LEAST_COSINE = 0.1  # a moved face must still look the way it did
_RELIABLE_HEIGHT = 2e-4  # mm: a thinner triangle has no direction to speak of


def unsound_pairs(
    before: Mesh,
    regions: Regions,
    after: Refined,
    moved: NDArray[np.bool_],
    reach: float | None = None,
    looked: Looked | None = None,
) -> tuple[NDArray[np.int64], str]:
    """Find faces that folded or cross others.

    Parameters
    ----------
    before : Mesh
        The inspected mesh.
    regions : Regions
        Its planar regions.
    after : Refined
        The moved mesh, rounded as it will be written, and the old face of each face.
    moved : (m,) bool
        Faces of `after` with a moved corner, or made anew.
    reach : float, optional
        Farthest that any point of `before` moved, mm: saves looking where nothing can
        have come to cross.
    looked : Looked, optional
        What earlier tries have shown; added to.

    Returns
    -------
    pairs : (k, 2) int
        Faces that cross; a face that folded is paired with itself. Empty if the mesh is
        sound.
    reason : str
        What is wrong there.
    """
    turned = folded(before, regions, after, moved)
    looked = Looked() if looked is None else looked
    if looked.last is None:
        pairs = _crossing(before, after.mesh, moved, reach)
    else:
        pairs = crossing_again(looked.last, after.mesh, moved)
    looked.last = after.mesh, pairs
    old = np.zeros(len(pairs), dtype=bool)
    if len(pairs):
        old = crossed_before(before, regions, after.parents[pairs], looked)
    looked.old, pairs = pairs[old], pairs[~old]
    reason = "faces would cross" if len(pairs) else "faces would turn over"
    return np.concatenate([pairs, np.column_stack([turned, turned])]), reason


def _crossing(
    before: Mesh, after: Mesh, moved: NDArray[np.bool_], reach: float | None
) -> NDArray[np.int64]:
    """Pairs of faces that cross, one of which moved, (k, 2)."""
    left = np.arange(len(after.faces))
    if reach is not None:
        left = left[~in_single_sheet(before, after, reach)]
    if len(left) == 0:
        return np.zeros((0, 2), dtype=np.int64)
    rest = (
        after if len(left) == len(after.faces) else Mesh(after.vertices, after.faces[left])
    )
    if bodies_of(before).any():
        # Where bodies touch, planes a hair's breadth apart may cross amid both.
        pairs = crossing_pairs(rest, moved[left])
    else:
        topology = topology_of(rest)
        planes = planar_regions(rest, topology).of_face
        rims = rims_of(rest, topology)
        pairs = crossing_pairs(rest, moved[left], planes=planes, rims=rims)
    return np.asarray(left[pairs])


def folded(
    before: Mesh, regions: Regions, after: Refined, moved: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Return the moved faces that look another way than before; as `unsound_pairs`."""
    rows = np.flatnonzero(moved)
    found = [_folded_of(before, regions, after, rows[some]) for some in pieces(len(rows))]
    return np.concatenate([np.zeros(0, dtype=np.int64), *found])


def _folded_of(
    before: Mesh, regions: Regions, after: Refined, rows: NDArray[np.int64]
) -> NDArray[np.int64]:
    parents = after.parents[rows]
    normals = unit(Mesh(after.mesh.vertices, after.mesh.faces[rows]).area_vectors)
    turned = dot(normals, regions.face_normals[parents]) < _LEAST_COSINE
    rows, parents = rows[turned], parents[turned]
    now = Mesh(after.mesh.vertices, after.mesh.faces[rows])
    was = Mesh(before.vertices, before.faces[parents])
    return rows[(now.heights > _RELIABLE_HEIGHT) & (was.heights > _RELIABLE_HEIGHT)]
