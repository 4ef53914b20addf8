"""Whether corners near a circle follow another curve: an ellipse, lobes, a cone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.scenes import Circle

__all__ = ["is_wavy"]

_WAVES = (2, 3, 4, 5, 6)  # per turn: an ellipse, lobes, a square, ...
_CHANCE = 3.0  # standard errors


def is_wavy(circle: Circle, corners: NDArray[np.float64], least: float) -> bool:
    """Whether the radius swings by more than its scatter explains.

    Around the axis it does so for an ellipse or lobes, with the height for a cone, and
    with both where the axis leans.

    Parameters
    ----------
    circle : Circle
        Associated to the corners.
    corners : (k, 3) float
        In a frame whose third axis is the circle's, mm.
    least : float
        Amplitude that counts where nothing scatters, mm.
    """
    across = corners[:, :2] - circle.centre
    angles = np.arctan2(across[:, 1], across[:, 0])
    off = np.hypot(across[:, 0], across[:, 1]) - circle.radius
    low, high = corners[:, 2].min(), corners[:, 2].max()
    height = (2 * corners[:, 2] - low - high) / max(float(high - low), 1e-9)
    turned = np.array([np.cos(angles), np.sin(angles)])
    waves = np.outer(_WAVES[: max(1, len(off) // 12)], angles)
    swings = [height, *(height * turned), *np.cos(waves), *np.sin(waves)]
    terms = np.column_stack([*swings, *turned, np.ones(len(off))])
    found = np.linalg.lstsq(terms, off, rcond=None)[0]
    free = max(len(off) - terms.shape[1], 1)
    rest = np.sqrt(float(((off - terms @ found) ** 2).sum()) / free * 2 / len(off))
    return bool(np.abs(found[:-3]).max() > least + _CHANCE * rest)
