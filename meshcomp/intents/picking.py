"""Which features of a part a pick means."""

from __future__ import annotations

import re
from dataclasses import replace
from fnmatch import fnmatchcase
from typing import Protocol

import numpy as np

from meshcomp.errors import OptionError
from meshcomp.features import Feature, Wall
from meshcomp.inspections import Inspection
from meshcomp.intents.statements import Pick

__all__ = ["SIZE_LIMIT", "Named", "all_picked", "is_named", "picked"]

SIZE_LIMIT = 0.05  # mm: sizes nearer than this count as the one that was named
_SIZED = re.compile(r"(bore|boss|slot|wall)\s+([0-9]*\.?[0-9]+)")


class Named(Protocol):
    """What a name is compared with: a feature, or what a record has of it."""

    @property
    def id(self) -> str:
        """Name of its own."""

    @property
    def kind(self) -> str:
        """Return "bore", "boss" and so on."""

    @property
    def nominal_size(self) -> float | None:
        """Size as drawn, mm."""


def picked(inspection: Inspection, pick: Pick) -> tuple[Feature, ...]:
    """Return the features that a pick means, in the order of their ids.

    Parameters
    ----------
    inspection : Inspection
    pick : Pick
        A place is looked for in the frame of the part's file.

    Examples
    --------
    >>> import meshcomp
    >>> found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    >>> [f.id for f in picked(found, Pick(names=("bore 5",)))]
    ['bore-03', 'bore-07']
    >>> [f.id for f in picked(found, Pick(kind="bore", size=22.0))]
    ['bore-04']
    >>> wheel = meshcomp.inspect(meshcomp.demo_part("indexing_wheel"))
    >>> len(picked(wheel, Pick(group="circle-01")))
    5
    """
    return tuple(f for f in inspection.features if _is_meant(inspection, f, pick))


def all_picked(inspection: Inspection, pick: Pick, place: str) -> tuple[Feature, ...]:
    """Return the features that a pick means, of which there must be some.

    Raises
    ------
    OptionError
        If it, or one of its names, means none, or a distance between other features:
        with its place in the plan file.
    """
    named = picked(inspection, pick)
    for name in pick.names:
        # One name alone is what was looked for already.
        one = (name,) == pick.names
        if not (named if one else picked(inspection, replace(pick, names=(name,)))):
            raise OptionError(
                f"{place}: no feature {name!r} in this part: {_known(inspection)}"
            )
    found = tuple(f for f in named if _has_walls(f, pick, place))
    if not found:
        raise OptionError(f"{place}: picks no feature of this part: {_known(inspection)}")
    return found


def _has_walls(feature: Feature, pick: Pick, place: str) -> bool:
    """Whether something can be done to a feature: a rule passes over distances.

    Raises
    ------
    OptionError
        If a distance, which follows from other features, is named.
    """
    if not isinstance(feature, Wall) or not feature.between:
        return True
    if feature.id in pick.names:
        raise OptionError(
            f"{place}: {feature.id} has no walls of its own: it follows from "
            f"{feature.owners_in_words}: say what those are for"
        )
    return False


def _known(inspection: Inspection) -> str:
    sized = [f for f in inspection.features if f.nominal_size is not None]
    words = ", ".join(f"{f.id} ({f.nominal_size:g} mm)" for f in sized)
    return f"it has {words}" if words else "it has no feature with a size"


def _is_meant(inspection: Inspection, feature: Feature, pick: Pick) -> bool:
    if pick.names:
        return any(
            is_named(feature, name) or _is_in_group(inspection, feature, name)
            for name in pick.names
        )
    return (
        (pick.kind is None or feature.kind == pick.kind)
        and (pick.size is None or _has_size(feature, pick.size))
        and (pick.near is None or _is_near(inspection, feature, pick))
        and (pick.group is None or _is_in_group(inspection, feature, pick.group))
    )


def is_named(feature: Named, name: str) -> bool:
    """Whether a name means a feature: an id, a pattern, or its kind and size.

    Examples
    --------
    >>> import meshcomp
    >>> bore = meshcomp.inspect(meshcomp.demo_part("knob")).features[0]
    >>> [is_named(bore, name) for name in ("bore-01", "b*", "bore 6", "bore 5", "boss 6")]
    [True, True, True, False, False]
    """
    sized = _SIZED.fullmatch(name)
    if sized:
        return feature.kind == sized[1] and _has_size(feature, float(sized[2]))
    return fnmatchcase(feature.id, name)


def _has_size(feature: Named, size: float) -> bool:
    nominal = feature.nominal_size
    return nominal is not None and abs(nominal - size) <= SIZE_LIMIT


def _is_near(inspection: Inspection, feature: Feature, pick: Pick) -> bool:
    """Whether a feature's axis passes a place, or its middle does where only X, Y count."""
    place = np.asarray(pick.near, dtype=np.float64)
    stand = inspection.part.stand
    point, direction = stand.to_file(feature.point), stand.to_file(feature.direction)
    if len(place) == 2:  # noqa: PLR2004 - X and Y alone
        return bool(np.linalg.norm(point[:2] - place) <= pick.within)
    along = float((place - point) @ direction)
    half = (feature.end - feature.start) / 2
    nearest = point + direction * float(np.clip(along, -half, half))
    return bool(np.linalg.norm(place - nearest) <= pick.within)


def _is_in_group(inspection: Inspection, feature: Feature, name: str) -> bool:
    """Whether a feature belongs to a stepped hole, a chain, or a pattern."""
    groups = (each.members for each in inspection.groups if each.id == name)
    patterns = (each.members for each in inspection.patterns if each.id == name)
    return any(feature.id in members for members in (*groups, *patterns))
