"""Perfect shapes associated to points by least squares (ISO 17450 association)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meshcomp.errors import AssociationError

__all__ = ["associate_circle"]

_STEPS = 30
_SETTLED = 1e-9  # of a step, beside the centre: the next would be its square
_ROOT = 1e-13  # the same, of a root
_ROUNDING = 1e-6  # the same: steps below it that do not shrink are rounding
_FARTHEST = 1e5  # a centre, beside the points' reach: the arc is lower than rounding
_SINGULAR = 1e-28  # of a determinant, beside the square of its trace
_ON_A_LINE = 1e-15  # the same, of the points' second moments


def associate_circle(points: ArrayLike) -> tuple[NDArray[np.float64], float]:
    """Find the least-squares circle of points in a plane.

    Minimises the sum of squared radial distances (the least-squares size of
    ISO 14405-1) by Newton steps from an algebraic circle.

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
    G. Taubin, "Estimation of planar curves, surfaces, and nonplanar space curves defined
    by implicit equations", IEEE Trans. Pattern Analysis 13 (1991) 1115-1138 (from memory).

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
    origin = points.sum(axis=0) / len(points)
    x, y = local = np.ascontiguousarray((points - origin).T)
    across, up = _algebraic_centre(x, y)
    last, farthest = np.inf, 1 + _FARTHEST * float(np.abs(local).max())
    for _ in range(_STEPS):
        right, above = _newton(x - across, y - up)
        across, up = across + right, up + above
        step, size = max(abs(right), abs(above)), 1 + max(abs(across), abs(up))
        if step <= _SETTLED * size or last / 2 < step < _ROUNDING * size:
            break
        if size > farthest:
            raise AssociationError(f"{len(points)} points lie on one line")
        last = step
    radius = float(np.hypot(x - across, y - up).sum()) / len(x)
    return origin + (across, up), 2 * radius


def _newton(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[float, float]:
    """Step of a circle's centre at the origin towards least squares of distances.

    The best radius about any centre is the mean distance, so that only the two
    coordinates are left. Where the sum of squares is not convex, distances count as
    linear in the centre (Gauss-Newton); a step along which nothing changes is none.
    """
    # Of few numbers, `dot` takes half the time of `@`.
    distances = np.hypot(x, y)
    inverse = 1 / np.maximum(distances, 1e-300)
    u, v = x * inverse, y * inverse
    count = len(x)
    off = distances - distances.sum() / count
    bend = off * inverse  # how the distances' own curvature weighs
    bent_u = bend * u
    uu, uv = float(bent_u.dot(u)), float(bent_u.dot(v))
    u, v = u - u.sum() / count, v - v.sum() / count
    linear = float(u.dot(u)), float(u.dot(v)), float(v.dot(v))
    curved = linear[0] + float(bend.sum()) - uu, linear[1] - uv, linear[2] + uu
    wanted = float(u.dot(off)), float(v.dot(off))
    return _solved(curved, wanted) or _solved(linear, wanted) or (0.0, 0.0)


def _solved(
    matrix: tuple[float, float, float], right: tuple[float, float]
) -> tuple[float, float] | None:
    """Solve a symmetric system in two unknowns; None unless it is positive definite."""
    uu, uv, vv = matrix
    determinant = uu * vv - uv * uv
    if uu + vv <= 0 or determinant <= _SINGULAR * (uu + vv) ** 2:
        return None
    x, y = vv * right[0] - uv * right[1], uu * right[1] - uv * right[0]
    return x / determinant, y / determinant


def _algebraic_centre(
    x: NDArray[np.float64], y: NDArray[np.float64]
) -> tuple[float, float]:
    """Return the centre of Taubin's circle, good to start from on short arcs too.

    The points' mean is the origin. With z = x² + y², the least root of a cubic in the
    moments of x, y, z takes away the bias of the circle that is linear in its unknowns.
    """
    z = x * x + y * y
    z -= (mean := float(z.sum()) / len(x))
    xx, xy, yy = (float(a.dot(b)) / len(x) for a, b in ((x, x), (x, y), (y, y)))
    xz, yz, zz = (float(a.dot(z)) / len(x) for a in (x, y, z))
    determinant = xx * yy - xy * xy
    if determinant <= _ON_A_LINE * mean * mean:
        raise AssociationError(f"{len(x)} points lie on one line")
    right = (xz / 2, yz / 2)
    constant = 4 * (yy * right[0] - xy * right[1]) * right[0]
    constant += 4 * (xx * right[1] - xy * right[0]) * right[1] - zz * determinant
    linear = (zz + 4 * determinant) * mean - xz * xz - yz * yz
    bias = _least_root(constant, linear, -4 * mean * mean - zz, 4 * mean)
    return _solved((xx - bias, xy, yy - bias), right) or (0.0, 0.0)


def _least_root(a: float, b: float, c: float, d: float) -> float:
    """Return the least root of a + b x + c x² + d x³, that Newton reaches from 0."""
    root = 0.0
    for _ in range(_STEPS):
        slope = b + root * (2 * c + root * 3 * d)
        if slope == 0:
            break
        step = (a + root * (b + root * (c + root * d))) / slope
        root -= step
        if abs(step) <= _ROOT * abs(root):
            break
    return root
