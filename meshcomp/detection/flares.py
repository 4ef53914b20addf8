"""Cones and roundings that end a cylinder, and how a bore ends in the material."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import different
from meshcomp._vectors import dot, lengths
from meshcomp.detection.cylinders import CylinderFaces
from meshcomp.detection.scenes import Scene
from meshcomp.features import Flare

__all__ = ["ending_of", "flares_of"]

_SAME_ANGLE = 3.0  # degrees: faces that lean alike are one cone
_CONE_SPREAD = 2.0  # degrees within one cone
_MOST_CONES = 2
_SLIVER = 1e-4  # share of the area: thinner faces say nothing of an angle
_CLOSING = 0.5  # radii: what comes nearer to the axis closes a bore
_COUNTERSINK = 1.5  # widest diameter over the cylinder's: less is a chamfer
_SQUARE = 1e-3  # sine


def flares_of(
    scene: Scene, cylinder: CylinderFaces, entries: NDArray[np.int64]
) -> tuple[Flare, ...]:
    """Describe the faces of revolution at the ends of a cylinder, lower end first.

    Parameters
    ----------
    scene : Scene
        The part.
    cylinder : CylinderFaces
        A bore or a boss.
    entries : (k,) int
        Its entry faces.
    """
    if len(entries) == 0:
        return ()
    heights = scene.mesh.vertices[scene.mesh.faces[entries]] @ cylinder.frame[2]
    is_upper = heights.mean(axis=1) > (cylinder.start + cylinder.end) / 2
    sides = [entries[~is_upper], entries[is_upper]]
    found = [
        _flare(scene, cylinder, faces, is_cone=is_cone)
        for side in sides
        for faces, is_cone in _cones(scene, cylinder, side)
    ]
    return tuple(sorted(found, key=lambda flare: flare.start))


def _cones(
    scene: Scene, cylinder: CylinderFaces, faces: NDArray[np.int64]
) -> list[tuple[NDArray[np.int64], bool]]:
    """Part faces into cones by how they lean; more than a few are one rounding."""
    if len(faces) == 0:
        return []
    areas = 2 * lengths(scene.mesh.area_vectors[faces])
    # In a fine mesh each face is but a small share of the whole.
    telling = faces[areas >= min(_SLIVER * areas.sum(), areas.mean())]
    lean = np.abs(scene.regions.face_normals[telling] @ cylinder.frame[2])
    angles = np.degrees(np.arcsin(np.minimum(lean, 1.0)))
    order = np.argsort(angles, kind="stable")
    cuts = np.flatnonzero(np.diff(angles[order]) > _SAME_ANGLE) + 1
    parts = np.split(order, cuts)
    tight = all(float(np.ptp(angles[part])) < _CONE_SPREAD for part in parts)
    if tight and len(parts) <= _MOST_CONES:
        return [(telling[part], True) for part in parts]
    return [(faces, False)]


def _flare(
    scene: Scene, cylinder: CylinderFaces, faces: NDArray[np.int64], *, is_cone: bool
) -> Flare:
    corners = scene.mesh.vertices[scene.mesh.faces[faces]]
    local = corners.reshape(-1, 3) @ cylinder.frame.T
    away = np.hypot(*(local[:, :2] - cylinder.centre).T)
    widest = 2 * float(away.max())
    is_closing = bool(away.min() < _CLOSING * cylinder.diameter / 2)
    if is_closing:
        kind = "drill point" if is_cone else "round end"
    elif is_cone:
        is_wide = widest >= _COUNTERSINK * cylinder.diameter
        kind = "countersink" if is_wide and cylinder.is_internal else "chamfer"
    else:
        kind = "fillet"
    return Flare(
        kind=kind,
        angle=_included(local[:, 2], away) if is_cone else None,
        size=widest,
        start=float(local[:, 2].min()),
        end=float(local[:, 2].max()),
    )


def _included(heights: NDArray[np.float64], radii: NDArray[np.float64]) -> float:
    """Angle between opposite sides of a cone, degrees.

    From its corners, which lie on it; its facets lean less.
    """
    along, out = heights - heights.mean(), radii - radii.mean()
    return 2 * float(np.degrees(np.arctan2(abs(along @ out), along @ along)))


def ending_of(
    scene: Scene,
    bore: CylinderFaces,
    entries: NDArray[np.int64],
    flares: tuple[Flare, ...],
    *,
    is_through: bool,
) -> str:
    """Say how a bore ends: through, or with what floor."""
    if is_through:
        return "through"
    closing = [f.kind for f in flares if f.kind in {"drill point", "round end"}]
    if closing:
        return closing[0]
    mine = np.concatenate([bore.faces, entries])
    around = different(scene.topology.neighbours_of(mine).ravel())
    around = around[around >= 0]
    along = scene.regions.face_normals[around] @ bore.frame[2]
    corners = scene.mesh.vertices[scene.mesh.faces[around]]
    heights = corners.mean(axis=1) @ bore.frame[2]
    middle = (bore.start + bore.end) / 2
    # A floor looks back into the bore; what an open end meets looks away from it.
    looks_in = along * np.sign(middle - heights) > 1 - _SQUARE
    across = corners @ bore.frame[:2].T - bore.centre
    inside = np.sqrt(dot(across, across)).max(axis=1) < (1 + _SQUARE) * bore.diameter / 2
    return "flat" if bool((looks_in & inside).any()) else "other"
