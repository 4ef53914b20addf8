"""Which law of a process model a feature prints by."""

from __future__ import annotations

from meshcomp.deviations import ProcessModel, SizeLaw
from meshcomp.features import Cylinder, Feature

__all__ = ["LYING_LIMIT", "STANDING_LIMIT", "build_angle", "law_name", "law_of"]

STANDING_LIMIT = 15.0  # degrees: a bore that leans more prints like neither class
LYING_LIMIT = 75.0


def build_angle(feature: Feature) -> float:
    """Return a cylinder's angle to the build direction, degrees; 0 for walls."""
    return feature.build_angle if isinstance(feature, Cylinder) else 0.0


def law_name(feature: Feature) -> str | None:
    """Return the name of the law that a feature prints by, or None between classes."""
    if isinstance(feature, Cylinder):
        if feature.build_angle <= STANDING_LIMIT:
            return feature.kind
        if feature.build_angle >= LYING_LIMIT and feature.is_internal:
            return "lying bore width"
        return None
    if feature.is_internal:
        return "slot"
    along_x = abs(float(feature.direction[0])) >= abs(float(feature.direction[1]))
    return "outside x" if along_x else "outside y"


def law_of(feature: Feature, model: ProcessModel) -> SizeLaw | None:
    """Return the law that a feature prints by, or None where none was measured."""
    name = law_name(feature)
    return None if name is None else model.law(name)
