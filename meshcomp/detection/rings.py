"""Places evenly around a circle."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.neighbours import neighbours

__all__ = ["Ring", "even_circles"]

_LEAST = 3
_SQUARE = 4  # corners: a circle only if something is at its middle, else a grid
_NEIGHBOURS = 6
_MOST = 400  # places: among more, circles about something at their middle only
_APART = 1e-6  # mm²: three places nearer to one line have no circle


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Ring:
    """Places evenly around a circle, by their rows in order around it."""

    rows: NDArray[np.int64]
    size: float  # diameter, mm

    @property
    def counts(self) -> tuple[int, ...]:
        """How many they are."""
        return (len(self.rows),)

    @property
    def pitch(self) -> tuple[float, ...]:
        """Straight from one to the next, mm: the chord."""
        return (self.size * float(np.sin(np.pi / len(self.rows))),)


def even_circles(
    places: NDArray[np.float64], middles: NDArray[np.float64], limit: float
) -> list[Ring]:
    """Find places that lie evenly around circles.

    Parameters
    ----------
    places : (n, 2) float
        In mm.
    middles : (k, 2) float
        Where something else is, so that four about it are a circle and no square.
    limit : float
        How far a place may be off, mm.

    Returns
    -------
    rings : list of Ring
        Those with most places first; a place may be in several.
    """
    found: dict[tuple[int, ...], Ring] = {}
    for centre, is_known in _centres(places, middles, limit):
        for ring in _rings_about(places, centre, limit):
            if len(ring.rows) == _SQUARE and not is_known:
                continue
            found.setdefault(tuple(sorted(ring.rows.tolist())), ring)
    return [found[key] for key in sorted(found, key=lambda key: (-len(key), key))]


def _centres(
    places: NDArray[np.float64], middles: NDArray[np.float64], limit: float
) -> list[tuple[NDArray[np.float64], bool]]:
    """Where a circle may have its middle, and whether something is there."""
    guesses = np.concatenate([places.mean(axis=0)[None], _by_threes(places)])
    known = _distinct(middles, limit)
    fresh = _distinct(guesses, limit)
    return [(c, True) for c in known] + [(c, False) for c in fresh]


def _distinct(points: NDArray[np.float64], limit: float) -> NDArray[np.float64]:
    _, first = np.unique(np.round(points / limit), axis=0, return_index=True)
    return np.asarray(points[np.sort(first)])


def _by_threes(places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Centres of the circles through each place and two of its neighbours, (k, 2)."""
    if len(places) > _MOST:
        return np.zeros((0, 2))
    near = neighbours(places, _NEIGHBOURS)
    first, second = np.triu_indices(near.shape[1], 1)
    b = places[near[:, first]] - places[:, None]
    c = places[near[:, second]] - places[:, None]
    twice = 2 * (b[..., 0] * c[..., 1] - b[..., 1] * c[..., 0])
    squares = ((b**2).sum(axis=-1), (c**2).sum(axis=-1))
    good = np.abs(twice) > _APART
    safe = np.where(good, twice, 1.0)
    x = (c[..., 1] * squares[0] - b[..., 1] * squares[1]) / safe
    y = (b[..., 0] * squares[1] - c[..., 0] * squares[0]) / safe
    return np.asarray((places[:, None] + np.stack([x, y], axis=-1))[good])


def _rings_about(
    places: NDArray[np.float64], centre: NDArray[np.float64], limit: float
) -> list[Ring]:
    away = places - centre
    radii = np.hypot(away[:, 0], away[:, 1])
    order = np.argsort(radii, kind="stable")
    cuts = np.flatnonzero(np.diff(radii[order]) > limit) + 1
    bounds = [0, *cuts.tolist(), len(order)]
    found = []
    for begin, end in pairwise(bounds):
        rows = order[begin:end]
        radius = float(radii[rows].mean())
        if len(rows) < _LEAST or radius < limit:
            continue
        angles = np.arctan2(away[rows, 1], away[rows, 0])
        turn = np.argsort(angles, kind="stable")
        gaps = np.diff(angles[turn], append=angles[turn[0]] + 2 * np.pi)
        off = np.abs(gaps - 2 * np.pi / len(rows)) * radius
        if off.max() <= 2 * limit and np.ptp(radii[rows]) <= 2 * limit:
            found.append(Ring(rows=rows[turn], size=2 * radius))
    return found
