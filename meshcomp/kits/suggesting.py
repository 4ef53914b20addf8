"""Likely mates of a kit: bores and bosses of two parts whose sizes are near."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import product

from meshcomp.kits.tasks import Survey
from meshcomp.mechanisms import FeatureOutcome, Reference, Suggestion

__all__ = ["likely_mates"]

_INTERNAL, _EXTERNAL = ("bore", "slot"), ("boss", "wall")
_SHARE = 0.01  # of the size; and at least, and at most, mm:
_LEAST, _MOST = 0.3, 0.6
_Sizes = dict[tuple[str, str, float], list[FeatureOutcome]]


def likely_mates(surveys: Sequence[Survey]) -> tuple[Suggestion, ...]:
    """Return pairs of features of two parts with near nominal sizes, the nearest first.

    Near is within 1 % of the size, 0.3 mm at least and 0.6 mm at most: what is drawn as
    a fit, a clearance or an interference of a mechanism. Equal features of one part count
    as one suggestion.

    Examples
    --------
    >>> from meshcomp.mechanisms import FeatureOutcome
    >>> def part(name, kind, size):
    ...     feature = FeatureOutcome(id=f"{kind}-01", kind=kind, is_internal=kind == "bore",
    ...         law=kind, nominal_size=size, target_size=size, mesh_size=size, offset=0.0,
    ...         state="", reason="")
    ...     return Survey(name=name, features=(feature,))
    >>> for each in likely_mates([part("wheel", "bore", 12.0), part("hub", "boss", 11.9)]):
    ...     print(each.internal.in_words(), each.external.in_words())
    wheel/bore-01 hub/boss-01
    """
    groups = _groups(surveys)
    found = []
    for inner, outer in product(groups, groups):
        if inner[1] not in _INTERNAL or inner[0] == outer[0]:
            continue
        if outer[1] == _EXTERNAL[_INTERNAL.index(inner[1])] and _near(inner[2], outer[2]):
            found.append(_suggestion(inner, outer, groups))
    return tuple(sorted(found, key=lambda s: (abs(s.drawn_clearance), _names(s))))


def _groups(surveys: Sequence[Survey]) -> _Sizes:
    """Return the features by part, kind and size to 0.001 mm."""
    groups: _Sizes = defaultdict(list)
    for each in surveys:
        for feature in each.features:
            if feature.nominal_size is not None:
                size = round(feature.nominal_size, 3)
                groups[each.name, feature.kind, size].append(feature)
    return groups


def _near(inner: float, outer: float) -> bool:
    return abs(inner - outer) <= min(max(_SHARE * inner, _LEAST), _MOST)


def _suggestion(
    inner: tuple[str, str, float], outer: tuple[str, str, float], groups: _Sizes
) -> Suggestion:
    return Suggestion(
        internal=_reference(inner, groups[inner]),
        external=_reference(outer, groups[outer]),
        internal_size=inner[2],
        external_size=outer[2],
        pairs=max(len(groups[inner]), len(groups[outer])),
    )


def _reference(group: tuple[str, str, float], features: list[FeatureOutcome]) -> Reference:
    part, kind, size = group
    words = features[0].id if len(features) == 1 else f"{kind} {size:g}"
    return Reference(part=part, features=words)


def _names(each: Suggestion) -> tuple[str, str]:
    return each.internal.in_words(), each.external.in_words()
