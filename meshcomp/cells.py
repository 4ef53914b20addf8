"""Small cells of space, so that neighbours on a surface are found by counting."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["cells_of"]


def cells_of(
    points: NDArray[np.float64], normals: NDArray[np.float64], width: float
) -> NDArray[np.int64]:
    """Cell of each point among those that look most along one coordinate.

    Both sides of a thin wall thus lie in different cells.

    Parameters
    ----------
    points, normals : (n, 3) float
        Points, mm, and unit normals of the surface there.
    width : float
        Of a cell, mm; at least a millionth of how far the points reach.

    Returns
    -------
    cells : (n,) int
        Numbered from 0.

    Examples
    --------
    >>> up = np.tile([0.0, 0.0, 1.0], (3, 1))
    >>> points = np.array([(0.1, 0.2, 0.0), (0.7, 0.9, 0.5), (1.5, 0.0, 0.0)])
    >>> cells_of(points, up, 1.0).tolist()
    [0, 0, 1]
    """
    x, y, z = np.floor(points / width).astype(np.int64).T
    axis = np.argmax(np.abs(normals), axis=1)
    looks_up = normals[np.arange(len(axis)), axis] > 0
    keys = (((x << 20) + y << 20) + z) * 6 + 2 * axis + looks_up
    return np.unique(keys, return_inverse=True)[1].ravel()
