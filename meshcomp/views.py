"""Plan views: horizontal sections before and after, at the heights that matter."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Plan
from meshcomp.results import PlanView
from meshcomp.sections import rings_at
from meshcomp.topology import topology_of

__all__ = ["plan_views"]

_MOST = 4
_UPRIGHT = np.eye(3)
_STANDING = 0.999  # cosine


def plan_views(
    inspection: Inspection, plan: Plan, after: Mesh | None
) -> tuple[PlanView, ...]:
    """Cut a part before and after at heights that together show its changed features.

    Parameters
    ----------
    inspection, plan
        Features and what was planned for them.
    after : Mesh or None
        The compensated mesh as it stands on the bed; None for a dry run.
    """
    changed = [
        feature
        for feature, correction in zip(inspection.features, plan.corrections, strict=True)
        if not correction.is_left_alone and _levels(feature) is not None
    ]
    heights = _heights(changed)
    before = _rings(inspection.part.mesh, heights)
    if after is None:
        later: list[list[NDArray[np.float64]]] = [[] for _ in heights]
    else:
        later = _rings(after, heights)
    return tuple(
        PlanView(
            height=height,
            before=tuple(old),
            after=tuple(new),
            marks=tuple(
                (f.id, float(f.point[0]), float(f.point[1]))
                for f in changed
                if _reaches(f, height)
            ),
        )
        for height, old, new in zip(heights, before, later, strict=True)
    )


def _rings(mesh: Mesh, heights: list[float]) -> list[list[NDArray[np.float64]]]:
    """Cut without making a solid, which takes much longer than so few sections."""
    return rings_at(mesh, topology_of(mesh), _UPRIGHT, heights)


def _levels(feature: Feature) -> tuple[float, float] | None:
    """Heights between which a level section shows the feature; None if it lies."""
    if not isinstance(feature, Cylinder):
        return feature.level
    if abs(float(feature.direction[2])) < _STANDING:
        return None
    return feature.start, feature.end


def _reaches(feature: Feature, height: float) -> bool:
    levels = _levels(feature)
    return levels is not None and levels[0] < height < levels[1]


def _heights(features: list[Feature]) -> list[float]:
    """Few heights that show all features, each chosen to show most of those left."""
    spans = {f.id: levels for f in features if (levels := _levels(f)) is not None}
    edges = sorted({round(z, 4) for span in spans.values() for z in span})
    options = [
        (low + high) / 2
        for low, high in pairwise(edges)
        if high - low > 0.02  # noqa: PLR2004 - mm
    ]
    chosen: list[float] = []
    left = dict(spans)
    while left and options and len(chosen) < _MOST:
        best = max(options, key=lambda z: sum(a < z < b for a, b in left.values()))
        shown = [name for name, (a, b) in left.items() if a < best < b]
        if not shown:
            break
        chosen.append(best)
        for name in shown:
            del left[name]
    return sorted(chosen)
