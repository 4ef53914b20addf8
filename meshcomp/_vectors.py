"""Rows of coordinates: helpers that keep formulas readable."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "all_of",
    "along",
    "angle_between",
    "any_of",
    "bases_across",
    "basis_across",
    "cross",
    "dot",
    "highest",
    "lengths",
    "lowest",
    "ring_area",
    "turned",
    "unit",
]


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
