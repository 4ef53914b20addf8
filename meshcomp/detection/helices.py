"""Tell the crest or the root of a thread from a bore: a band that winds up an axis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import highest, lowest
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
    sides = corners[:, 1:] - corners[:, :1]
    area = float(np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1).sum()) / 2
    if area > _FULL * 2 * np.pi * circle.radius * (high - low):
        return False
    at = low + (np.arange(_LEVELS) + 0.5) / _LEVELS * (high - low)
    across = corners @ view.frame[:2].T - circle.centre
    middles = np.array([_covered(across, heights, level) for level in at])
    return winds(at, middles)


def _covered(
    across: NDArray[np.float64], heights: NDArray[np.float64], level: float
) -> NDArray[np.float64]:
    """Mean direction of the stretches in which faces are cut, (2,)."""
    places = _cut(across, heights, level)
    lengths = np.linalg.norm(places[:, 1] - places[:, 0], axis=1)
    middles = places.mean(axis=1)
    radii = np.maximum(np.linalg.norm(middles, axis=1), 1e-12)
    total = 2 * np.pi * float(radii.mean()) if len(radii) else 1.0
    return np.asarray((middles / radii[:, None] * lengths[:, None]).sum(axis=0) / total)


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
        Where to cut.

    Returns
    -------
    middles : (n, 2) float
        In mm; zero where nothing is cut.
    """
    found = np.zeros((len(at), 2))
    low, high = lowest(heights), highest(heights)
    for row, level in enumerate(at.tolist()):
        met = np.flatnonzero((low <= level) & (high > level))
        places = _cut(across[met], heights[met], level)
        lengths = np.linalg.norm(places[:, 1] - places[:, 0], axis=1)
        total = max(float(lengths.sum()), 1e-12)
        found[row] = (places.mean(axis=1) * lengths[:, None]).sum(axis=0) / total
    return found


def _cut(
    across: NDArray[np.float64], heights: NDArray[np.float64], level: float
) -> NDArray[np.float64]:
    """Lines in which faces are cut at a height, (k, 2, 2)."""
    above = heights > level
    cut = above.any(axis=1) & ~above.all(axis=1)
    across, heights, above = across[cut], heights[cut], above[cut]
    # The corner that is alone on its side, and where its two edges are cut.
    lone = np.argmax(above == (above.sum(axis=1) == 1)[:, None], axis=1)
    rows = np.arange(len(lone))
    tip, tip_height = across[rows, lone], heights[rows, lone]
    places = []
    for end in ((lone + 1) % 3, (lone + 2) % 3):
        share = (level - tip_height) / (heights[rows, end] - tip_height)
        places.append(tip + share[:, None] * (across[rows, end] - tip))
    return np.stack(places, axis=1)


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
    slope = np.median(np.diff(angles) / np.diff(at[told]))
    off = angles - slope * at[told]
    even = np.abs(off - np.median(off)) < _STRAIGHT
    if not even.any():
        return False
    turn = abs(float(slope)) * float(np.ptp(at[told][even]))
    return bool(turn > _LEAST_TURN and even.mean() > _MOST)
