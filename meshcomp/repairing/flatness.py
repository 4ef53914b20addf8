"""Whether surfaces are sheets, or bodies that are not quite closed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot
from meshcomp.meshes import Mesh
from meshcomp.repairing.duplicates import edge_numbers, firsts_of_repeated, hanging_together

__all__ = ["are_flat"]

_MOST_OF_DISC = 1.5  # area by that of the disc with the same rim; a hemisphere has 2
_FACING = 0.5  # least share of a sheet's area in its projection


def are_flat(mesh: Mesh, thickness: float) -> bool:
    """Whether surfaces that hang together all have much rim and enclose little.

    What encloses a body but for a hole has more area than the disc with the same rim,
    the most that a surface has which can be unrolled (isoperimetric inequality). Where a
    crack runs all about it, it has much rim, but its faces look to all sides and it is
    thick.

    Parameters
    ----------
    mesh : Mesh
        In mm; a face drawn twice, either way round, counts once.
    thickness : float
        Greatest mean thickness of a surface whose faces look to all sides, mm.

    Examples
    --------
    >>> square = [(0, 0), (9, 0), (9, 9), (0, 9)]
    >>> corners = [(x, y, z) for z in (0, 9) for x, y in square]
    >>> sides = [(0, 1, 5), (1, 2, 6), (2, 3, 7), (3, 0, 4)]
    >>> sides += [(5, 4, 0), (6, 5, 1), (7, 6, 2), (4, 7, 3)]
    >>> bottom = [(0, 2, 1), (0, 3, 2)]
    >>> are_flat(Mesh(corners, bottom), 0.01), are_flat(Mesh(corners, bottom + sides), 0.01)
    (True, False)
    """
    once = Mesh(mesh.vertices, mesh.faces[firsts_of_repeated(mesh.faces)])
    edges = edge_numbers(once.faces).ravel()
    label = hanging_together(edges)
    around, middles = _rims(once, edges, label)
    vectors = once.area_vectors
    areas = _sums(label, np.linalg.norm(vectors, axis=1), label)
    away = once.corners[:, 0] - middles[label]
    volumes = _sums(label, dot(away, vectors) / 3, label)
    facing = np.linalg.norm([_sums(label, column, label) for column in vectors.T], axis=0)
    is_thin = np.abs(volumes) <= thickness / 2 * areas
    is_short = areas <= _MOST_OF_DISC * around * around / (4 * np.pi)
    return bool((is_short & (is_thin | (facing >= _FACING * areas))).all())


def _rims(
    mesh: Mesh, edges: NDArray[np.int64], label: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lengths of the rims of surfaces, (s,) mm, and their middles, (s, 3) mm."""
    _, first, count = np.unique(edges, return_index=True, return_counts=True)
    rims = first[count % 2 == 1]
    corners = mesh.corners
    sides = (np.roll(corners, -1, axis=1) - corners).reshape(-1, 3)[rims]
    middles = corners.reshape(-1, 3)[rims] + sides / 2
    owner, lengths = label[rims // 3], np.linalg.norm(sides, axis=1)
    around = _sums(owner, lengths, label)
    moments = [_sums(owner, lengths * column, label) for column in middles.T]
    return around, np.column_stack(moments) / np.maximum(around, 1e-300)[:, None]


def _sums(
    owner: NDArray[np.int64], values: NDArray[np.float64], label: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Add up values by their owner, one of all that are in `label`."""
    return np.bincount(owner, values, int(label.max(initial=-1)) + 1).astype(float)
