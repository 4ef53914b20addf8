"""Perfect shapes associated to points by least squares (ISO 17450 association)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meshcomp.errors import AssociationError

__all__ = ["associate_circle"]

_STEPS = 30


def associate_circle(points: ArrayLike) -> tuple[NDArray[np.float64], float]:
    """Find the least-squares circle of points in a plane.

    Minimises the sum of squared radial distances (the least-squares size of
    ISO 14405-1) by Gauss-Newton steps from the algebraic circle.

    Parameters
    ----------
    points : (n, 2) float
        Coordinates in mm, n >= 3.

    Returns
    -------
    centre : (2,) float
        In mm.
    diameter : float
        In mm.

    Raises
    ------
    AssociationError
        If fewer than 3 points are given, or they lie on one line.

    References
    ----------
    W. Gander, G. H. Golub, R. Strebel, "Least-squares fitting of circles and ellipses",
    BIT 34 (1994) 558-578.

    Examples
    --------
    >>> square = [(1, 0), (0, 1), (-1, 0), (0, -1)]
    >>> centre, diameter = associate_circle(square)
    >>> round(diameter, 9)
    2.0
    """
    points = np.asarray(points, dtype=np.float64)
    if len(points) < 3:  # noqa: PLR2004
        raise AssociationError(f"a circle needs 3 points, got {len(points)}")
    origin = points.mean(axis=0)
    local = points - origin
    circle = _algebraic_circle(local)
    for _ in range(_STEPS):
        across = local - circle[:2]
        distances = np.hypot(across[:, 0], across[:, 1])
        slopes = np.column_stack(
            [-across / np.maximum(distances, 1e-300)[:, None], -np.ones(len(local))]
        )
        step = np.linalg.lstsq(slopes, circle[2] - distances, rcond=None)[0]
        circle = circle + step
        if np.abs(step).max() <= 1e-13 * (1 + np.abs(circle).max()):
            break
    return origin + circle[:2], 2 * abs(float(circle[2]))


def _algebraic_circle(local: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return x, y, radius of the circle that is linear in |p|² = 2 c·p + (r² - |c|²)."""
    equations = np.column_stack([2 * local, np.ones(len(local))])
    squares = (local**2).sum(axis=1)
    (x, y, k), _, rank, _ = np.linalg.lstsq(equations, squares, rcond=None)
    if rank < 3:  # noqa: PLR2004
        raise AssociationError(f"{len(local)} points lie on one line")
    return np.array([x, y, np.sqrt(max(k + x * x + y * y, 0.0))])
