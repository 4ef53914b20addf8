"""Whether sections still have the outlines that they had, after solids changed a part."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import all_of, ring_area, turned
from meshcomp.meshes import Mesh
from meshcomp.sections import rings_at
from meshcomp.topology import topology_of

__all__ = ["joined_or_parted"]

_MOST_HEIGHTS = 12
_LEAST_STEP = 0.02  # mm, between heights of vertices: what is lower is no wall
_CRUMB = 0.01  # mm²: outlines that count for nothing


def joined_or_parted(
    before: Mesh,
    after: Mesh,
    tools: Sequence[Mesh],
    frame: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Say at which share of its heights sections have more outlines now, or fewer.

    Where a gap between a wall and a boss closes, their outlines become one, and where a
    thin wall is cut through, one becomes two, though bodies and holes may stay the same.

    Parameters
    ----------
    before, after : Mesh
        Closed, mm.
    tools : sequence of Mesh
        Solids that were added, or taken away.
    frame : (3, 3) float, optional
        Right-handed unit rows; sections are across the last, or else level.

    Returns
    -------
    share : (t,) float
        Of the heights that were looked at and each tool reaches.
    """
    frame = np.eye(3) if frame is None else frame
    points = [turned(tool.vertices, frame) for tool in tools]
    boxes = np.array([(p.min(axis=0), p.max(axis=0)) for p in points])
    heights = _heights(turned(before.vertices, frame), boxes)
    if len(heights) == 0:
        return np.zeros(len(tools))
    first, last = (_counts(mesh, frame, heights) for mesh in (before, after))
    reached = (heights > boxes[:, 0, 2, None]) & (heights < boxes[:, 1, 2, None])
    wrong = (reached & (first != last)).sum(axis=1)
    return np.asarray(wrong / np.maximum(reached.sum(axis=1), 1))


def _heights(
    points: NDArray[np.float64], boxes: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Heights mid-way between those of points in boxes, (t, 2, 3): some of them."""
    near = np.zeros(len(points), dtype=bool)
    for low, high in boxes:
        near |= all_of(points >= low) & all_of(points <= high)
    levels = np.unique(np.concatenate([points[near, 2], boxes[:, :, 2].ravel()]))
    steps = np.diff(levels)
    middles = (levels[:-1] + steps / 2)[steps > _LEAST_STEP]
    chosen = np.linspace(0, len(middles) - 1, min(len(middles), _MOST_HEIGHTS))
    return np.asarray(middles[np.unique(chosen.round().astype(np.int64))])


def _counts(
    mesh: Mesh, frame: NDArray[np.float64], heights: NDArray[np.float64]
) -> NDArray[np.int64]:
    """Count outlines at some heights, (k,)."""
    sections = rings_at(mesh, topology_of(mesh), frame, heights.tolist())
    return np.array(
        [sum(abs(ring_area(ring)) > _CRUMB for ring in rings) for rings in sections]
    )
