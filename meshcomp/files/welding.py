"""Joining the corners of triangles that are the same point.

Corners are first joined where their coordinates are equal to the last bit. Only if that
leaves edges open are the points on those edges joined within 1e-8 of the diagonal: some
programs write a zero now as 0 and now as 1e-15.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import hashes_of_rows, pieces

__all__ = ["Welded", "weld"]

_Whole = NDArray[np.signedinteger[Any]]

_NEAR_LIMIT = 1e-8  # of the diagonal of the box
_MOST_SHORT = 1 << 31
_SHIFTS = (0, 17, 34, 8, 25)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Welded:
    """Triangles on shared points.

    `kept` numbers the triangles given that are still there: those with two equal
    corners are dropped. `is_closed` says whether every edge is run through as often one
    way as the other.
    """

    points: NDArray[np.float64]  # (n, 3), each used, in the order of first use
    faces: NDArray[np.int64]  # (m, 3)
    kept: NDArray[np.int64]  # (m,)
    is_closed: bool


def weld(points: NDArray[np.float64], faces: NDArray[np.int64]) -> Welded:
    """Join equal points of triangles, and nearly equal ones where that leaves gaps.

    Parameters
    ----------
    points : (n, 3) float
        Finite coordinates in any unit; -0.0 counts as 0.0.
    faces : (m, 3) int
        Indices into `points`.

    Examples
    --------
    >>> corners = np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0)] * 2, dtype=float)
    >>> there_and_back = weld(corners, np.array([(0, 1, 2), (5, 4, 3)]))
    >>> there_and_back.faces.tolist(), there_and_back.is_closed
    ([[0, 1, 2], [2, 1, 0]], True)
    """
    if any((np.signbit(rows) & (rows == 0)).any() for rows in _rows_of(points)):
        points = points + 0.0  # -0.0 becomes 0.0
    leaders = _equal_leaders(points)
    joined = np.take(leaders, faces)
    welded = _compact(points, joined)
    if welded.is_closed:
        return welded
    leaders = _near_leaders(points, joined.astype(np.int64))
    return _compact(points, leaders[joined])


def _rows_of(points: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    return (points[rows] for rows in pieces(len(points)))


def _equal_leaders(points: NDArray[np.float64]) -> _Whole:
    """For each point, the index of the first point of equal coordinates."""
    if len(points) == 0:
        return np.zeros(0, np.int64)
    words = np.ascontiguousarray(points).view(np.uint64)
    hashes = np.concatenate([hashes_of_rows(words[rows]) for rows in pieces(len(words))])
    leaders = _leaders_of_hashes(hashes)
    # Two points of one hash are next to impossible, but looking costs little.
    if all(
        np.array_equal(np.take(words, leaders[rows], axis=0), words[rows])
        for rows in pieces(len(words))
    ):
        return leaders
    _, first, group = np.unique(words, axis=0, return_index=True, return_inverse=True)
    return np.asarray(first[group.reshape(-1)], np.int64)


def _leaders_of_hashes(hashes: NDArray[np.uint64]) -> _Whole:
    """For each hash, the first index at which it stands."""
    # Every hash is written into the slot of a table that some of its bits name, the last
    # ones first, so that the first stays; those that find another hash in their slot try
    # once more by other bits. Twice as quick as sorting.
    bits = max((len(hashes) - 1).bit_length(), 1)
    mask = np.uint64((1 << bits) - 1)
    left, mine = _counted(len(hashes)), hashes
    leaders: _Whole = np.zeros_like(left)
    for shift in _SHIFTS:
        slots = (mine >> np.uint64(shift) & mask).astype(np.int64)
        table = np.zeros(1 << bits, left.dtype)
        table[slots[::-1]] = left[::-1]
        found = table[slots]
        del slots, table
        is_same = hashes[found] == mine
        if len(left) == len(hashes):
            leaders = found  # of the others, overwritten below
        else:
            leaders[left[is_same]] = found[is_same]
        left = left[~is_same]
        if len(left) == 0:
            return leaders
        mine = hashes[left]
    _, first, group = np.unique(mine, return_index=True, return_inverse=True)
    leaders[left] = left[first[group]]
    return leaders


def _is_balanced(faces: NDArray[np.int64], count: int) -> bool:
    """Whether every edge is run through as often one way as the other.

    The sum of r_a s_b - s_a r_b over all half-edges a -> b, modulo 2**64, is zero for
    such a mesh; for any other, with random r and s, as good as never.
    """
    numbers = np.random.default_rng(0).integers(0, 2**64, (2, count), np.uint64)
    total = np.uint64(0)
    for rows in pieces(len(faces)):
        first, second = (np.take(row, faces[rows].T) for row in numbers)
        terms = first * np.roll(second, -1, axis=0) - second * np.roll(first, -1, axis=0)
        total = np.add.reduce(terms, axis=None, initial=total)
    return bool(total == 0)


def _near_leaders(
    points: NDArray[np.float64], faces: NDArray[np.int64]
) -> NDArray[np.int64]:
    """For each point, the first point on an open edge that is nearly the same."""
    leaders = np.arange(len(points))
    loose = _points_of_open_edges(faces, len(points))
    if len(loose) == 0:
        return leaders
    used = points[faces.reshape(-1)]
    limit = _NEAR_LIMIT * float(np.linalg.norm(used.max(axis=0) - used.min(axis=0)))
    # Points are the same where all three coordinates are: no search for neighbours, so
    # no file can make it slow.
    steps = np.stack([_runs(column, limit) for column in points[loose].T], axis=1)
    _, first, group = np.unique(steps, axis=0, return_index=True, return_inverse=True)
    leaders[loose] = loose[first[group.reshape(-1)]]
    return leaders


def _runs(values: NDArray[np.float64], limit: float) -> NDArray[np.int64]:
    """Give values linked by steps up to the limit the same number."""
    order = np.argsort(values, kind="stable")
    numbers = np.zeros(len(values), np.int64)
    numbers[order[1:]] = np.cumsum(np.diff(values[order]) > limit)
    return numbers


def _points_of_open_edges(faces: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """Find the ends of edges not run through as often both ways, in rising order."""
    starts = faces.reshape(-1)
    ends = np.roll(faces, -1, axis=1).reshape(-1)
    # A triangle with two equal corners has an edge of no length: sign 0, never open.
    signs = np.sign(ends - starts)
    keys = np.minimum(starts, ends) * count + np.maximum(starts, ends)
    order = np.argsort(keys)
    keys = keys[order]
    begins = np.flatnonzero(np.diff(keys, prepend=-1))
    balance = np.add.reduceat(signs[order], begins)
    open_keys = keys[begins[balance != 0]]
    return np.union1d(open_keys // count, open_keys % count)


def _compact(points: NDArray[np.float64], faces: _Whole) -> Welded:
    """Drop triangles with equal corners and unused points; order points by first use."""
    a, b, c = faces.T
    is_whole = (a != b) & (b != c) & (c != a)
    kept = np.flatnonzero(is_whole)
    if len(kept) < len(faces):
        faces = faces[kept]
    flat = faces.reshape(-1)
    # Assigning backwards leaves the first use of each point.
    places = _counted(len(flat))
    first = np.full(len(points), -1, places.dtype)
    first[flat[::-1]] = places[::-1]
    leader = first[flat]
    is_first = leader == places
    del first, places
    rank = np.cumsum(is_first) - 1
    used = np.take(points, flat[is_first], axis=0)
    joined = np.take(rank, leader).reshape(-1, 3)
    del flat, leader, rank
    return Welded(
        points=used, faces=joined, kept=kept, is_closed=_is_balanced(joined, len(used))
    )


def _counted(count: int) -> _Whole:
    """Whole numbers from 0 on, in half the memory where 32 bits hold them."""
    return np.arange(count, dtype=np.int32 if count < _MOST_SHORT else np.int64)
