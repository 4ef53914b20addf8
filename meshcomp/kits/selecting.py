"""Which features of a part a kit file means."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from meshcomp.errors import OptionError
from meshcomp.intents.picking import Named, is_named

__all__ = ["selected"]

_Feature = TypeVar("_Feature", bound=Named)


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
    found = [f for f in features if is_named(f, words)]
    if not found:
        raise OptionError(f"{part}: no feature {words!r}: {_known(features)}")
    return tuple(found)


def _known(features: Sequence[Named]) -> str:
    sized = [f for f in features if f.nominal_size is not None]
    if not sized:
        return "it has none of a size"
    return "it has " + ", ".join(f"{f.id} ({f.nominal_size:g} mm)" for f in sized)
