"""Chamfers, countersinks and fillets about a cylinder's axis, at its ends."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import distinct
from meshcomp._vectors import dot, unit
from meshcomp.detection.cylinders import CylinderFaces
from meshcomp.detection.scenes import Scene

__all__ = ["entry_faces"]

_REACH = 2.5  # radii: what lies farther from the axis is no entry of this cylinder
_ABOUT_AXIS_LIMIT = 0.25  # tangent of the angle between a normal and the axial plane
_SQUARE_LIMIT = 1e-3  # sine: faces square to the axis end the entry
_MOST_RINGS = 64


def entry_faces(
    scene: Scene, cylinder: CylinderFaces, free: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Faces of revolution about the cylinder's axis that hang together with its rim.

    Parameters
    ----------
    scene : Scene
        The part.
    cylinder : CylinderFaces
        A bore or boss.
    free : (m,) bool
        Faces that belong to no cylinder.

    Returns
    -------
    faces : (k,) int
        Sorted.
    """
    known = np.zeros(len(free), dtype=bool)
    front = cylinder.faces
    for _ in range(_MOST_RINGS):
        across = scene.topology.neighbours_of(front).ravel()
        across = across[across >= 0]
        across = distinct(across[free[across] & ~known[across]], len(free))
        if len(across) == 0:
            break
        front = across[_suitable(scene, cylinder, across)]
        if len(front) == 0:
            break
        known[front] = True
    return np.flatnonzero(known)


def _suitable(
    scene: Scene, cylinder: CylinderFaces, faces: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether each of some faces lies near the axis and turns about it."""
    normals = scene.regions.face_normals[faces] @ cylinder.frame.T
    middles = scene.mesh.vertices[scene.mesh.faces[faces]].mean(axis=1)
    middles = middles @ cylinder.frame[:2].T - cylinder.centre
    outward = unit(middles)
    tangent = np.column_stack([-outward[:, 1], outward[:, 0]])
    radial = dot(normals[:, :2], outward)
    leaning = np.abs(radial) > _SQUARE_LIMIT
    aside = np.abs(dot(normals[:, :2], tangent))
    about = aside < _ABOUT_AXIS_LIMIT * np.abs(radial) + _SQUARE_LIMIT
    near = np.hypot(middles[:, 0], middles[:, 1]) < _REACH * cylinder.diameter / 2
    # A bore's entry looks towards the axis or up, a boss's away from it.
    side = radial < 0 if cylinder.is_internal else radial > 0
    upright = np.abs(normals[:, 2]) < _SQUARE_LIMIT
    return np.asarray(leaning & about & near & side & ~upright)
