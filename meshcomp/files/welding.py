"""Joining the corners of triangles that are the same point.

Corners are first joined where their coordinates are equal to the last bit. Only if that
leaves edges open are the points on those edges joined within 1e-8 of the diagonal: some
programs write a zero now as 0 and now as 1e-15.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Welded", "weld"]

_NEAR_LIMIT = 1e-8  # of the diagonal of the box


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
    points = points + 0.0  # -0.0 becomes 0.0
    leaders = _equal_leaders(points)
    joined = leaders[faces]
    if _is_balanced(joined, len(points)):
        return _compact(points, joined, is_closed=True)
    leaders = _near_leaders(points, joined)
    joined = leaders[joined]
    return _compact(points, joined, is_closed=_is_balanced(joined, len(points)))


def _equal_leaders(points: NDArray[np.float64]) -> NDArray[np.int64]:
    """For each point, the index of the first point of equal coordinates."""
    if len(points) == 0:
        return np.zeros(0, np.int64)
    words = np.ascontiguousarray(points).view(np.uint64)
    leaders = _leaders_of_hashes(_hashes(words))
    # Two points of one hash are next to impossible, but looking costs little.
    if np.array_equal(words[leaders], words):
        return leaders
    _, first, group = np.unique(words, axis=0, return_index=True, return_inverse=True)
    return np.asarray(first[group.reshape(-1)], np.int64)


def _hashes(words: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Mix the three 64-bit words of each row into one."""
    # Odd multipliers with many set bits; shifting brings high bits back down.
    mixed = words[:, 0] * np.uint64(0x9E3779B97F4A7C15)
    mixed ^= mixed >> np.uint64(32)
    mixed += words[:, 1]
    mixed *= np.uint64(0xC2B2AE3D27D4EB4F)
    mixed ^= mixed >> np.uint64(29)
    mixed += words[:, 2]
    mixed *= np.uint64(0x165667B19E3779F9)
    mixed ^= mixed >> np.uint64(32)
    return mixed


def _leaders_of_hashes(hashes: NDArray[np.uint64]) -> NDArray[np.int64]:
    """For each hash, the first index at which it stands."""
    # Sorting numbers is four times as quick as sorting indices by numbers, so the low
    # bits of the hash make room for the index.
    bits = np.uint64((len(hashes) - 1).bit_length())
    keys = (hashes >> bits << bits) | np.arange(len(hashes), dtype=np.uint64)
    keys.sort()
    order = (keys & ((np.uint64(1) << bits) - np.uint64(1))).astype(np.int64)
    keys >>= bits
    is_new = np.ones(len(keys), dtype=bool)
    is_new[1:] = keys[1:] != keys[:-1]
    leaders = np.zeros(len(keys), np.int64)
    leaders[order] = order[is_new][np.cumsum(is_new) - 1]
    return leaders


def _is_balanced(faces: NDArray[np.int64], count: int) -> bool:
    """Whether every edge is run through as often one way as the other.

    The sum of r_a s_b - s_a r_b over all half-edges a -> b, modulo 2**64, is zero for
    such a mesh; for any other, with random r and s, as good as never.
    """
    numbers = np.random.default_rng(0).integers(0, 2**64, (2, count), np.uint64)
    first, second = numbers[0][faces], numbers[1][faces]
    total = np.uint64(0)
    for k in range(3):
        n = (k + 1) % 3
        terms = first[:, k] * second[:, n] - second[:, k] * first[:, n]
        total = np.add.reduce(terms, initial=total)
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


def _compact(
    points: NDArray[np.float64], faces: NDArray[np.int64], *, is_closed: bool
) -> Welded:
    """Drop triangles with equal corners and unused points; order points by first use."""
    a, b, c = faces.T
    kept = np.flatnonzero((a != b) & (b != c) & (c != a))
    if len(kept) < len(faces):
        faces = faces[kept]
    flat = faces.reshape(-1)
    # Assigning backwards leaves the first use of each point.
    first = np.full(len(points), -1, np.int64)
    first[flat[::-1]] = np.arange(len(flat) - 1, -1, -1)
    is_first = np.zeros(len(flat), dtype=bool)
    is_first[first[first >= 0]] = True
    rank = np.cumsum(is_first) - 1
    return Welded(
        points=points[flat[is_first]],
        faces=rank[first[flat]].reshape(-1, 3),
        kept=kept,
        is_closed=is_closed,
    )
