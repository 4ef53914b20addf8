"""Where upright and level planes pass through triangles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["level_lines", "upright_lines"]


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
