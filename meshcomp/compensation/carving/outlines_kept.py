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

_FIRST, _AGAIN = 12, 60  # heights to look at, and where something is wrong at some of them
_LEAST_STEP = 0.02  # mm, between heights of vertices: what is lower is no wall
_CRUMB = 0.05  # mm²: outlines that count for nothing


def joined_or_parted(
    before: Mesh,
    after: Mesh,
    tools: Sequence[Mesh],
    frame: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Say over how much height sections have more outlines now, or fewer.

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
    heights : (t,) float
        The longest stretch within each tool's reach, mm; 0 for most. Where slopes meet,
        outlines join a little higher, or lower, when walls move.
    """
    frame = np.eye(3) if frame is None else frame
    points = [turned(tool.vertices, frame) for tool in tools]
    boxes = np.array([(p.min(axis=0), p.max(axis=0)) for p in points])
    for most in (_FIRST, _AGAIN):
        stretches = _wrong_stretches((before, after), frame, boxes, most)
        if len(stretches) == 0:
            return np.zeros(len(tools))
    low, high = boxes[:, 0, 2, None], boxes[:, 1, 2, None]
    shared = np.minimum(stretches[:, 1], high) - np.maximum(stretches[:, 0], low)
    return np.asarray(np.maximum(shared.max(axis=1), 0.0))


def _wrong_stretches(
    meshes: tuple[Mesh, Mesh],
    frame: NDArray[np.float64],
    boxes: NDArray[np.float64],
    most: int,
) -> NDArray[np.float64]:
    """Find from where to where two meshes have other numbers of outlines, (k, 2) mm."""
    heights, ends = _heights(turned(meshes[0].vertices, frame), boxes, most)
    if len(heights) == 0:
        return np.zeros((0, 2))
    first, last = (_counts(mesh, frame, heights) for mesh in meshes)
    wrong = np.concatenate([[False], first != last, [False]])
    begins, stops = wrong[1:] > wrong[:-1], wrong[1:] < wrong[:-1]
    return np.column_stack([ends[begins], ends[stops]])


def _heights(
    points: NDArray[np.float64], boxes: NDArray[np.float64], most: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Heights mid-way between those of points in boxes, (t, 2, 3): (k,), some of them.

    Also the ends of the stretches that each stands for, (k + 1,) mm.
    """
    near = np.zeros(len(points), dtype=bool)
    for low, high in boxes:
        near |= all_of(points >= low) & all_of(points <= high)
    levels = np.unique(np.concatenate([points[near, 2], boxes[:, :, 2].ravel()]))
    steps = np.diff(levels)
    middles = (levels[:-1] + steps / 2)[steps > _LEAST_STEP]
    chosen = np.linspace(0, len(middles) - 1, min(len(middles), most))
    found = middles[np.unique(chosen.round().astype(np.int64))]
    between = (found[:-1] + found[1:]) / 2
    at = np.clip(np.searchsorted(levels, between), 1, len(levels) - 1)
    lower, upper = levels[at - 1], levels[at]
    nearest = np.where(between - lower < upper - between, lower, upper)
    return found, np.concatenate([levels[:1], nearest, levels[-1:]])


def _counts(
    mesh: Mesh, frame: NDArray[np.float64], heights: NDArray[np.float64]
) -> NDArray[np.int64]:
    """Count outlines at some heights, (k,)."""
    sections = rings_at(mesh, topology_of(mesh), frame, heights.tolist())
    return np.array(
        [sum(abs(ring_area(ring)) > _CRUMB for ring in rings) for rings in sections]
    )
