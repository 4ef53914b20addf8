"""Cylinders of an exact solid, read off its faces.

Source: OpenCASCADE through OCP: axis and radius of each cylindrical face, the ends and the
angle covered from its own triangles, finer than any that are tested.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from build123d import Solid
from numpy.typing import NDArray
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepTools import BRepTools
from OCP.GeomAbs import GeomAbs_Cylinder

from outside.solids import triangles_of

__all__ = ["STEPS", "TrueCylinder", "true_cylinders"]

STEPS = 3600  # of a turn


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TrueCylinder:
    """A cylinder whose faces hang together; mm, degrees."""

    diameter: float
    axis: NDArray[np.float64]  # (3,) unit, its largest part positive
    foot: NDArray[np.float64]  # (3,) of the origin on the axis
    start: float
    end: float
    is_internal: bool
    turns: NDArray[np.bool_]  # (3600,) steps around the axis that a face covers

    @property
    def span(self) -> float:
        """Angle covered, degrees."""
        return float(self.turns.mean() * 360)

    def moved(self, rotation: NDArray[np.float64]) -> TrueCylinder:
        """Return it in a turned frame."""
        return TrueCylinder(
            diameter=self.diameter,
            axis=rotation @ self.axis,
            foot=rotation @ self.foot,
            start=self.start,
            end=self.end,
            is_internal=self.is_internal,
            turns=self.turns,
        )


def true_cylinders(solid: Solid) -> list[TrueCylinder]:
    """Read the cylinders of a solid; split faces of one cylinder at one height are one."""
    BRepTools.Clean_s(solid.wrapped)
    BRepMesh_IncrementalMesh(solid.wrapped, 0.01, False, 0.1, False)
    pieces = [piece for face in solid.faces() if (piece := _piece(face)) is not None]
    merged = True
    while merged:
        merged = False
        for a, b in combinations(pieces, 2):
            if _are_one(a, b):
                pieces = [p for p in pieces if p is not a and p is not b]
                pieces.append(_united(a, b))
                merged = True
                break
    return pieces


def _piece(face) -> TrueCylinder | None:
    surface = BRepAdaptor_Surface(face.wrapped)
    if surface.GetType() != GeomAbs_Cylinder:
        return None
    line = surface.Cylinder().Axis()
    axis = np.array([line.Direction().X(), line.Direction().Y(), line.Direction().Z()])
    axis *= np.sign(axis[np.argmax(np.abs(axis))])
    place = np.array([line.Location().X(), line.Location().Y(), line.Location().Z()])
    foot = place - (place @ axis) * axis
    points, triangles = triangles_of(face)
    corners = points[triangles] - foot
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    middles = corners.mean(axis=1)
    outward = middles - (middles @ axis)[:, None] * axis
    return TrueCylinder(
        diameter=2 * surface.Cylinder().Radius(),
        axis=axis,
        foot=foot,
        start=float((points @ axis).min()),
        end=float((points @ axis).max()),
        is_internal=bool((normals * outward).sum() < 0),
        turns=_turns(corners, axis),
    )


def _turns(corners: NDArray[np.float64], axis: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Find the steps around an axis that triangles cover."""
    x = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    x /= np.linalg.norm(x)
    angles = np.arctan2(corners @ np.cross(axis, x), corners @ x)
    opened = (angles - angles[:, :1] + np.pi) % (2 * np.pi) - np.pi + angles[:, :1]
    ends = opened / (2 * np.pi) * STEPS
    seen = np.zeros(STEPS, dtype=bool)
    for low, high in zip(
        np.floor(ends.min(axis=1)), np.ceil(ends.max(axis=1)), strict=True
    ):
        seen[np.arange(int(low), int(high)) % STEPS] = True
    return seen


def _are_one(a: TrueCylinder, b: TrueCylinder) -> bool:
    return (
        a.is_internal == b.is_internal
        and abs(a.diameter - b.diameter) < 1e-5
        and float(np.linalg.norm(np.cross(a.axis, b.axis))) < 1e-6
        and float(np.linalg.norm(a.foot - b.foot)) < 1e-4
        and min(a.end, b.end) - max(a.start, b.start) > 1e-4
    )


def _united(a: TrueCylinder, b: TrueCylinder) -> TrueCylinder:
    return TrueCylinder(
        diameter=a.diameter,
        axis=a.axis,
        foot=a.foot,
        start=min(a.start, b.start),
        end=max(a.end, b.end),
        is_internal=a.is_internal,
        turns=a.turns | b.turns,
    )
