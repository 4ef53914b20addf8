"""Circles of so few facets that they may be meant as polygons: named evidence decides."""

from __future__ import annotations

from meshcomp.detection.cylinders import CylinderFaces

__all__ = ["COARSE", "evidence", "without_polygons"]

COARSE = 8  # facets: fewer make no circle, so many could as well be a polygon
_FINER = 2.0  # times as many facets on circles of a like size: those are what it is not
_LIKE = 2.0  # between diameters


def without_polygons(found: list[CylinderFaces]) -> list[CylinderFaces]:
    """Leave out what has eight facets where like circles have at least twice as many.

    Parameters
    ----------
    found : list of CylinderFaces
        Of one part.
    """
    return [c for c in found if c.facets > COARSE or not _finer(c, found)]


def evidence(cylinder: CylinderFaces, found: list[CylinderFaces]) -> str:
    """Say why a circle of few facets was taken for one."""
    counts = sorted(c.facets for c in _like(cylinder, found))
    why = (
        f"circles of a like size have {counts[0]} to {counts[-1]}"
        if counts
        else "the part has no other circle of a like size"
    )
    return (
        f"{cylinder.facets} facets: may be meant as a polygon; taken for round, since {why}"
    )


def _like(cylinder: CylinderFaces, found: list[CylinderFaces]) -> list[CylinderFaces]:
    """Other cylinders between half and twice as wide."""
    return [
        c
        for c in found
        if c is not cylinder
        and max(c.diameter, cylinder.diameter) <= _LIKE * min(c.diameter, cylinder.diameter)
    ]


def _finer(cylinder: CylinderFaces, found: list[CylinderFaces]) -> bool:
    """Whether circles of a like size have far more facets, all of them."""
    counts = [c.facets for c in _like(cylinder, found)]
    return bool(counts) and min(counts) >= _FINER * cylinder.facets
