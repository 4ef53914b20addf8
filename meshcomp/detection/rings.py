"""Places evenly around a circle."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.neighbours import neighbours

__all__ = ["Ring", "even_circles"]

_LEAST = 3
_SQUARE = 4  # corners: a circle only if something is at its middle, else a grid
_NEIGHBOURS = 6
_MOST = 400  # places: among more, circles about something at their middle only
_AT_ONCE = 1_000_000  # distances from centres to places
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
    centres, is_known = _centres(places, middles, limit)
    found: dict[tuple[int, ...], Ring] = {}
    many = max(1, _AT_ONCE // max(len(places), 1))
    for begin in range(0, len(centres), many):
        some = slice(begin, begin + many)
        for ring, known in _rings_about(places, centres[some], is_known[some], limit):
            if ring.counts[0] == _SQUARE and not known:
                continue
            found.setdefault(tuple(sorted(ring.rows.tolist())), ring)
    order = sorted(found, key=lambda key: (-len(key), len(found[key].empty), key))
    return [found[key] for key in order]


def _centres(
    places: NDArray[np.float64], middles: NDArray[np.float64], limit: float
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Where circles may have middles, (c, 2), and whether something is there, (c,)."""
    guesses = np.concatenate([places.mean(axis=0)[None], _by_threes(places)])
    known = _distinct(middles, limit)
    fresh = _distinct(guesses, limit)
    return np.concatenate([known, fresh]), np.arange(len(known) + len(fresh)) < len(known)


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
    places: NDArray[np.float64],
    centres: NDArray[np.float64],
    is_known: NDArray[np.bool_],
    limit: float,
) -> Iterator[tuple[Ring, bool]]:
    """Rings about each centre, (c, 2), of places at one distance from it."""
    away = places - centres[:, None]
    radii = np.hypot(away[..., 0], away[..., 1])
    order = np.argsort(radii, axis=1, kind="stable")
    ordered = np.take_along_axis(radii, order, axis=1)
    begins = np.ones(order.shape, dtype=bool)
    begins[:, 1:] = np.diff(ordered, axis=1) > limit
    starts = np.flatnonzero(begins)
    sizes = np.diff(starts, append=order.size)
    level = ordered.ravel()
    means = np.add.reduceat(level, starts) / sizes
    reach = level[starts + sizes - 1] - level[starts]
    good = (sizes >= _LEAST) & (means >= limit) & (reach <= 2 * limit)
    for start, size, radius in zip(starts[good], sizes[good], means[good], strict=True):
        centre = int(start) // len(places)
        rows = order.ravel()[start : start + size]
        angles = np.arctan2(away[centre, rows, 1], away[centre, rows, 0])
        turn = np.argsort(angles, kind="stable")
        circle = (centres[centre], float(radius))
        for ring in _even(rows[turn], angles[turn], circle, limit):
            yield ring, bool(is_known[centre])


def _even(
    rows: NDArray[np.int64],
    angles: NDArray[np.float64],
    circle: tuple[NDArray[np.float64], float],
    limit: float,
) -> list[Ring]:
    """Return the ring of ascending angles, if they are even but for one that is missing."""
    centre, radius = circle
    gaps = np.append(angles[1:], angles[0] + 2 * np.pi) - angles
    widest = int(np.argmax(gaps))
    for missing in (0, 1):
        pitch = 2 * np.pi / (len(rows) + missing)
        off = np.abs(gaps - pitch)
        off[widest] = abs(gaps[widest] - (pitch + missing * pitch))
        if off.max() * radius > 2 * limit:
            continue
        at = angles[widest] + pitch
        empty = centre + radius * np.array([[np.cos(at), np.sin(at)]])
        return [Ring(rows=rows, size=2 * radius, empty=empty[:missing])]
    return []
