"""The hub around a bore: the material that a press fit strains."""

from __future__ import annotations

import numpy as np

from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection

__all__ = ["hub_diameter"]

_COAXIAL = 0.05  # mm between the axes
_PARALLEL = 1e-4  # 1 - cosine


def hub_diameter(inspection: Inspection, bore: Feature) -> float | None:
    """Return the diameter of the smallest boss about a bore's axis, mm, or None.

    It must surround the bore along some of its length.

    Examples
    --------
    >>> import meshcomp
    >>> found = meshcomp.inspect(meshcomp.demo_part("shaft_spacer"))
    >>> round(hub_diameter(found, found.features[0]), 6)
    12.0
    """
    if not isinstance(bore, Cylinder) or not bore.is_internal:
        return None
    sizes = [
        other.nominal_size
        for other in inspection.cylinders
        if not other.is_internal
        and other.nominal_size > bore.nominal_size
        and _surrounds(other, bore)
    ]
    return min(sizes, default=None)


def _surrounds(boss: Cylinder, bore: Cylinder) -> bool:
    cosine = float(boss.direction @ bore.direction)
    if 1 - abs(cosine) > _PARALLEL:
        return False
    between = boss.point - bore.point
    aside = between - (between @ bore.direction) * bore.direction
    if np.linalg.norm(aside) > _COAXIAL:
        return False
    ends = sorted((cosine * boss.start, cosine * boss.end))
    return min(ends[1], bore.end) > max(ends[0], bore.start)
