"""The change of volume that a plan should make: area times offset."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across, dot
from meshcomp.compensation.lying import mean_square
from meshcomp.compensation.refining import Refined
from meshcomp.compensation.targets import Targets
from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Correction, Plan

__all__ = ["VolumeChange", "predicted_change"]

_SLOPING = 2e-3  # vertical part of a normal: more is no upright wall


@dataclass(frozen=True, slots=True)
class VolumeChange:
    """A predicted change of volume, mm³."""

    net: float
    moved: float  # what is added and what is taken away, together
    yielded: float  # what sloping faces fall short of, where they gave way to walls


def predicted_change(
    inspection: Inspection,
    plan: Plan,
    refined: Refined,
    wanted: Targets,
    d: NDArray[np.float64],
) -> VolumeChange:
    """Predict the change of volume from the features' sizes and areas.

    A wall sweeps its area, seen from the side, times its offset. A cylinder changes from
    the polygon it was to the circle it becomes. Where heights are kept, a slope cannot
    follow past the walls that it ends at; what it falls short of is taken off.
    """
    mesh = inspection.part.mesh
    changes = [
        _change(mesh, feature, correction)
        for feature, correction in zip(inspection.features, plan.corrections, strict=True)
        if not correction.is_left_alone
    ]
    yielded = _yielded(refined.mesh, wanted, d)
    return VolumeChange(
        net=sum(changes) - yielded, moved=sum(abs(c) for c in changes), yielded=yielded
    )


def _yielded(mesh: Mesh, wanted: Targets, d: NDArray[np.float64]) -> float:
    """Volume that sloping faces were asked to sweep and do not."""
    vectors = mesh.area_vectors
    sloping = np.abs(vectors[:, 2]) > _SLOPING * np.linalg.norm(vectors, axis=1)
    rows = np.flatnonzero(sloping & ~wanted.is_round & (wanted.offset != 0))
    asked = np.hypot(*vectors[rows, :2].T) * wanted.offset[rows]
    swept = dot(vectors[rows], d[mesh.faces[rows]].mean(axis=1))
    return float((asked - swept).sum())


def _change(mesh: Mesh, feature: Feature, correction: Correction) -> float:
    if not isinstance(feature, Cylinder):
        return correction.offset * _side_area(mesh, feature.faces)
    if correction.mesh_size is None:
        faces = np.concatenate([feature.faces, feature.entry_faces])
        return correction.offset * _side_area(mesh, faces)
    entries = correction.offset * _side_area(mesh, feature.entry_faces)
    wall = Mesh(mesh.vertices, mesh.faces[feature.faces])
    vectors = wall.area_vectors
    middles = wall.corners.mean(axis=1) - feature.point
    middles -= np.outer(middles @ feature.direction, feature.direction)
    # Divergence theorem in the plane across the axis: half the flux of the distance.
    swept = abs(float(np.einsum("ij,ij->", vectors, middles))) / 2
    after = mean_square(feature, correction) * _unrolled_area(mesh, feature) / 2
    change = after - swept
    return entries + (-change if feature.is_internal else change)


def _unrolled_area(mesh: Mesh, cylinder: Cylinder) -> float:
    """Area of a cylinder's faces in the plane of angle and position along the axis.

    Sectors of a circle have the area r² / 2 times the angle, however the facets run.
    """
    away = mesh.vertices[mesh.faces[cylinder.faces]] - cylinder.point
    across = away @ basis_across(cylinder.direction).T
    angles = np.arctan2(across[..., 1], across[..., 0])
    # Measured from the first corner, so that no face is torn at half a turn.
    angles = (angles - angles[:, :1] + np.pi) % (2 * np.pi) - np.pi
    along = away @ cylinder.direction
    along = along - along[:, :1]
    doubled = angles[:, 1] * along[:, 2] - angles[:, 2] * along[:, 1]
    return abs(float(doubled.sum())) / 2


def _side_area(mesh: Mesh, faces: NDArray[np.int64]) -> float:
    """Area of faces as seen along their horizontal normals, mm²."""
    vectors = Mesh(mesh.vertices, mesh.faces[faces]).area_vectors
    return float(np.hypot(vectors[:, 0], vectors[:, 1]).sum())
