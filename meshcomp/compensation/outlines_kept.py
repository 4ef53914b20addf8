"""Whether sections still have the outlines that they had, after solids were added."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import all_of, ring_area
from meshcomp.meshes import Mesh
from meshcomp.sections import rings_at
from meshcomp.topology import topology_of

__all__ = ["joined_or_parted"]

_MOST_HEIGHTS = 12
_LEAST_STEP = 0.02  # mm, between heights of vertices: what is lower is no wall
_CRUMB = 0.01  # mm²: outlines that count for nothing


def joined_or_parted(before: Mesh, after: Mesh, tools: Sequence[Mesh]) -> list[int]:
    """Find tools at heights where a section has more outlines now, or fewer.

    Where a gap between a wall and a boss closes, their outlines become one, and where a
    thin wall is cut through, one becomes two, though bodies and holes may stay the same.

    Parameters
    ----------
    before, after : Mesh
        Closed, mm.
    tools : sequence of Mesh
        Solids that were added, or taken away.

    Returns
    -------
    tools : list of int
        Those that reach heights where that is so.
    """
    boxes = np.array([tool.bounds for tool in tools])
    heights = _heights(before, boxes)
    if len(heights) == 0:
        return []
    counts = [_counts(mesh, heights) for mesh in (before, after)]
    wrong = heights[counts[0] != counts[1]]
    low, high = boxes[:, 0, 2, None], boxes[:, 1, 2, None]
    return np.flatnonzero(((wrong > low) & (wrong < high)).any(axis=1)).tolist()


def _heights(mesh: Mesh, boxes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Heights mid-way between those of vertices in boxes, (t, 2, 3): some of them."""
    near = np.zeros(len(mesh.vertices), dtype=bool)
    for low, high in boxes:
        near |= all_of(mesh.vertices >= low) & all_of(mesh.vertices <= high)
    ends = boxes[:, :, 2].ravel()
    levels = np.unique(np.concatenate([mesh.vertices[near, 2], ends]))
    steps = np.diff(levels)
    middles = (levels[:-1] + steps / 2)[steps > _LEAST_STEP]
    chosen = np.linspace(0, len(middles) - 1, min(len(middles), _MOST_HEIGHTS))
    return np.asarray(middles[np.unique(chosen.round().astype(np.int64))])


def _counts(mesh: Mesh, heights: NDArray[np.float64]) -> NDArray[np.int64]:
    """Count outlines at some heights, (k,)."""
    sections = rings_at(mesh, topology_of(mesh), np.eye(3), heights.tolist())
    return np.array(
        [sum(abs(ring_area(ring)) > _CRUMB for ring in rings) for rings in sections]
    )
