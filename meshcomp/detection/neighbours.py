"""Nearest places in a plane: by all distances where places are few, else by a tree."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import lengths

__all__ = ["nearest", "neighbours"]

_FEW = 300  # a tree costs a tenth of a second to import, and the few need none


def neighbours(places: NDArray[np.float64], count: int) -> NDArray[np.int64]:
    """Rows of the nearest other places to each, (n, count or less), nearest first."""
    most = min(count + 1, len(places))
    if len(places) <= _FEW:
        away = _distances(places, places)
        np.fill_diagonal(away, np.inf)  # each place is near itself, and none of the others
        rows = np.arange(len(places))
        near = np.zeros((len(places), max(most - 1, 0)), dtype=np.int64)
        for nearest_one in near.T:  # few rounds are quicker than to sort whole rows
            nearest_one[:] = np.argmin(away, axis=1)
            away[rows, nearest_one] = np.inf
        return near
    from scipy.spatial import cKDTree

    return np.asarray(cKDTree(places).query(places, k=most)[1])[:, 1:]


def nearest(
    places: NDArray[np.float64], wanted: NDArray[np.float64], limit: float
) -> NDArray[np.int64]:
    """Row of the place nearest to each wanted one, -1 if none is within a limit, (n,)."""
    if len(places) <= _FEW:
        away = _distances(wanted, places)
        row = np.argmin(away, axis=1)
        distance = away[np.arange(len(wanted)), row]
    else:
        from scipy.spatial import cKDTree

        distance, row = cKDTree(places).query(wanted)
    return np.where(distance <= limit, row, -1)


def _distances(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    return lengths(a[:, None] - b)
