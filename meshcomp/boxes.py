"""Pairs of triangles that lie near each other, by a tree of their bounding boxes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import NotASolidError

__all__ = ["overlapping_boxes"]

_MOST_PAIRS = 40_000_000  # at one level; a mesh of a million triangles has a fifth of it


def overlapping_boxes(
    corners: NDArray[np.float64], marked: NDArray[np.bool_]
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

    Returns
    -------
    pairs : (k, 2) int
        Each pair once.

    Raises
    ------
    NotASolidError
        If there are so many that no memory would hold them.
    """
    low, high = corners[:, 0].copy(), corners[:, 0].copy()
    for k in range(1, corners.shape[1]):
        np.minimum(low, corners[:, k], out=low)
        np.maximum(high, corners[:, k], out=high)
    order = np.argsort(_along_a_curve((low + high) / 2), kind="stable")
    levels = _tree(low[order].T, high[order].T, marked[order])
    first = second = np.zeros(1, dtype=np.int64)
    for lows, highs, flags in reversed(levels[:-1]):
        same = first == second
        a, b = 2 * first, 2 * second
        first = np.concatenate([a, a, a + 1, (a + 1)[~same]])
        second = np.concatenate([b, b + 1, b + 1, b[~same]])
        keep = flags[first] | flags[second]
        first, second = first[keep], second[keep]
        for low, high in zip(lows, highs, strict=True):  # an axis at a time: few are left
            keep = (low[first] <= high[second]) & (low[second] <= high[first])
            first, second = first[keep], second[keep]
        _refuse_crowds(len(first))
    apart = first != second
    return np.column_stack([order[first[apart]], order[second[apart]]])


def _refuse_crowds(pairs: int) -> None:
    if pairs > _MOST_PAIRS:
        raise NotASolidError(
            f"more than {_MOST_PAIRS // 10**6} million pairs of faces or bodies lie in "
            "each other's boxes, so that crossings cannot be looked for: save the part "
            "with fewer triangles, or its bodies apart"
        )


def _along_a_curve(points: NDArray[np.float64]) -> NDArray[np.int64]:
    """Interleave the bits of scaled coordinates, so that near points come together."""
    low = points.min(axis=0)
    scale = 1023 / max(float((points.max(axis=0) - low).max()), 1e-12)
    code = np.zeros(len(points), dtype=np.int64)
    for axis, values in enumerate(((points - low) * scale).astype(np.int64).T):
        for bit in range(10):
            code |= (values >> bit & 1) << (3 * bit + axis)
    return code


_Level = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]


def _tree(
    low: NDArray[np.float64], high: NDArray[np.float64], marked: NDArray[np.bool_]
) -> list[_Level]:
    """Boxes of the leaves, (3, n), of pairs of them, and so on up to the root."""
    count = len(marked)
    size = 1 << max(int(np.ceil(np.log2(max(count, 1)))), 0)
    lows, highs = np.full((3, size), np.inf), np.full((3, size), -np.inf)
    flags = np.zeros(size, dtype=bool)
    lows[:, :count], highs[:, :count], flags[:count] = low, high, marked
    levels = [(lows, highs, flags)]
    while len(flags) > 1:
        lows = np.minimum(lows[:, ::2], lows[:, 1::2])
        highs = np.maximum(highs[:, ::2], highs[:, 1::2])
        flags = flags[::2] | flags[1::2]
        levels.append((lows, highs, flags))
    return levels
