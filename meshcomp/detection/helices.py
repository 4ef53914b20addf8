"""Tell the crest or the root of a thread from a bore: a band that winds up an axis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import median
from meshcomp._vectors import highest, lengths, lowest
from meshcomp.detection.scenes import Circle, Prospect

__all__ = ["is_helical", "section_middles", "winds"]

_FULL = 0.92  # share of the cylinder's area: a bore so covered is no band
_LEVELS = 48
_LEAST_TURN = np.pi  # radians by which a band winds, altogether
_STRAIGHT = 0.4  # radians off an even rise, of:
_MOST = 0.55  # share of the levels
_LEAST_LEVELS = 4
_UNBROKEN = 0.9  # share of the levels between the first and the last that are told
_LEAST_MISSING = 0.1  # mean vector of the angles covered: 0 where all around is


def is_helical(view: Prospect, circle: Circle, faces: NDArray[np.int64]) -> bool:
    """Whether faces on a circle wind up its axis, as a thread's do.

    At each height a part of the turn is covered, and that part goes round as the height
    grows. What cross bores and keyways leave uncovered stays where it is.

    Parameters
    ----------
    view : Prospect
        The scene along the axis.
    circle : Circle
        As associated to the corners.
    faces : (k,) int
        Faces on it.
    """
    mesh = view.scene.mesh
    corners = mesh.vertices[mesh.faces[faces]]
    heights = corners @ view.frame[2]
    low, high = float(heights.min()), float(heights.max())
    area = float(lengths(mesh.area_vectors[faces]).sum())
    if area > _FULL * 2 * np.pi * circle.radius * (high - low):
        return False
    at = low + (np.arange(_LEVELS) + 0.5) / _LEVELS * (high - low)
    across = corners @ view.frame[:2].T - circle.centre
    return winds(at, _covered(across, heights, at))


def _covered(
    across: NDArray[np.float64], heights: NDArray[np.float64], at: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Mean direction of the stretches in which faces are cut, at each height, (n, 2)."""
    lines, row = _cut(across, heights, at)
    long, middles = _lengths(lines), lines.mean(axis=1)
    radii = np.maximum(np.linalg.norm(middles, axis=1), 1e-12)
    count = np.bincount(row, minlength=len(at))
    total = 2 * np.pi * np.bincount(row, radii, len(at)) / np.maximum(count, 1)
    directions = middles / radii[:, None] * long[:, None]
    return _sums(directions, row, len(at)) / np.where(count > 0, total, 1.0)[:, None]


def section_middles(
    across: NDArray[np.float64], heights: NDArray[np.float64], at: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Find the middle of the lines in which faces are cut, at each of some heights.

    Parameters
    ----------
    across : (m, 3, 2) float
        Corners of the faces across the direction, mm.
    heights : (m, 3) float
        And along it.
    at : (n,) float
        Where to cut, ascending.

    Returns
    -------
    middles : (n, 2) float
        In mm; zero where nothing is cut.
    """
    lines, row = _cut(across, heights, at)
    long = _lengths(lines)
    total = np.maximum(np.bincount(row, long, len(at)), 1e-12)
    weighted = _sums(lines.mean(axis=1) * long[:, None], row, len(at))
    return np.asarray(weighted / total[:, None])


def _lengths(lines: NDArray[np.float64]) -> NDArray[np.float64]:
    return lengths(lines[:, 1] - lines[:, 0])


def _sums(
    vectors: NDArray[np.float64], row: NDArray[np.int64], count: int
) -> NDArray[np.float64]:
    """Sum of the vectors, (k, 2), of each row, (count, 2)."""
    return np.column_stack([np.bincount(row, part, count) for part in vectors.T])


def _cut(
    across: NDArray[np.float64], heights: NDArray[np.float64], at: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Lines in which faces are cut at ascending heights, (k, 2, 2), and the row of each."""
    first = np.searchsorted(at, lowest(heights))
    counts = np.searchsorted(at, highest(heights)) - first
    face = np.repeat(np.arange(len(heights)), counts)
    row = np.arange(len(face)) - np.repeat(np.cumsum(counts) - counts - first, counts)
    across, heights, level = across[face], heights[face], at[row]
    first, second, third = (heights > level[:, None]).T
    # The corner that is alone on its side, and where its two edges are cut.
    lone = np.where(second == third, 0, np.where(first == third, 1, 2))
    rows = np.arange(len(lone))
    tip, tip_height = across[rows, lone], heights[rows, lone]
    places = []
    for end in ((lone + 1) % 3, (lone + 2) % 3):
        share = (level - tip_height) / (heights[rows, end] - tip_height)
        places.append(tip + share[:, None] * (across[rows, end] - tip))
    return np.stack(places, axis=1), row


def winds(at: NDArray[np.float64], middles: NDArray[np.float64]) -> bool:
    """Whether directions, (n, 2), go round evenly as heights, (n,), grow.

    Examples
    --------
    >>> at = np.linspace(0, 3, 40)
    >>> turning = np.column_stack([np.cos(2 * at), np.sin(2 * at)])
    >>> winds(at, turning), winds(at, np.ones((40, 2)))
    (True, False)
    """
    told = np.hypot(middles[:, 0], middles[:, 1]) > _LEAST_MISSING
    if int(told.sum()) < max(_LEAST_LEVELS, len(at) / 2):
        return False
    rows = np.flatnonzero(told)
    if len(rows) < _UNBROKEN * (rows[-1] - rows[0] + 1):
        return False  # what is whole amid its length is cut at its ends, by chance
    angles = np.unwrap(np.arctan2(middles[told, 1], middles[told, 0]))
    # By medians, since a band begins and ends anyhow.
    slope = median(np.diff(angles) / np.diff(at[told]))
    off = angles - slope * at[told]
    even = np.abs(off - median(off)) < _STRAIGHT
    if not even.any():
        return False
    turn = abs(float(slope)) * float(np.ptp(at[told][even]))
    return bool(turn > _LEAST_TURN and even.mean() > _MOST)
