"""What speaks for a polygon and against a coarse circle, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from meshcomp.features import Cylinder, Feature, Wall
from meshcomp.standards.fasteners import NUTS

__all__ = ["with_evidence"]

_AMBIGUOUS = {"hexagon": 6, "octagon": 8}
_LIKE = 2.0  # between sizes
_NUT_ROOM = 0.6  # mm that a pocket may be wider than the nut
_NUT_DEPTH = (0.6, 1.6)  # times the nut's height


def with_evidence(features: Sequence[Feature]) -> list[Feature]:
    """Note at hexagons and octagons why they were not taken for coarse bores."""
    cylinders = [f for f in features if isinstance(f, Cylinder)]
    return [
        replace(f, notes=(*f.notes, _words(f, cylinders))) if _is_ambiguous(f) else f
        for f in features
    ]


def _is_ambiguous(feature: Feature) -> bool:
    shape = feature.shape if isinstance(feature, Wall) else None
    return shape is not None and shape.name in _AMBIGUOUS and feature.is_internal


def _words(wall: Feature, cylinders: Sequence[Cylinder]) -> str:
    shape = wall.shape if isinstance(wall, Wall) else None
    name = "" if shape is None else shape.name
    flats = 0.0 if shape is None else dict(shape.measures)["across flats"]
    sides = _AMBIGUOUS[name]
    reasons = []
    counts = sorted(
        c.facets
        for c in cylinders
        if max(c.nominal_size, flats) <= _LIKE * min(c.nominal_size, flats)
    )
    if counts and counts[0] > sides:
        reasons.append(f"circles of a like size have {counts[0]} facets or more")
    low, high = wall.start, wall.end
    if isinstance(wall, Wall) and wall.kind == "slot":
        low, high = wall.level
    nut = _nut(flats, high - low)
    if name == "hexagon" and nut:
        reasons.append(f"a nut {nut} (ISO 4032) goes into it")
    why = ", and ".join(reasons) or f"a circle is not drawn with {sides} sides"
    return f"{sides} sides: may be meant as a coarse bore; taken for a polygon, since {why}"


def _nut(flats: float, depth: float) -> str | None:
    """Name the nut that a pocket's width and depth suit."""
    least, most = _NUT_DEPTH
    for thread, (width, _, height) in NUTS.items():
        if 0 <= flats - width <= _NUT_ROOM and least * height <= depth <= most * height:
            return thread
    return None
