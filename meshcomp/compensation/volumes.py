"""The change of volume that a plan should make: area times offset."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Correction, Plan

__all__ = ["predicted_change"]


def predicted_change(inspection: Inspection, plan: Plan) -> float:
    """Predict the change of volume from the features' sizes and areas, mm³.

    A wall sweeps its area, seen from the side, times its offset. A cylinder changes from
    the polygon it was to the circle it becomes.
    """
    mesh = inspection.part.mesh
    return sum(
        _change(mesh, feature, correction)
        for feature, correction in zip(inspection.features, plan.corrections, strict=True)
        if not correction.is_left_alone
    )


def _change(mesh: Mesh, feature: Feature, correction: Correction) -> float:
    if not isinstance(feature, Cylinder) or correction.mesh_size is None:
        return correction.offset * _side_area(mesh, feature.faces)
    entries = correction.offset * _side_area(mesh, feature.entry_faces)
    vectors = mesh.area_vectors[feature.faces]
    middles = mesh.corners[feature.faces].mean(axis=1) - feature.point
    middles -= np.outer(middles @ feature.direction, feature.direction)
    # Divergence theorem in the plane across the axis: half the flux of the distance.
    swept = abs(float(np.einsum("ij,ij->", vectors, middles))) / 2
    length = 2 * swept / _polygon_ratio(feature) / (feature.nominal_size / 2) ** 2
    after = length / 2 * (correction.mesh_size / 2) ** 2
    change = after - swept
    return entries + (-change if feature.is_internal else change)


def _polygon_ratio(cylinder: Cylinder) -> float:
    """Area of the facets' polygon over that of the circle's sector, from sagitta."""
    half = np.arccos(min(cylinder.size_across_flats / cylinder.nominal_size, 1.0))
    return float(np.sin(2 * half) / (2 * half)) if half > 0 else 1.0


def _side_area(mesh: Mesh, faces: NDArray[np.int64]) -> float:
    """Area of faces as seen along their horizontal normals, mm²."""
    return float(np.hypot(*mesh.area_vectors[faces][:, :2].T).sum())
