"""Pairs of upright planes that face opposite ways and overlap, without a look at all pairs.

Each plane is a box in three coordinates: the direction it runs in, its place along that
direction, and its height. Planes can lie opposite each other only if their boxes overlap.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot
from meshcomp.boxes import overlapping_boxes

__all__ = ["opposing"]

_TURN = 1e-3  # radians between directions that may count as parallel
_SEAM = 0.3  # radians: where directions, of which each has two ways, begin anew
_APART = 1e3  # mm for a radian, so that directions part boxes as places do


def opposing(
    normals: NDArray[np.float64],
    boxes: NDArray[np.float64],
    is_internal: NDArray[np.bool_],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Find pairs of planes that may lie opposite each other.

    Parameters
    ----------
    normals : (k, 3) float
        Unit, level.
    boxes : (k, 2, 3) float
        Lowest and highest corner of each plane, mm.
    is_internal : (k,) bool
        Planes of pockets are paired with each other only, and outside planes too.

    Returns
    -------
    first, second : (n,) int
        Rows, first < second, in order. All pairs of one kind within 0.02 degrees of
        antiparallel that overlap seen across them are among them; some others may be.

    Examples
    --------
    >>> normals = np.array([(1.0, 0, 0), (-1, 0, 0), (-1, 0, 0), (0, 1, 0)])
    >>> lows = np.array([(5.0, 0, 0), (0, 2, 0), (0, 7, 0), (0, 0, 0)])
    >>> sizes = np.array([(0, 4, 9), (0, 4, 9), (0, 4, 9), (9, 0, 9)])
    >>> boxes = np.stack([lows, lows + sizes], axis=1)
    >>> first, second = opposing(normals, boxes, np.zeros(4, dtype=bool))
    >>> first.tolist(), second.tolist()
    ([0], [1])
    """
    if len(normals) == 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    turns = np.arctan2(normals[:, 1], normals[:, 0]) - _SEAM
    # Near the seam a plane is seen from both sides of it.
    rows = np.concatenate(
        [np.arange(len(turns)), near := np.flatnonzero(_seam_distance(turns) < _TURN)]
    )
    half = np.floor(turns / np.pi).astype(np.int64)
    left = (turns - half * np.pi)[near] < np.pi / 2
    half = np.concatenate([half, half[near] + np.where(left, -1, 1)])
    within = turns[rows] - half * np.pi
    spans = _spans(normals[rows] * np.where(half % 2 == 0, 1.0, -1.0)[:, None], boxes, rows)
    kind = np.where(is_internal[rows], 10.0, 0.0)
    low = [_APART * (within + kind - _TURN / 2), spans[:, 0], boxes[rows, 0, 2]]
    high = [_APART * (within + kind + _TURN / 2), spans[:, 1], boxes[rows, 1, 2]]
    corners = np.stack([np.column_stack(low), np.column_stack(high)], axis=1)
    pairs = overlapping_boxes(corners, half % 2 == 0, half % 2 == 1)
    ordered = np.unique(np.sort(rows[pairs], axis=1), axis=0)
    return ordered[:, 0], ordered[:, 1]


def _seam_distance(turns: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far directions are from the one at which they begin anew, radians."""
    return np.asarray(np.abs(turns - np.round(turns / np.pi) * np.pi))


def _spans(
    normals: NDArray[np.float64], boxes: NDArray[np.float64], rows: NDArray[np.int64]
) -> NDArray[np.float64]:
    """From and to of planes along themselves, (n, 2) mm, with room for their turn."""
    level = boxes[..., :2] - boxes[..., :2].mean(axis=(0, 1))
    along = np.column_stack([-normals[:, 1], normals[:, 0]])
    middle = dot(level.mean(axis=1)[rows], along)
    half = np.linalg.norm(level[rows, 1] - level[rows, 0], axis=1) / 2
    half += _TURN * float(np.abs(level).max(initial=0.0)) * 2
    return np.column_stack([middle - half, middle + half])
