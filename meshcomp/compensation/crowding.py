"""Where surfaces come to touch, so that a reader would take them for others.

Whoever reads a file knows places only. Four faces at an edge are paired by their
directions, and where these have changed, crumbs come off, or holes close.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.inspections import SolidState
from meshcomp.meshes import Mesh, with_points_joined
from meshcomp.topology import bodies_and_holes, topology_of

__all__ = ["crowded_edges", "joined_otherwise", "newly_crowded"]


def joined_otherwise(solid: SolidState, before: Mesh, after: Mesh) -> NDArray[np.int64]:
    """Find faces that a reader would join otherwise, to other bodies or holes.

    Parameters
    ----------
    solid : SolidState
        Of the part before.
    before, after : Mesh
        Before anything moves, and rounded as it will be written, by the same vertices.

    Returns
    -------
    pairs : (k, 2) int
        Of `after`; empty if it has as many bodies and holes as the solid.
    """
    read, rows = _as_read(after)
    if bodies_and_holes(read) == (solid.bodies, solid.genus):
        return np.zeros((0, 2), dtype=np.int64)
    own, found = topology_of(after).neighbours[rows], topology_of(read).neighbours
    found = np.where(found < 0, -1, rows[found])
    one, side = np.nonzero((own != found) & np.isin(own, rows) & (found >= 0))
    pairs = np.sort(np.column_stack([rows[one], found[one, side]]), axis=1)
    pairs = np.concatenate([pairs, newly_crowded(before, after)])
    return pairs if len(pairs) else _at_edges(*crowded_edges(after))


def _as_read(mesh: Mesh) -> tuple[Mesh, NDArray[np.int64]]:
    """Return what a reader of 32 bits takes a mesh for, and which faces that leaves."""
    places = mesh.vertices.astype(np.float32).astype(np.float64)
    joined = with_points_joined(Mesh(places, mesh.faces))
    faces = joined.faces
    rows = np.flatnonzero((faces != np.roll(faces, -1, axis=1)).all(axis=1))
    return Mesh(joined.vertices, faces[rows]), rows


def newly_crowded(before: Mesh, after: Mesh) -> NDArray[np.int64]:
    """Find faces at edges that more than two share, and did not before.

    Parameters
    ----------
    before, after : Mesh
        By the same vertices.

    Returns
    -------
    pairs : (k, 2) int
        Of `after`: the first face of each such edge with every other.

    Examples
    --------
    >>> points = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1), (0, -1, 0)]
    >>> faces = [(0, 1, 2), (0, 1, 3), (0, 1, 4)]
    >>> newly_crowded(Mesh(points, faces[:2]), Mesh(points, faces)).tolist()
    [[0, 1], [0, 2]]
    """
    if not topology_of(after).crowded:
        return np.zeros((0, 2), dtype=np.int64)
    keys, faces = crowded_edges(after)
    new = ~np.isin(keys, crowded_edges(before)[0])
    return _at_edges(keys[new], faces[new])


def _at_edges(keys: NDArray[np.int64], faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Pair the first face of each edge with every other, (k, 2); edges in order."""
    first = np.flatnonzero(np.diff(keys, prepend=-1))
    counts = np.diff(first, append=len(keys))
    pairs = np.column_stack([np.repeat(faces[first], counts), faces])
    return np.delete(pairs, first, axis=0)


def crowded_edges(mesh: Mesh) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Edges of three faces or more, by number, and their faces, in the order of edges."""
    starts, ends = mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel()
    keys = np.minimum(starts, ends) * len(mesh.vertices) + np.maximum(starts, ends)
    order = np.argsort(keys, kind="stable")
    keys = keys[order]
    sizes = np.diff(np.flatnonzero(np.diff(keys, prepend=-1, append=-1)))
    rows = np.repeat(sizes > 2, sizes)  # noqa: PLR2004 - two faces share a plain edge
    return keys[rows], order[rows] // 3
