"""Which features of a part a kit file means."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fnmatch import fnmatchcase
from typing import Protocol, TypeVar

from meshcomp.errors import OptionError

__all__ = ["selected"]

SIZE_LIMIT = 0.05  # mm: sizes nearer than this count as the one that was named
_SIZED = re.compile(r"(bore|boss|slot|wall)\s+([0-9]*\.?[0-9]+)")


class _Named(Protocol):
    """What a selection looks at."""

    @property
    def id(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def nominal_size(self) -> float | None: ...


_Feature = TypeVar("_Feature", bound=_Named)


def selected(features: Sequence[_Feature], words: str, part: str) -> tuple[_Feature, ...]:
    """Return the features that are meant, in the order of their ids.

    Parameters
    ----------
    features : sequence
        With `id`, `kind` and `nominal_size`.
    words : str
        An id ("bore-03"), a pattern ("bore-*"), or kind and size ("bore 22").
    part : str
        The part's name, for the message.

    Raises
    ------
    OptionError
        If none is meant.

    Examples
    --------
    >>> import meshcomp
    >>> found = meshcomp.inspect(meshcomp.demo_part("bearing_plate")).features
    >>> [each.id for each in selected(found, "bore 5", "plate")]
    ['bore-03', 'bore-07']
    """
    sized = _SIZED.fullmatch(words)
    if sized:
        kind, size = sized[1], float(sized[2])
        found = [f for f in features if f.kind == kind and _is_near(f, size)]
    else:
        found = [f for f in features if fnmatchcase(f.id, words)]
    if not found:
        raise OptionError(f"{part}: no feature {words!r}: {_known(features)}")
    return tuple(found)


def _is_near(feature: _Named, size: float) -> bool:
    nominal = feature.nominal_size
    return nominal is not None and abs(nominal - size) <= SIZE_LIMIT


def _known(features: Sequence[_Named]) -> str:
    sized = [f for f in features if f.nominal_size is not None]
    if not sized:
        return "it has none of a size"
    return "it has " + ", ".join(f"{f.id} ({f.nominal_size:g} mm)" for f in sized)
