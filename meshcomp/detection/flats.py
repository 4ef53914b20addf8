"""Tell a D-shaped hole from a bore that something interrupts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.bends import WIDEST_FACET
from meshcomp.detection.growing import ON_CYLINDER_LIMIT
from meshcomp.detection.scenes import Circle, Prospect

__all__ = ["is_flattened"]

_CLOSED = 0.8  # share of a chord along which there is a wall
_BORDER = 0.25  # radians that a gap's ends may be off, where triangles straddle them


def is_flattened(
    view: Prospect,
    circle: Circle,
    faces: NDArray[np.int64],
    gaps: NDArray[np.float64],
) -> bool:
    """Whether a straight wall closes the circle of a hole: a D, not a bore.

    A keyway, a split or a cross bore leaves the circle where it interrupts it; the flat
    of a D joins two lines on the cylinder by a chord wider than a facet can be.

    Parameters
    ----------
    view : Prospect
        The scene along the axis.
    circle : Circle
        As associated to the corners.
    faces : (k,) int
        Faces on it, sorted.
    gaps : (n, 2) float
        Lower angle and width of each piece of the turn that no face covers, radians.
    """
    if not circle.is_internal:
        return False
    wide = gaps[gaps[:, 1] > np.radians(WIDEST_FACET)]
    return any(_is_closed(view, circle, faces, gap) for gap in wide)


def _is_closed(
    view: Prospect,
    circle: Circle,
    faces: NDArray[np.int64],
    gap: NDArray[np.float64],
) -> bool:
    """Whether a wall runs along the chord of a gap, at the height of the faces."""
    scene = view.scene
    middle, half = gap[0] + gap[1] / 2, gap[1] / 2
    outward = np.array([np.cos(middle), np.sin(middle)])
    along = np.array([-outward[1], outward[0]])
    near = _beside(view, faces)
    looks = scene.regions.face_normals[near] @ view.frame[:2].T @ outward
    near = near[looks < -np.cos(np.radians(WIDEST_FACET / 2))]
    near = near[_overlap(view, near, faces)]
    across = scene.mesh.vertices[scene.mesh.faces[near]] @ view.frame[:2].T
    across = across - circle.centre
    position, level = across @ along, across @ outward
    reach = circle.radius * np.sin(half)
    # Where triangles straddle the ends, the chord seems shorter and lies farther out.
    nearest = circle.radius * np.cos(min(half + _BORDER, np.pi / 2))
    furthest = circle.radius * np.cos(half) + ON_CYLINDER_LIMIT
    flat = np.ptp(level, axis=1) <= 2 * ON_CYLINDER_LIMIT
    inside = (level.min(axis=1) >= nearest) & (level.max(axis=1) <= furthest)
    low, high = position.min(axis=1), position.max(axis=1)
    return _covered(low[flat & inside], high[flat & inside], reach) >= _CLOSED


def _beside(view: Prospect, faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Faces of the planes next to some faces, and not theirs.

    A flat that bends away sharply is no part of the view, which holds curved faces.
    """
    scene = view.scene
    around = np.unique(scene.topology.neighbours_of(faces))
    around = np.setdiff1d(around[around >= 0], faces)
    planes = np.zeros(len(scene.regions.areas), dtype=bool)
    planes[scene.regions.of_face[around]] = True
    return np.setdiff1d(np.flatnonzero(planes[scene.regions.of_face]), faces)


def _overlap(
    view: Prospect, near: NDArray[np.int64], faces: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether faces share a height with some others."""
    mesh = view.scene.mesh
    mine = mesh.vertices[mesh.faces[faces].ravel()] @ view.frame[2]
    heights = mesh.vertices[mesh.faces[near]] @ view.frame[2]
    return np.asarray(
        (heights.max(axis=1) > mine.min()) & (heights.min(axis=1) < mine.max())
    )


def _covered(lows: NDArray[np.float64], highs: NDArray[np.float64], reach: float) -> float:
    """Share of -reach to reach that intervals cover."""
    order = np.argsort(lows, kind="stable")
    lows, highs = lows[order], np.maximum.accumulate(highs[order])
    before = np.concatenate([[-reach], highs[:-1]])
    ends = np.minimum(highs, reach)
    pieces = np.clip(ends - np.maximum(np.maximum(lows, before), -reach), 0, None)
    return float(pieces.sum() / (2 * reach))
