"""Array helpers that keep formulas readable."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "all_of",
    "along",
    "angle_between",
    "any_of",
    "are_in",
    "bases_across",
    "basis_across",
    "cross",
    "different",
    "distinct",
    "dot",
    "hashes_of_rows",
    "highest",
    "lengths",
    "lowest",
    "median",
    "medians",
    "pieces",
    "quantile",
    "ring_area",
    "rows_of",
    "runs",
    "turned",
    "unit",
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


def unit(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Scale vectors, (..., k) float, to length one; zero vectors stay zero."""
    own = lengths(vectors)
    return np.asarray(vectors / np.where(own > 0, own, 1.0)[..., None])


def lengths(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Length of each of some vectors, (..., k) float of few columns, to (...).

    The same as `numpy.linalg.norm` to the last bit, and several times as quick.

    Examples
    --------
    >>> lengths(np.array([(3.0, 4.0), (0.0, 0.0)])).tolist()
    [5.0, 0.0]
    """
    squares = vectors[..., 0] * vectors[..., 0]
    for k in range(1, vectors.shape[-1]):
        squares = squares + vectors[..., k] * vectors[..., k]
    return np.asarray(np.sqrt(squares))


def dot(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    """Row by row scalar product of (..., k) arrays."""
    return np.asarray(np.einsum("...i,...i->...", a, b))


def cross(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    """Row by row vector product of (k, 3) arrays; of few, much quicker than `numpy.cross`.

    Examples
    --------
    >>> cross(np.array([(1.0, 0.0, 0.0)]), np.array([(0.0, 2.0, 0.0)])).tolist()
    [[0.0, 0.0, 2.0]]
    """
    (ax, ay, az), (bx, by, bz) = a.T, b.T
    return np.stack([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx], axis=1)


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


def lowest(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Least of each row of three, (n, 3) to (n,): much quicker than `min` along an axis."""
    return np.asarray(np.minimum(np.minimum(rows[:, 0], rows[:, 1]), rows[:, 2]))


def highest(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Largest of each row of three, (n, 3) to (n,)."""
    return np.asarray(np.maximum(np.maximum(rows[:, 0], rows[:, 1]), rows[:, 2]))


def any_of(rows: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Whether one of each row of three is true, (n, 3) to (n,): quicker than `any`."""
    return np.asarray(rows[:, 0] | rows[:, 1] | rows[:, 2])


def all_of(rows: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Whether all of each row of three are true, (n, 3) to (n,): quicker than `all`."""
    return np.asarray(rows[:, 0] & rows[:, 1] & rows[:, 2])


def along(
    points: NDArray[np.float64], direction: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Positions of points, (..., 3) float, along a direction, (...).

    For few columns much quicker than a product of matrices, and exact, to the last bit
    the coordinate itself, where the direction is that of a coordinate.
    """
    parts = [points[..., k] * share for k, share in enumerate(direction.tolist()) if share]
    if not parts:
        return np.zeros(points.shape[:-1])
    for part in parts[1:]:
        parts[0] += part
    return np.asarray(parts[0])


def hashes_of_rows(words: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Mix the 64-bit words of each row, (n, k), into one, (n,)."""
    # Odd multipliers with many set bits; shifting brings high bits back down.
    mixed = np.zeros(len(words), dtype=np.uint64)
    for k, column in enumerate(words.T):
        mixed += column
        mixed *= np.uint64(_MULTIPLIERS[k % len(_MULTIPLIERS)])
        mixed ^= mixed >> np.uint64(32 - 3 * (k % 2))
    return mixed


def ring_area(ring: NDArray[np.float64]) -> float:
    """Signed area inside a ring, (k, 2), by the shoelace formula: a hole's is < 0.

    Examples
    --------
    >>> ring_area(np.array([(7.0, 1.0), (9.0, 1.0), (9.0, 4.0)]))
    3.0
    """
    # About a point of its own, so that no digits are lost far from the origin.
    x, y = (ring - ring[0]).T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


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


def turned(points: NDArray[np.float64], rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Positions of points, (..., 3) float, along each of some unit rows, (..., k)."""
    columns = np.zeros((*points.shape[:-1], len(rows)))
    for k, row in enumerate(rows.tolist()):
        column = columns[..., k]
        first, *others = [(i, share) for i, share in enumerate(row) if share]
        np.multiply(points[..., first[0]], first[1], out=column)
        for i, share in others:
            column += points[..., i] * share
    return columns


def angle_between(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    """Angle between two lines along (3,) vectors, 0 to 90 degrees."""
    cosine = abs(float(a @ b)) / float(np.linalg.norm(a) * np.linalg.norm(b))
    return float(np.degrees(np.arccos(min(cosine, 1.0))))


def basis_across(direction: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return two unit vectors, (2, 3), that make a right-handed frame with `direction`.

    For an axis along a coordinate direction they are coordinate directions too, so
    projecting is exact.
    """
    x, y, z = way = direction.tolist()  # three numbers: arrays cost more than they save
    axis = (max(range(3), key=lambda k: abs(way[k])) + 1) % 3
    first = [float(k == axis) - way[axis] * share for k, share in enumerate(way)]
    length = math.sqrt(sum(share * share for share in first))
    u, v, w = (share / length for share in first)
    return np.array([[u, v, w], [y * w - z * v, z * u - x * w, x * v - y * u]])


def bases_across(directions: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the same as `basis_across` for many directions, (k, 3), as (k, 2, 3)."""
    rows = np.arange(len(directions))
    axes = (np.argmax(np.abs(directions), axis=1) + 1) % 3
    helpers = np.zeros_like(directions)
    helpers[rows, axes] = 1.0
    firsts = unit(helpers - directions[rows, axes][:, None] * directions)
    return np.stack([firsts, np.cross(directions, firsts)], axis=1)
