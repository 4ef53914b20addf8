"""Where upright and level planes pass through triangles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["in_common", "level_lines", "merged", "upright_lines"]

_SAME = 1e-4  # mm: stretches with a smaller gap are one


def _passes(
    corners: NDArray[np.float64], away: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Points at which triangles pass a plane, (k, 2, 3), and which triangles.

    `away`, (m, 3), is the signed distance of each corner from the plane.
    """
    above = away > 0
    count = above.sum(axis=1)
    rows = np.flatnonzero((count == 1) | (count == 2))  # noqa: PLR2004 - corners above
    # The corner that is alone on its side.
    lone = np.argmax(above[rows] == (count[rows] == 1)[:, None], axis=1)
    ends = []
    for step in (1, 2):
        other = (lone + step) % 3
        share = away[rows, lone] / (away[rows, lone] - away[rows, other])
        tip = corners[rows, lone]
        ends.append(tip + share[:, None] * (corners[rows, other] - tip))
    return np.stack(ends, axis=1), rows


def upright_lines(
    corners: NDArray[np.float64],
    point: NDArray[np.float64],
    along: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Cut triangles by the upright plane through a point, seen from the side.

    Parameters
    ----------
    corners : (m, 3, 3) float
        mm.
    point, along : (2,) float
        A point of the plane, and its unit direction.

    Returns
    -------
    lines : (k, 2, 2) float
        Ends of each line: position along the direction, and height.
    rows : (k,) int
        The triangle of each.
    """
    across = np.array([-along[1], along[0]])
    away = (corners[..., :2] - point) @ across
    ends, rows = _passes(corners, away)
    lines = np.stack([(ends[..., :2] - point) @ along, ends[..., 2]], axis=-1)
    return lines, rows


def level_lines(
    corners: NDArray[np.float64], height: float
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Cut triangles at a height: ends of each line, (k, 2, 2), and the triangle of each."""
    ends, rows = _passes(corners, corners[..., 2] - height)
    return ends[..., :2], rows


def merged(stretches: NDArray[np.float64]) -> NDArray[np.float64]:
    """Join stretches, (n, 2) from and to, that overlap or touch: (k, 2), rising."""
    if len(stretches) == 0:
        return np.zeros((0, 2))
    ordered = stretches[np.argsort(stretches[:, 0], kind="stable")]
    reach = np.maximum.accumulate(ordered[:, 1])
    begins = np.flatnonzero(np.append(True, ordered[1:, 0] > reach[:-1] + _SAME))
    return np.column_stack(
        [ordered[begins, 0], np.append(reach[begins[1:] - 1], reach[-1])]
    )


def in_common(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    """Stretches that two lists of them have in common, (k, 2)."""
    low = np.maximum(a[:, None, 0], b[:, 0]).ravel()
    high = np.minimum(a[:, None, 1], b[:, 1]).ravel()
    return np.column_stack([low, high])[high > low]
