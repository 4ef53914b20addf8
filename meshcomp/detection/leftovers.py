"""What one cylinder left over and another, about nearly the same axis, took."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshcomp.detection.cylinders import CylinderFaces
from meshcomp.detection.rough import rough_limit
from meshcomp.detection.scenes import Scene

__all__ = ["without_leftovers"]

_FARTHER = 2.0  # than corners of a rough cylinder
_SAME_WAY = float(np.cos(np.radians(3)))  # so far a short band leans by chance


def without_leftovers(
    scene: Scene, main: list[CylinderFaces], oblique: list[CylinderFaces]
) -> list[CylinderFaces]:
    """Give triangles at the end of a cylinder back to it.

    Where a mesh was made anew, those at the rim may lie too far off the circle to be
    taken with the rest, and near enough to one another's circle to make a cylinder of
    their own: short, and about an axis that leans a little.

    Parameters
    ----------
    scene : Scene
        The part.
    main, oblique : list of CylinderFaces
        Found first, and after them.

    Returns
    -------
    cylinders : list of CylinderFaces
        Those of `main` with what they left over, then the rest of `oblique`.
    """
    whole, rest = list(main), []
    for piece in oblique:
        owner = next((i for i, c in enumerate(whole) if _is_left_by(scene, piece, c)), None)
        if owner is None:
            rest.append(piece)
        else:
            whole[owner] = _with(scene, whole[owner], piece)
    return whole + rest


def _is_left_by(scene: Scene, piece: CylinderFaces, whole: CylinderFaces) -> bool:
    """Whether a piece lies on a larger cylinder, but for how rough it is."""
    if piece.is_internal != whole.is_internal or len(piece.faces) > len(whole.faces):
        return False
    if abs(float(piece.frame[2] @ whole.frame[2])) < _SAME_WAY:
        return False
    low, high = _extent(scene, piece, whole)
    if low > whole.end or high < whole.start:
        return False
    corners = scene.mesh.vertices[scene.mesh.vertices_of(piece.faces)]
    off = np.linalg.norm(corners @ whole.frame[:2].T - whole.centre, axis=1)
    radius = whole.diameter / 2
    return bool(np.abs(off - radius).max() <= _FARTHER * rough_limit(radius))


def _extent(
    scene: Scene, piece: CylinderFaces, whole: CylinderFaces
) -> tuple[float, float]:
    """Lowest and highest corner of a piece along another one's axis, mm."""
    corners = scene.mesh.vertices[scene.mesh.vertices_of(piece.faces)]
    heights = corners @ whole.frame[2]
    return float(heights.min()), float(heights.max())


def _with(scene: Scene, whole: CylinderFaces, piece: CylinderFaces) -> CylinderFaces:
    low, high = _extent(scene, piece, whole)
    return replace(
        whole,
        faces=np.sort(np.concatenate([whole.faces, piece.faces])),
        start=min(whole.start, low),
        end=max(whole.end, high),
    )
