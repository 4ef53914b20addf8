"""Cylinders of meshes made anew, whose corners lie on them only roughly.

A coarse bore whose mesh was made anew has corners amid its old facets, and decimation
moves corners off the surface. What is left is a smooth patch that closes round an axis
and is out of round by no more than chance explains.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import along, dot, highest, turned
from meshcomp.association import associate_circle
from meshcomp.detection.growing import STRICT_LIMIT, connected_to
from meshcomp.detection.scenes import Circle, Prospect, Scene
from meshcomp.detection.seeds import Seed
from meshcomp.detection.waves import is_wavy
from meshcomp.errors import AssociationError

__all__ = ["grown_roughly", "rough_limit", "was_made_anew"]

_ROUGHNESS = (0.01, 0.012)  # mm, and radii: how far a corner may be off the circle
_MOST_ROUGH = 0.12  # mm
_LEAST_WAVE = 0.003  # mm
_LOOKING = 0.8  # cosine between a face's normal and the radius
_LEAST_LEANING = 0.1  # share of the faces: in a mesh as CAD makes it, none leans
_LEAST_CORNERS = 12
_STEPS = 3
_LEAST_COVERED = 0.4  # share of the area of the cylinder they tell


def rough_limit(radius: float) -> float:
    """How far corners of a mesh made anew may be off a circle, mm."""
    return min(_ROUGHNESS[0] + _ROUGHNESS[1] * radius, _MOST_ROUGH)


def grown_roughly(
    view: Prospect, seed: Seed, free: NDArray[np.bool_]
) -> tuple[Circle, NDArray[np.int64]] | None:
    """Take the faces of a patch that lie roughly on its circle.

    Parameters and returned values are those of `grown`.
    """
    circle = Circle(seed.centre, seed.radius, seed.is_internal)
    for _ in range(_STEPS):
        faces = connected_to(view.scene.topology, _near(view, circle, free), seed.faces)
        if len(faces) < _LEAST_CORNERS:
            return None
        corners = _corners(view, faces)
        try:
            centre, diameter = associate_circle(corners[:, :2])
        except AssociationError:
            return None
        circle = Circle(centre, diameter / 2, circle.is_internal)
    if not was_made_anew(view.scene, faces, view.frame[2]) or is_wavy(
        circle, corners, _LEAST_WAVE
    ):
        return None
    if _covered(view, circle, faces, float(np.ptp(corners[:, 2]))) < _LEAST_COVERED:
        return None
    return circle, faces


def _corners(view: Prospect, faces: NDArray[np.int64]) -> NDArray[np.float64]:
    mesh = view.scene.mesh
    return np.asarray(turned(mesh.vertices[mesh.vertices_of(faces)], view.frame))


def _near(view: Prospect, circle: Circle, free: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Free faces whose corners are near the circle and that look along its radius."""
    limit = rough_limit(circle.radius)
    rows = view.around(circle, limit)
    rows = rows[free[view.faces[rows]]]
    across = np.take(view.corners, rows, axis=0) - circle.centre
    off = np.abs(np.hypot(across[..., 0], across[..., 1]) - circle.radius)
    near = highest(off) <= limit
    rows = rows[near]
    middles = np.take(view.middles, rows, axis=0) - circle.centre
    lengths = np.hypot(middles[:, 0], middles[:, 1])
    looks = dot(view.normals[rows], middles) * (-1 if circle.is_internal else 1)
    good = looks > _LOOKING * lengths
    return np.sort(view.faces[rows[good]])


def _covered(
    view: Prospect, circle: Circle, faces: NDArray[np.int64], length: float
) -> float:
    """Share of a cylinder's area: a bent tube meets one in lines around it only."""
    area = float(np.linalg.norm(view.scene.mesh.area_vectors[faces], axis=1).sum())
    return area / max(2 * np.pi * circle.radius * length, 1e-12)


def was_made_anew(
    scene: Scene, faces: NDArray[np.int64], direction: NDArray[np.float64]
) -> bool:
    """Whether faces about an axis lean as those of remeshed or shaken walls do."""
    leaning = np.abs(along(scene.regions.face_normals[faces], direction))
    return bool((leaning > STRICT_LIMIT).mean() > _LEAST_LEANING)
