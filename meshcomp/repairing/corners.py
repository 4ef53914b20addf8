"""Corners of faces moved along a slit, where two strips thinner than a crack end."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.meshes import Mesh
from meshcomp.repairing.cracks import crack_limit
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.repairing.rims import joined_at_rims, loops_of
from meshcomp.topology import topology_of

__all__ = ["with_corners_moved"]

_RING = 4
_ALIKE = 0.99  # cosine between a face and what it becomes


def with_corners_moved(work: Patchwork) -> tuple[Patchwork, int]:
    """Close rings of four corners by moving the corner of one face across.

    Two faces cut beside one edge may have the same new corner, next to the end of that
    edge. What lies between them still ends at the old corner: no triangle closes that
    without an edge that is there already, but the face's own corner can go to the new one.

    Returns
    -------
    work : Patchwork
    moved : int
        How many corners went.

    Examples
    --------
    >>> from meshcomp.repairing.patchwork import untouched
    >>> corners = [(0, 0, 0), (9, 1, 0), (9, -1, 0), (0.001, 0, 0), (5, 9, 0), (5, -9, 0)]
    >>> faces = [(0, 1, 2), (1, 3, 4), (3, 2, 5), (3, 0, 4), (0, 3, 5)]
    >>> mended, moved = with_corners_moved(untouched(Mesh(corners, faces)))
    >>> moved, mended.mesh.faces[0].tolist()
    (1, [3, 1, 2])
    """
    topology = topology_of(work.mesh)
    if topology.is_closed:
        return work, 0
    faces, moved = work.mesh.faces.copy(), 0
    joined = joined_at_rims(work.mesh, topology.open_half_edges)
    for loop in loops_of(work.mesh, topology.open_half_edges):
        for face, old, new in _moves(work.mesh, loop):
            if (min(old, new), max(old, new)) in joined and _stays(
                work.mesh, face, old, new
            ):
                faces[face][faces[face] == old] = new
                moved += 1
                break
    return (work.with_faces(faces), moved) if moved else (work, 0)


def _moves(mesh: Mesh, loop: NDArray[np.int64]) -> Iterator[tuple[int, int, int]]:
    """Faces with both rims at a corner of a ring, that corner, and the one opposite."""
    if len(loop) != _RING:
        return
    ring = mesh.faces.ravel()[loop].tolist()
    owners = (loop // 3).tolist()
    for k in range(_RING):
        if owners[k] == owners[k - 1]:
            yield owners[k], ring[k], ring[k - 2]


def _stays(mesh: Mesh, face: int, old: int, new: int) -> bool:
    """Whether a face whose corner moves is as good as where it was."""
    if np.linalg.norm(mesh.vertices[old] - mesh.vertices[new]) > crack_limit(mesh):
        return False
    corners = mesh.faces[face]
    both = Mesh(mesh.vertices, np.stack([corners, np.where(corners == old, new, corners)]))
    before, after = unit(both.area_vectors)
    return bool(dot(before[None], after[None])[0] > _ALIKE)
