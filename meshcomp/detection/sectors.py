"""How much of a turn directions look into, told roughly and of many at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["SECTORS", "looked_into", "sectors", "turn_seen"]

SECTORS = 24  # of a turn


def sectors(across: NDArray[np.float64]) -> NDArray[np.int64]:
    """Sector, from 0, that each direction across an axis, (k, 2), looks into, (k,)."""
    turn = np.arctan2(across[:, 1], across[:, 0]) / (2 * np.pi)
    return np.asarray(np.floor(turn * SECTORS).astype(np.int64) % SECTORS)


def looked_into(seen: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Degrees of a turn that sectors cover, (n, SECTORS) bool to (n,).

    Eight facets look into eight sectors only; what is empty between them is no gap.

    Examples
    --------
    >>> eight = np.arange(SECTORS) % 3 == 0
    >>> looked_into(np.array([eight, np.arange(SECTORS) < 6])).tolist()
    [360.0, 120.0]
    """
    around = np.concatenate([seen[:, -1:], seen, seen[:, :1]], axis=1)
    reach = around[:, :-2] | seen | around[:, 2:]
    return np.asarray(reach.sum(axis=1) * (360 / SECTORS))


def turn_seen(across: NDArray[np.float64]) -> float:
    """Degrees of a turn that directions across an axis, (k, 2), look into together."""
    seen = np.zeros((1, SECTORS), dtype=bool)
    seen[0, sectors(across)] = True
    return float(looked_into(seen)[0])
