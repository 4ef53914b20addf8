"""Whether two triangles cross, decided without rounding.

Source: none but arithmetic. Coordinates are whole multiples of a power of two, so that
Python's integers hold them, and every sign below is the sign of an integer. Two triangles
in different planes meet, if at all, along the line that both planes share; each covers a
stretch of it (T. Möller, J. Graphics Tools 2 (1997) 25-30), and the ends of the stretches
are compared as fractions.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from meshcomp.meshes import Mesh

__all__ = ["Verdict", "pairs_at", "verdict", "verdicts"]

Verdict = Literal["apart", "touch", "cross", "overlap", "no area"]
Point = tuple[int, int, int]


def verdicts(mesh: Mesh, pairs: NDArray[np.int64]) -> list[Verdict]:
    """Decide on pairs of faces, (k, 2), of a mesh; corners that they share are no contact.

    Examples
    --------
    >>> flat = [(0, 0, 0), (4, 0, 0), (0, 4, 0)]
    >>> upright = [(1, 1, -1), (1, 1, 1), (2, 1, 1)]
    >>> both = Mesh(flat + upright, [(0, 1, 2), (3, 4, 5)])
    >>> verdicts(both, np.array([(0, 1)]))
    ['cross']
    """
    points = whole_numbers(mesh.vertices)
    faces = mesh.faces.tolist()
    return [
        verdict(
            [points[v] for v in faces[a]],
            [points[v] for v in faces[b]],
            shared=len(set(faces[a]) & set(faces[b])),
        )
        for a, b in pairs.tolist()
    ]


def whole_numbers(coordinates: NDArray[np.float64]) -> list[Point]:
    """Coordinates by one power of two, (n, 3), as integers: nothing is rounded."""
    mantissa, exponent = np.frexp(coordinates)
    digits = (mantissa * 2.0**53).astype(np.int64)
    least = int(exponent[digits != 0].min()) if digits.any() else 0
    rows = zip(digits.tolist(), (exponent - least).tolist(), strict=True)
    return [
        tuple(m << e if m else 0 for m, e in zip(*row, strict=True))  # type: ignore[misc]
        for row in rows
    ]


def verdict(a: list[Point], b: list[Point], shared: int = 0) -> Verdict:
    """Decide on two triangles that have `shared` corners in common, none or one.

    `cross`: points within each lie on both sides of the other. `touch`: they have points
    in common, beside the shared corner, but at the border of one. `overlap`: they lie in
    one plane and have an area in common.
    """
    normals = [_cross(_minus(t[1], t[0]), _minus(t[2], t[0])) for t in (a, b)]
    if any(normal == (0, 0, 0) for normal in normals):
        return "no area"
    over_a = [_dot(normals[0], _minus(p, a[0])) for p in b]
    over_b = [_dot(normals[1], _minus(p, b[0])) for p in a]
    if not any(over_a):
        return "overlap" if _overlap(a, b, normals[0]) else "apart"
    if any(min(over) > 0 or max(over) < 0 for over in (over_a, over_b)):
        return "apart"
    line = _cross(*normals)
    axis = max(range(3), key=lambda k: abs(line[k]))
    ends = (_stretch(a, over_b, axis), _stretch(b, over_a, axis))
    low, high = max(e[0] for e in ends), min(e[1] for e in ends)
    if low > high or (low == high and shared):
        return "apart"
    both_sides = all(min(over) < 0 < max(over) for over in (over_a, over_b))
    return "cross" if both_sides and low < high else "touch"


def pairs_at(mesh: Mesh, marked: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Pairs of a marked face and any other whose boxes meet, but for those with an edge.

    By scipy's tree of the boxes' middles, with the longest box as radius.
    """
    corners = mesh.corners
    low, high = corners.min(axis=1), corners.max(axis=1)
    middles, reach = (low + high) / 2, np.linalg.norm(high - low, axis=1) / 2
    rows = np.flatnonzero(marked)
    near = cKDTree(middles).query_ball_point(middles[rows], reach[rows] + reach.max())
    found = []
    for row, others in zip(rows.tolist(), near, strict=True):
        meets = ((low[others] <= high[row]) & (high[others] >= low[row])).all(axis=1)
        other = np.array(others)[meets]
        common = np.isin(mesh.faces[other], mesh.faces[row]).sum(axis=1)
        found += [(min(row, k), max(row, k)) for k in other[common < 2].tolist()]
    return np.array(sorted(set(found)), dtype=np.int64).reshape(-1, 2)


def _minus(p: Point, q: Point) -> Point:
    return p[0] - q[0], p[1] - q[1], p[2] - q[2]


def _dot(p: Point, q: Point) -> int:
    return p[0] * q[0] + p[1] * q[1] + p[2] * q[2]


def _cross(p: Point, q: Point) -> Point:
    return (
        p[1] * q[2] - p[2] * q[1],
        p[2] * q[0] - p[0] * q[2],
        p[0] * q[1] - p[1] * q[0],
    )


def _stretch(
    triangle: list[Point], over: list[int], axis: int
) -> tuple[Fraction, Fraction]:
    """Where a triangle meets the other's plane, along an axis, from and to."""
    at = [Fraction(p[axis]) for p, h in zip(triangle, over, strict=True) if h == 0]
    for i in range(3):
        j = (i + 1) % 3
        if over[i] * over[j] < 0:
            share = Fraction(over[i], over[i] - over[j])
            at.append(triangle[i][axis] + share * (triangle[j][axis] - triangle[i][axis]))
    return min(at), max(at)


def _overlap(a: list[Point], b: list[Point], normal: Point) -> bool:
    """Whether triangles in one plane have an area in common: no side parts them."""
    gone = max(range(3), key=lambda k: abs(normal[k]))
    x, y = (k for k in range(3) if k != gone)
    flat = [[(p[x], p[y]) for p in t] for t in (a, b)]
    flat = [t if _turn(*t) > 0 else t[::-1] for t in flat]
    for one, other in (flat, flat[::-1]):
        for k in range(3):
            if all(_turn(one[k], one[(k + 1) % 3], p) <= 0 for p in other):
                return False
    return True


def _turn(p: tuple[int, int], q: tuple[int, int], r: tuple[int, int]) -> int:
    """Twice the area of a plane triangle, positive counter-clockwise."""
    return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
