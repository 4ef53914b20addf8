"""Array helpers that keep formulas readable."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["angle_between", "basis_across", "dot", "highest", "lowest", "unit"]


def unit(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Scale vectors, (..., k) float, to length one; zero vectors stay zero."""
    lengths = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.asarray(vectors / np.where(lengths > 0, lengths, 1.0))


def dot(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    """Row by row scalar product of (..., k) arrays."""
    return np.asarray(np.einsum("...i,...i->...", a, b))


def lowest(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Least of each row of three, (n, 3) to (n,): much quicker than `min` along an axis."""
    return np.asarray(np.minimum(np.minimum(rows[:, 0], rows[:, 1]), rows[:, 2]))


def highest(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Largest of each row of three, (n, 3) to (n,)."""
    return np.asarray(np.maximum(np.maximum(rows[:, 0], rows[:, 1]), rows[:, 2]))


def angle_between(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    """Angle between two lines along (3,) vectors, 0 to 90 degrees."""
    cosine = abs(float(a @ b)) / float(np.linalg.norm(a) * np.linalg.norm(b))
    return float(np.degrees(np.arccos(min(cosine, 1.0))))


def basis_across(direction: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return two unit vectors, (2, 3), that make a right-handed frame with `direction`.

    For an axis along a coordinate direction they are coordinate directions too, so
    projecting is exact.
    """
    helper = np.zeros(3)
    helper[(int(np.argmax(np.abs(direction))) + 1) % 3] = 1.0
    first = unit(helper - (helper @ direction) * direction)
    return np.array([first, np.cross(direction, first)])
