"""Pairs of triangles that lie near each other, by a tree of their bounding boxes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import NotASolidError

__all__ = ["overlapping_boxes", "overlapping_chunks"]

_MOST_PAIRS = 40_000_000  # a mesh of a million triangles has a fifth of it
_LEVELS = 3  # so many times as many are seen on the way down
_BITS = 30  # of the place on the curve
# Ten bits with two free places after each: how far to shift, and what is kept.
_SPREADING = ((16, 0x030000FF), (8, 0x0300F00F), (4, 0x030C30C3), (2, 0x09249249))
_AT_ONCE = 400_000  # pairs descended together
_WAYS = ((0, 0), (0, 1), (1, 1), (1, 0))  # of two boxes, which child with which


def overlapping_boxes(
    corners: NDArray[np.float64], marked: NDArray[np.bool_], *others: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Find pairs of triangles whose bounding boxes overlap.

    A binary tree of boxes, in the order of a curve that fills space, is descended from
    the root by pairs, a level at a time.

    Parameters
    ----------
    corners : (m, c, 3) float
        Points that the box of each triangle encloses, such as its corners, mm.
    marked : (m,) bool
        Only pairs of which at least one is marked are looked for.
    *others : (m,) bool
        The same for further marks: a pair has at least one of each.

    Returns
    -------
    pairs : (k, 2) int
        Each pair once.

    Raises
    ------
    NotASolidError
        If there are so many that no memory would hold them.
    """
    return np.concatenate(
        [np.zeros((0, 2), dtype=np.int64), *overlapping_chunks(corners, marked, *others)]
    )


def overlapping_chunks(
    corners: NDArray[np.float64],
    marked: NDArray[np.bool_],
    *others: NDArray[np.bool_],
    groups: NDArray[np.int64] | None = None,
    deep: bool = False,
) -> Iterator[NDArray[np.int64]]:
    """Find pairs as `overlapping_boxes` does, some at a time: that bounds the memory.

    Parameters
    ----------
    corners, marked, *others
        As for `overlapping_boxes`.
    groups : (m,) int, optional
        Not below zero; pairs within a group are left out, a whole branch of the tree at a
        time.
    deep : bool, optional
        Leave out pairs of which the boxes merely touch: what crosses has more in common,
        since a plane that two triangles touch from either side holds no inner point of
        one, unless both lie in it.

    Yields
    ------
    pairs : (k, 2) int
        Each pair once, in all of them.
    """
    if len(corners) == 0:
        return
    low, high = corners[:, 0].copy(), corners[:, 0].copy()
    for k in range(1, corners.shape[1]):
        np.minimum(low, corners[:, k], out=low)
        np.maximum(high, corners[:, k], out=high)
    flags = marked.astype(np.uint8)
    for bit, mark in enumerate(others, 1):
        flags |= mark.astype(np.uint8) << np.uint8(bit)
    wanted = (1 << (len(others) + 1)) - 1
    if groups is None:
        groups = np.arange(len(corners))
    order = np.argsort(_by_group((low + high) / 2, groups), kind="stable")
    levels = _tree(low[order].T, high[order].T, flags[order], groups[order])
    del corners, low, high, flags  # not needed while pairs are looked at
    below = np.less if deep else np.less_equal
    root = np.zeros(1 if levels[-1][2][0] == wanted else 0, dtype=np.int64)
    seen = found = 0
    waiting = [(len(levels) - 1, root, root)]
    while waiting:
        depth, first, second = waiting.pop()
        if depth == 0:
            found += len(first)
            apart = first != second  # the only face of a mesh is its own root
            yield np.column_stack([order[first[apart]], order[second[apart]]])
            continue
        first, second = _children(levels[depth - 1], first, second, wanted, below)
        seen += len(first)
        _refuse_crowds(max(found, seen // _LEVELS))
        pieces = len(first) // _AT_ONCE + 1
        halves = zip(
            np.array_split(first, pieces), np.array_split(second, pieces), strict=True
        )
        waiting += [(depth - 1, a, b) for a, b in halves]


def _refuse_crowds(pairs: int) -> None:
    if pairs > _MOST_PAIRS:
        raise NotASolidError(
            f"more than {_MOST_PAIRS // 10**6} million pairs of faces or bodies lie in "
            "each other's boxes, so that crossings cannot be looked for: save the part "
            "with fewer triangles, or its bodies apart"
        )


def _along_a_curve(points: NDArray[np.float64]) -> NDArray[np.int64]:
    """Interleave the bits of scaled coordinates, so that near points come together."""
    axes = np.ascontiguousarray(points.T)
    low = axes.min(axis=1, keepdims=True)
    scale = 1023 / max(float((axes.max(axis=1, keepdims=True) - low).max()), 1e-12)
    spread = ((axes - low) * scale).astype(np.int64)
    for shift, mask in _SPREADING:
        spread = (spread | spread << shift) & mask
    return np.asarray(spread[0] | spread[1] << 1 | spread[2] << 2)


def _by_group(points: NDArray[np.float64], groups: NDArray[np.int64]) -> NDArray[np.int64]:
    """Keys to sort by: groups along a curve that fills space, and so within each."""
    sizes = np.bincount(groups)
    if sizes.max(initial=0) <= 1:  # each face a group of its own
        return _along_a_curve(points)
    used = np.flatnonzero(sizes)
    sums = np.stack([np.bincount(groups, axis)[used] for axis in points.T], axis=1)
    rank = np.zeros(len(sizes), dtype=np.int64)
    ranked = np.argsort(_along_a_curve(sums / sizes[used][:, None]), kind="stable")
    rank[used[ranked]] = np.arange(len(used))
    return (rank[groups] << _BITS) | _along_a_curve(points)


_Level = tuple[
    NDArray[np.float32], NDArray[np.float32], NDArray[np.uint8], NDArray[np.int32]
]


def _children(
    level: _Level,
    first: NDArray[np.int64],
    second: NDArray[np.int64],
    wanted: int,
    below: np.ufunc,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs of children that overlap, of pairs that do."""
    lows, highs, flags, groups = level
    # Of each pair the children of the first with those of the second: (2, 2, p).
    near = (_both(flags, first)[:, None] | _both(flags, second)) == wanted
    near[1, 0] &= first != second  # of a box with itself this is a pair known already
    group = _both(groups, first)[:, None]
    near &= (group != _both(groups, second)) | (group < 0)
    for low, high in zip(lows, highs, strict=True):
        near &= below(_both(low, first)[:, None], _both(high, second))
        near &= below(_both(low, second), _both(high, first)[:, None])
    found = [(np.flatnonzero(near[way]), way) for way in _WAYS]
    return (
        np.concatenate([2 * first.take(rows) + left for rows, (left, _) in found]),
        np.concatenate([2 * second.take(rows) + right for rows, (_, right) in found]),
    )


def _both(values: NDArray[Any], parents: NDArray[np.int64]) -> NDArray[Any]:
    """Values of both children of each parent, (2, p): fetched as one number twice as wide.

    To fetch is what takes the time here, and `take` fetches numbers much quicker than rows.
    """
    wide = values.view(np.dtype(f"u{2 * values.itemsize}")).take(parents)
    return np.ascontiguousarray(wide.view(values.dtype).reshape(-1, 2).T)


def _tree(
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    marks: NDArray[np.uint8],
    of_leaf: NDArray[np.int64],
) -> list[_Level]:
    """Boxes of the leaves, (3, n), of pairs of them, and so on up to the root."""
    count = len(marks)
    size = 1 << max(int(np.ceil(np.log2(max(count, 1)))), 0)
    lows = np.full((3, size), np.inf, dtype=np.float32)
    highs = np.full((3, size), -np.inf, dtype=np.float32)
    flags = np.zeros(size, dtype=np.uint8)
    # 32 bits take half the time; boxes that grow by their rounding lose no pair.
    lows[:, :count] = _rounded(low, -np.inf)
    highs[:, :count] = _rounded(high, np.inf)
    flags[:count] = marks
    groups = np.full(size, -1, dtype=np.int32)
    groups[:count] = of_leaf
    levels = [(lows, highs, flags, groups)]
    while len(flags) > 1:
        lows = np.minimum(lows[:, ::2], lows[:, 1::2])
        highs = np.maximum(highs[:, ::2], highs[:, 1::2])
        flags = flags[::2] | flags[1::2]
        groups = np.where(
            groups[::2] == groups[1::2], groups[::2], np.int32(-1)
        )  # -1: several
        levels.append((lows, highs, flags, groups))
    return levels


def _rounded(values: NDArray[np.float64], towards: float) -> NDArray[np.float32]:
    """32-bit numbers, none farther from an infinity than its value."""
    short = values.astype(np.float32)
    inside = short > values if towards < 0 else short < values
    return np.where(inside, np.nextafter(short, np.float32(towards)), short)
