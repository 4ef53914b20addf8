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
    empty: NDArray[np.float64]  # (0 or 1, 2) where one is missing, mm

    @property
    def counts(self) -> tuple[int, ...]:
        """How many there are, with the one that is missing."""
        return (len(self.rows) + len(self.empty),)

    @property
    def pitch(self) -> tuple[float, ...]:
        """Straight from one to the next, mm: the chord."""
        return (self.size * float(np.sin(np.pi / self.counts[0])),)


def even_circles(
    places: NDArray[np.float64], middles: NDArray[np.float64], limit: float
) -> list[Ring]:
    """Find places that lie evenly around circles, of which one may be empty.

    An empty place is believed among five and more, or among four about a known middle.

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
        Those with most places first, whole ones before others; a place may be in several.
    """
    found: dict[tuple[int, ...], Ring] = {}
    for centre, is_known in _centres(places, middles, limit):
        for ring in _rings_about(places, centre, limit):
            if ring.counts[0] == _SQUARE and not is_known:
                continue
            found.setdefault(tuple(sorted(ring.rows.tolist())), ring)
    order = sorted(found, key=lambda key: (-len(key), len(found[key].empty), key))
    return [found[key] for key in order]


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
        if np.ptp(radii[rows]) <= 2 * limit:
            found += _even(rows[turn], angles[turn], (centre, radius), limit)
    return found


def _even(
    rows: NDArray[np.int64],
    angles: NDArray[np.float64],
    circle: tuple[NDArray[np.float64], float],
    limit: float,
) -> list[Ring]:
    """Return the ring of ascending angles, if they are even but for one that is missing."""
    centre, radius = circle
    gaps = np.diff(angles, append=angles[0] + 2 * np.pi)
    for missing in (0, 1):
        pitch = 2 * np.pi / (len(rows) + missing)
        wanted = np.full(len(rows), pitch)
        widest = int(np.argmax(gaps))
        wanted[widest] += missing * pitch
        if np.abs(gaps - wanted).max() * radius > 2 * limit:
            continue
        at = angles[widest] + pitch
        empty = centre + radius * np.array([[np.cos(at), np.sin(at)]])
        return [Ring(rows=rows, size=2 * radius, empty=empty[:missing])]
    return []
