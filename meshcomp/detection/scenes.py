"""A mesh as detectors see it: as a whole, and along one direction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import along, basis_across, dot, turned
from meshcomp.detection.bends import Bends
from meshcomp.meshes import Mesh
from meshcomp.segmentation import Regions, flatness_limit
from meshcomp.topology import Topology

__all__ = ["LEANING_LIMIT", "Circle", "Prospect", "Scene", "frame_along", "prospect"]

LEANING_LIMIT = 0.2  # sine: triangles of remeshed or decimated walls lean
_PLANE = 8  # faces that lie in one plane: by chance, shaken coordinates let up to four


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A mesh with what is known of its faces, shared by all detectors."""

    mesh: Mesh
    topology: Topology
    regions: Regions
    bends: Bends

    @property
    def limit(self) -> float:
        """How far coordinates may be off a true plane or circle, mm."""
        return self.mesh.kept("flatness limit", flatness_limit)

    @property
    def is_exact(self) -> bool:
        """Whether planes of many faces show that coordinates are off by no more."""
        return self.mesh.kept("is exact", self._has_wide_planes)

    def _has_wide_planes(self, _: Mesh) -> bool:
        return int(np.bincount(self.regions.of_face).max(initial=0)) >= _PLANE


@dataclass(frozen=True, slots=True, eq=False)
class Circle:
    """A circle across a direction, and the side on which material lies."""

    centre: NDArray[np.float64]  # (2,) mm
    radius: float
    is_internal: bool


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Prospect:
    """The scene seen along a direction: its upright faces, ready to be looked up.

    Rows of `corners`, `normals`, `chords` and `leaning` belong to `faces`, which are
    sorted by the first coordinate of their middles.
    """

    scene: Scene
    frame: NDArray[np.float64]  # (3, 3) rows: across, across, along
    faces: NDArray[np.int64]  # (k,)
    middles: NDArray[np.float64]  # (k, 2) mm
    corners: NDArray[np.float64]  # (k, 3, 2) mm
    normals: NDArray[np.float64]  # (k, 2) across the direction
    leaning: NDArray[np.float64]  # (k,) sine of the normal's angle out of that plane

    def around(
        self, circle: Circle, limit: float, *, least: float = 0.0
    ) -> NDArray[np.int64]:
        """Rows of faces whose middles lie in the square about a circle.

        Those nearer to its centre than `least` may be left out.
        """
        reach = circle.radius + limit
        ends = circle.centre[0] + np.array([-reach, reach])
        first, last = np.searchsorted(self.middles[:, 0], ends)
        away = self.middles[first:last] - circle.centre
        near = np.abs(away[:, 1]) <= reach
        if least > 0:
            near &= dot(away, away) >= least * least
        return np.asarray(first + np.flatnonzero(near))


def frame_along(direction: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return right-handed unit rows (3, 3), the last one along `direction`."""
    return np.vstack([basis_across(direction), direction])


def prospect(
    scene: Scene, direction: NDArray[np.float64], upright: NDArray[np.bool_]
) -> Prospect:
    """Look at the upright faces of a scene along a direction."""
    frame = frame_along(direction)
    faces = np.flatnonzero(upright)
    corners = turned(
        np.take(scene.mesh.vertices, scene.mesh.faces[faces], axis=0), frame[:2]
    )
    middles = (corners[:, 0] + corners[:, 1] + corners[:, 2]) / 3
    order = np.argsort(middles[:, 0], kind="stable")
    faces, corners, middles = faces[order], corners[order], middles[order]
    normals = np.take(scene.regions.face_normals, faces, axis=0)
    return Prospect(
        scene=scene,
        frame=frame,
        faces=faces,
        middles=middles,
        corners=corners,
        normals=turned(normals, frame[:2]),
        leaning=np.abs(along(normals, direction)),
    )
