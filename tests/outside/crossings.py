"""Faces that cross, by a library of others, and edges that no closed solid has.

Source of the crossings: pymeshlab, MeshLab's filter
`compute_selection_by_self_intersections_per_face`. It computes in double precision: a
corner 1e-9 mm through a face of 10 mm is found, one 1e-9 mm above it is not
(tests/test_outside_checks.py). It does not test faces that share an edge, so a face
folded back onto its neighbour is not counted; two faces that share one corner are tested.

Traps, measured with pymeshlab 2025.7: the filter tests each pair in one order only, and
for faces that touch within rounding the other order may answer otherwise, so it is run on
both. `get_topological_measures` gives one edge of four faces as 1 at its first call in a
process and as 4 later, and after four calls the filter above counts otherwise too: it is
not used, and edges are counted here by their definition.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh

__all__ = ["crossing_faces", "crossing_marks", "non_manifold_edges", "open_edges"]


def crossing_faces(mesh: Mesh | Path) -> int:
    """Count the faces that cross another face of the same mesh.

    Parameters
    ----------
    mesh : Mesh or Path
        A mesh, whose faces must share vertices, or a file that pymeshlab reads: STL, OBJ
        or PLY. Corners of a file that are equal to the last bit are made one.

    Examples
    --------
    >>> corners = [(0, 0, 0), (9, 0, 0), (0, 9, 0), (2, 2, -1), (3, 2, 1), (2, 3, 1)]
    >>> crossing_faces(Mesh(corners, [(0, 1, 2), (3, 4, 5)]))
    2
    """
    return int(np.count_nonzero(_marks(*_arrays(mesh))))


def crossing_marks(mesh: Mesh) -> NDArray[np.bool_]:
    """Mark the faces that cross another face of the same mesh; see `crossing_faces`."""
    return _marks(*_arrays(mesh))


def _marks(vertices: NDArray[np.float64], faces: NDArray[np.int32]) -> NDArray[np.bool_]:
    forward = _selected(vertices, faces)
    backward = _selected(vertices, faces[::-1])[::-1]
    return np.asarray(forward | backward)


def non_manifold_edges(mesh: Mesh | Path) -> int:
    """Count the edges that three faces or more share; see `crossing_faces`."""
    return int(np.count_nonzero(_faces_at_edges(mesh) > 2))


def open_edges(mesh: Mesh | Path) -> int:
    """Count the edges that belong to one face only; see `crossing_faces`."""
    return int(np.count_nonzero(_faces_at_edges(mesh) == 1))


def _faces_at_edges(mesh: Mesh | Path) -> NDArray[np.int64]:
    """Count the faces at every edge."""
    _, faces = _arrays(mesh)
    edges = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    return np.unique(edges, axis=0, return_counts=True)[1]


def _selected(vertices: NDArray[np.float64], faces: NDArray[np.int32]) -> NDArray[np.bool_]:
    """Whether each face crosses a face that comes after it, or before."""
    import pymeshlab

    meshes = pymeshlab.MeshSet()
    meshes.add_mesh(pymeshlab.Mesh(vertices, np.ascontiguousarray(faces)))
    meshes.compute_selection_by_self_intersections_per_face()
    return np.array(meshes.current_mesh().face_selection_array(), dtype=bool)


def _arrays(mesh: Mesh | Path) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Vertices and faces as pymeshlab takes them, or as it read them from a file."""
    import pymeshlab

    if isinstance(mesh, Mesh):
        return np.array(mesh.vertices), np.array(mesh.faces, dtype=np.int32)
    meshes = pymeshlab.MeshSet()
    meshes.load_new_mesh(str(mesh))
    meshes.meshing_remove_duplicate_vertices()
    read = meshes.current_mesh()
    return np.array(read.vertex_matrix()), np.array(read.face_matrix())
