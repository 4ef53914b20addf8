"""Arrays of numbers: pieces and runs of them, which are in others, what lies in the middle.

Of few numbers, numpy's general ways take much longer than what is needed of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "are_in",
    "different",
    "distinct",
    "hashes_of_points",
    "hashes_of_rows",
    "median",
    "medians",
    "pieces",
    "quantile",
    "rows_of",
    "runs",
]

_Number = TypeVar("_Number", np.int64, np.float64)

_AT_ONCE = 1 << 15  # rows: what is worked on stays near the processor
_MULTIPLIERS = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)
_MANY = 50  # numbers to one of these: ticking off is quicker than sorting


def pieces(count: int) -> Iterator[slice]:
    """Yield the rows of a long array some at a time: temporary arrays stay small.

    Examples
    --------
    >>> [(rows.start, rows.stop) for rows in pieces(50_000)]
    [(0, 32768), (32768, 50000)]
    """
    for start in range(0, count, _AT_ONCE):
        yield slice(start, min(start + _AT_ONCE, count))


def are_in(numbers: NDArray[Any], ordered: NDArray[Any]) -> NDArray[np.bool_]:
    """Whether each of some numbers is one of one or more ascending ones.

    Examples
    --------
    >>> are_in(np.array([4, 1, 9]), np.array([1, 3, 4])).tolist()
    [True, True, False]
    """
    place = np.minimum(np.searchsorted(ordered, numbers), len(ordered) - 1)
    return np.asarray(ordered[place] == numbers)


def different(numbers: NDArray[_Number]) -> NDArray[_Number]:
    """Different ones of some numbers, ascending: of few, quicker than `numpy.unique`.

    Examples
    --------
    >>> different(np.array([0.5, 2.0, 0.5])).tolist()
    [0.5, 2.0]
    """
    ordered = np.sort(numbers, kind="stable")  # quick where half in order
    return ordered[runs(ordered)[0]]


def distinct(numbers: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """Different ones of some numbers from 0 to count - 1, (k,), ascending.

    Examples
    --------
    >>> distinct(np.array([[4, 2], [2, 0]]), 5).tolist()
    [0, 2, 4]
    """
    if numbers.size > count // _MANY:
        seen = np.zeros(count, dtype=bool)
        seen[numbers.ravel()] = True
        return np.flatnonzero(seen)
    return different(numbers.ravel())


def runs(ordered: NDArray[Any]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Where runs of equal numbers begin among ordered ones, (k,), and their lengths.

    Examples
    --------
    >>> starts, counts = runs(np.array([2, 2, 5, 7, 7, 7]))
    >>> starts.tolist(), counts.tolist()
    ([0, 2, 3], [2, 1, 3])
    """
    is_border = np.ones(len(ordered) + 1, dtype=bool)
    np.not_equal(ordered[1:], ordered[:-1], out=is_border[1:-1])
    borders = np.flatnonzero(is_border)
    return borders[:-1], borders[1:] - borders[:-1]


def rows_of(labels: NDArray[np.int64], count: int) -> list[NDArray[np.int64]]:
    """Rows that have each of the labels from 0 to count - 1, ascending.

    Examples
    --------
    >>> [rows.tolist() for rows in rows_of(np.array([1, 0, -1, 1]), 2)]
    [[1], [0, 3]]
    """
    order = np.argsort(labels, kind="stable")
    ends = np.searchsorted(labels[order], np.arange(count + 1))
    return [order[ends[i] : ends[i + 1]] for i in range(count)]


def hashes_of_rows(words: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Mix the 64-bit words of each row, (n, k), into one, (n,)."""
    # Odd multipliers with many set bits; shifting brings high bits back down.
    mixed = np.zeros(len(words), dtype=np.uint64)
    for k, column in enumerate(words.T):
        mixed += column
        mixed *= np.uint64(_MULTIPLIERS[k % len(_MULTIPLIERS)])
        mixed ^= mixed >> np.uint64(32 - 3 * (k % 2))
    return mixed


def hashes_of_points(points: NDArray[np.float64]) -> NDArray[np.uint64]:
    """Give points, (n, 3), that are the same to the last bit one number, (n,)."""
    return hashes_of_rows((points + 0.0).view(np.uint64))  # -0.0 is 0.0


def median(numbers: NDArray[np.float64]) -> float:
    """Median of one or more finite numbers, (k,); of few, quicker than `numpy.median`."""
    ordered, count = np.sort(numbers), len(numbers)
    return float(ordered[(count - 1) // 2] + ordered[count // 2]) / 2


def medians(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Median of each column of one or more rows, (n, k) to (k,): quicker for few.

    Examples
    --------
    >>> medians(np.array([(1.0, -0.0), (5.0, -0.0), (2.0, -0.0)])).tolist()
    [2.0, 0.0]
    """
    ordered, count = np.sort(rows, axis=0), len(rows)
    middle = (ordered[(count - 1) // 2] + ordered[count // 2]) / 2
    return np.asarray(middle + 0.0)  # no zero below zero, as `numpy.median` has none


def quantile(numbers: NDArray[np.float64], share: float) -> float:
    """Return what a share of some finite numbers lie below, by straight lines.

    Examples
    --------
    >>> values = np.array([4.0, 1.0, 2.0, 9.0])
    >>> quantile(values, 0.9) == float(np.quantile(values, 0.9)), median(values)
    (True, 3.0)
    """
    ordered = np.sort(numbers)
    below, rest = divmod(share * (len(ordered) - 1), 1)
    low = float(ordered[int(below)])
    return low + rest * (float(ordered[min(int(below) + 1, len(ordered) - 1)]) - low)
