"""The change of volume that a plan should make: area times offset.

The area is the mean of what it is before and after. Walls grow and shrink as those beside
them move; where all offsets are made in a plane, the outline's length goes with the
offset, so that the mean of both ends (the trapezoidal rule) is exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import rows_of
from meshcomp._vectors import basis_across, dot, lengths
from meshcomp.compensation.charts import Charts
from meshcomp.compensation.lying import radii
from meshcomp.compensation.refining import Refined
from meshcomp.compensation.targets import Targets
from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Correction, Plan

__all__ = ["Moved", "VolumeChange", "predicted_change"]

_SLOPING = 2e-3  # vertical part of a normal: more is no upright wall


@dataclass(frozen=True, slots=True)
class VolumeChange:
    """A predicted change of volume, mm³."""

    net: float
    moved: float  # what is added and what is taken away, together
    yielded: float  # what sloping faces fall short of, where they gave way


def predicted_change(
    inspection: Inspection,
    plan: Plan,
    refined: Refined,
    wanted: Targets,
    moved: Moved,
) -> VolumeChange:
    """Predict the change of volume from the features' sizes and areas.

    A wall sweeps its area, seen from the side, times its offset. A cylinder changes from
    the polygon it was to the facets of what it becomes. Where heights are kept, a slope
    cannot follow past the faces that it ends at, and one that is left alone is drawn
    along; what slopes fall short of is taken off, and so is what they lose where they are
    bent and triangulated anew.
    """
    d = moved.d
    after = refined.mesh.moved(refined.mesh.vertices + d)
    surface = _Surface(inspection.part.mesh, refined, after, d)
    changes = [
        _change(surface, rows, feature, correction)
        for rows, feature, correction in zip(
            rows_of(wanted.feature, len(inspection.features)),
            inspection.features,
            plan.corrections,
            strict=True,
        )
        if not correction.is_left_alone
    ]
    yielded = _yielded(surface, wanted) - _bent(surface, moved)
    return VolumeChange(
        net=sum(changes) - yielded, moved=sum(abs(c) for c in changes), yielded=yielded
    )


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """How far the vertices of a refined mesh went, and what became of its regions."""

    d: NDArray[np.float64]  # (n, 3) mm
    mesh: Mesh  # moved, planes triangulated anew
    regions: NDArray[np.int64]  # (m,) of its faces
    charts: Charts


@dataclass(frozen=True, slots=True, eq=False)
class _Surface:
    """The inspected mesh, and the refined one before and after the motion."""

    source: Mesh
    refined: Refined
    after: Mesh
    d: NDArray[np.float64]  # (n, 3) mm

    def side_area(self, rows: NDArray[np.int64]) -> float:
        """Mean area of refined faces as seen along their horizontal normals, mm²."""
        return sum(_side_area(mesh, rows) for mesh in (self.refined.mesh, self.after)) / 2

    def mean_vectors(self, rows: NDArray[np.int64]) -> NDArray[np.float64]:
        """Mean area vectors of refined faces, (k, 3) mm²."""
        return (self.refined.mesh.area_vectors[rows] + self.after.area_vectors[rows]) / 2

    def swept(
        self, rows: NDArray[np.int64], vectors: NDArray[np.float64] | None = None
    ) -> float:
        """Volume that refined faces sweep, mm³; their mean area vectors may be given."""
        vectors = self.mean_vectors(rows) if vectors is None else vectors
        a, b, c = (np.take(self.d, k, axis=0) for k in self.refined.mesh.faces[rows].T)
        a += b
        a += c
        return float(dot(vectors, a / 3).sum())


def _yielded(surface: _Surface, wanted: Targets) -> float:
    """Volume that sloping faces were asked to sweep and do not."""
    vectors = surface.refined.mesh.area_vectors
    sloping = np.abs(vectors[:, 2]) > _SLOPING * lengths(vectors)
    rows = np.flatnonzero(sloping & ~wanted.is_round)
    means = surface.mean_vectors(rows)
    asked = np.hypot(means[:, 0], means[:, 1]) * wanted.offset[rows]
    return float(asked.sum()) - surface.swept(rows, means)


def _bent(surface: _Surface, moved: Moved) -> float:
    """Volume that sloping planes gain by other triangles between the same edges."""
    normals = moved.charts.planes.normals
    sloping = np.zeros(len(moved.charts.normals), dtype=bool)
    sloping[: len(normals)] = np.abs(normals[:, 2]) > _SLOPING
    sloping[: len(normals)] &= np.hypot(normals[:, 0], normals[:, 1]) > _SLOPING
    anew = _under(moved.mesh, np.flatnonzero(sloping[moved.regions]))
    return anew - _under(surface.after, np.flatnonzero(sloping[moved.charts.of_face]))


def _under(mesh: Mesh, faces: NDArray[np.int64]) -> float:
    """Volume between faces and a corner of the mesh, mm³."""
    first = mesh.vertices[mesh.faces[faces, 0]] - mesh.vertices[0]
    return float(dot(first, mesh.area_vectors[faces]).sum()) / 3


def _change(
    surface: _Surface, rows: NDArray[np.int64], feature: Feature, correction: Correction
) -> float:
    """Change of volume that a feature makes; `rows` are its refined faces."""
    if not isinstance(feature, Cylinder) or correction.mesh_size is None:
        return correction.offset * surface.side_area(rows)
    is_entry = np.isin(surface.refined.parents[rows], feature.entry_faces)
    # An entry lies between the wall, and a face that may move along the axis.
    entries = surface.swept(rows[is_entry])
    own = rows[~is_entry]
    square = (feature.nominal_size / 2) ** 2
    before = abs(float(_unrolled(surface.source, feature.faces, feature).sum()))
    rounded = square * before / 2 - _within(surface.source, feature)
    areas = _unrolled(surface.refined.mesh, own, feature)
    areas = (areas + _unrolled(surface.after, own, feature)) / 2
    wanted = _chord_squares(surface.refined.mesh, own, (feature, correction))
    turned = float(np.sign(areas.sum()))
    change = rounded + turned * float(areas @ (wanted - square)) / 2
    return entries + (-change if feature.is_internal else change)


def _within(mesh: Mesh, cylinder: Cylinder) -> float:
    """Volume between a cylinder's faces and its axis, mm³.

    Divergence theorem in the plane across the axis: half the flux of the distance.
    """
    wall = Mesh(mesh.vertices, mesh.faces[cylinder.faces])
    middles = wall.corners.mean(axis=1) - cylinder.point
    middles -= np.outer(middles @ cylinder.direction, cylinder.direction)
    return abs(float(np.einsum("ij,ij->", wall.area_vectors, middles))) / 2


def _unrolled(
    mesh: Mesh, faces: NDArray[np.int64], cylinder: Cylinder
) -> NDArray[np.float64]:
    """Areas of a cylinder's faces in the plane of angle and position along the axis, (k,).

    Sectors of a circle have the area r² / 2 times the angle, however the facets run. All
    have one sign, but for faces that are turned over.
    """
    along = (_corners(mesh, faces) - cylinder.point) @ cylinder.direction
    along = along - along[:, :1]
    angles = _angles(mesh, faces, cylinder)
    return np.asarray(angles[:, 1] * along[:, 2] - angles[:, 2] * along[:, 1]) / 2


def _corners(mesh: Mesh, faces: NDArray[np.int64]) -> NDArray[np.float64]:
    """Corners of faces, (k, 3, 3) mm."""
    return np.take(mesh.vertices, np.take(mesh.faces, faces, axis=0), axis=0)


def _angles(
    mesh: Mesh, faces: NDArray[np.int64], cylinder: Cylinder
) -> NDArray[np.float64]:
    """Angles of the corners of faces about an axis, from that of the first, (k, 3) rad."""
    away = _corners(mesh, faces) - cylinder.point
    across = away @ basis_across(cylinder.direction).T
    angles = np.arctan2(across[..., 1], across[..., 0])
    # Measured from the first corner, so that no face is torn at half a turn.
    return np.asarray((angles - angles[:, :1] + np.pi) % (2 * np.pi) - np.pi)


def _chord_squares(
    mesh: Mesh, faces: NDArray[np.int64], sized: tuple[Cylinder, Correction]
) -> NDArray[np.float64]:
    """Return r² of sectors that have the areas of the triangles under facets, (k,) mm².

    A facet that spans the angle t between the distances a and b has a b sin(t) / 2.
    """
    angles = _angles(mesh, faces, sized[0])
    corners = _corners(mesh, faces)
    distances = radii(*sized, corners.reshape(-1, 3)).reshape(-1, 3)
    rows = np.arange(len(faces))
    low, high = angles.argmin(axis=1), angles.argmax(axis=1)
    span = angles[rows, high] - angles[rows, low]
    return np.asarray(distances[rows, low] * distances[rows, high] * np.sinc(span / np.pi))


def _side_area(mesh: Mesh, faces: NDArray[np.int64]) -> float:
    """Area of faces as seen along their horizontal normals, mm²."""
    vectors = np.take(mesh.area_vectors, faces, axis=0)
    return float(np.hypot(vectors[:, 0], vectors[:, 1]).sum())
