"""Perfect shapes associated to points by least squares (ISO 17450 association)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meshcomp.errors import AssociationError

__all__ = ["associate_circle"]

_STEPS = 30
_SINGULAR = 1e-28  # of a determinant, beside the squares of its matrix


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
    x, y = np.ascontiguousarray(local.T)
    centre = _algebraic_centre(local)
    for _ in range(_STEPS):
        step = _gauss_newton(x - centre[0], y - centre[1])
        centre = centre + step
        if np.abs(step).max() <= 1e-13 * (1 + np.abs(centre).max()):
            break
    radius = float(np.hypot(x - centre[0], y - centre[1]).mean())
    return origin + centre, 2 * radius


def _gauss_newton(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Step of a circle's centre at the origin, (2,), towards least squares of distances.

    The best radius about any centre is the mean distance, so that only the two
    coordinates are left; a step along which nothing changes is none.
    """
    distances = np.hypot(x, y)
    far = np.maximum(distances, 1e-300)
    u, v = x / far, y / far
    u, v, off = (values - values.sum() / len(x) for values in (u, v, distances))
    uu, uv, vv = u @ u, u @ v, v @ v
    determinant = uu * vv - uv * uv
    if determinant <= _SINGULAR * (uu + vv) ** 2:
        return np.zeros(2)
    right = u @ off, v @ off
    step = vv * right[0] - uv * right[1], uu * right[1] - uv * right[0]
    return np.asarray(np.array(step) / determinant)


def _algebraic_centre(local: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return x, y of the circle that is linear in |p|² = 2 c·p + (r² - |c|²)."""
    equations = np.column_stack([2 * local, np.ones(len(local))])
    squares = (local**2).sum(axis=1)
    (x, y, _), _, rank, _ = np.linalg.lstsq(equations, squares, rcond=None)
    if rank < 3:  # noqa: PLR2004
        raise AssociationError(f"{len(local)} points lie on one line")
    return np.array([x, y])
