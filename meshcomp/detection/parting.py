"""Part faces on one circle where nothing of them is left along the axis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.scenes import Prospect

__all__ = ["parted"]

_APART = 0.05  # mm along the axis


def parted(view: Prospect, faces: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Part faces into those of each leg of a fork, say, lowest first.

    Parameters
    ----------
    view : Prospect
        The scene along the axis.
    faces : (k,) int
        Sorted.
    """
    mesh = view.scene.mesh
    heights = mesh.vertices[mesh.faces[faces]] @ view.frame[2]
    low, high = heights.min(axis=1), heights.max(axis=1)
    order = np.argsort(low, kind="stable")
    reach = np.maximum.accumulate(high[order])
    cuts = np.flatnonzero(low[order][1:] > reach[:-1] + _APART) + 1
    return [np.sort(faces[part]) for part in np.split(order, cuts)]
