"""All test pieces by name."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from meshcomp.errors import OptionError
from meshcomp.testpieces.ladders import bore_ladder, boss_ladder, slot_ladder
from meshcomp.testpieces.lengths import foot_piece, outside_ladder, wall_strip
from meshcomp.testpieces.lying import lying_bores
from meshcomp.testpieces.matings import fit_ladder, plug_and_rings
from meshcomp.testpieces.pieces import BenchPiece
from meshcomp.testpieces.seams import seam_posts

__all__ = ["build_testpiece", "testpiece_names", "testpiece_options"]

_PIECES: Mapping[str, Callable[..., BenchPiece]] = {
    "bore-ladder": bore_ladder,
    "boss-ladder": boss_ladder,
    "slot-ladder": slot_ladder,
    "outside-ladder": outside_ladder,
    "wall-strip": wall_strip,
    "foot": foot_piece,
    "lying-bores": lying_bores,
    "seam-posts": seam_posts,
    "plug-and-rings": plug_and_rings,
    "fit-ladder": fit_ladder,
}


def testpiece_names() -> tuple[str, ...]:
    """Return the names of all test pieces.

    Examples
    --------
    >>> testpiece_names()[0]
    'bore-ladder'
    """
    return tuple(_PIECES)


def testpiece_options(name: str) -> tuple[str, ...]:
    """Return the names of the options that a test piece takes.

    Examples
    --------
    >>> testpiece_options("bore-ladder")
    ('sizes', 'count', 'thickness')
    """
    return tuple(inspect.signature(_maker(name)).parameters)


def _maker(name: str) -> Callable[..., BenchPiece]:
    if name not in _PIECES:
        raise OptionError(
            f"there is no test piece {name!r}; there are {', '.join(_PIECES)}"
        )
    return _PIECES[name]


def build_testpiece(name: str, **options: Any) -> BenchPiece:
    """Build a test piece.

    Parameters
    ----------
    name : str
        One of `testpiece_names`.
    options
        As the piece's own function takes them, e.g. ``sizes`` or ``count``.

    Raises
    ------
    OptionError
        If there is no such piece or option, or a value cannot be right.

    Examples
    --------
    >>> build_testpiece("slot-ladder", sizes=(2, 4)).name
    'slot-ladder'
    """
    maker = _maker(name)
    known = testpiece_options(name)
    for option in options:
        if option not in known:
            raise OptionError(f"{name} has no option {option!r}; it has {', '.join(known)}")
    return maker(**{o: _fitting(name, o, value) for o, value in options.items()})


def _fitting(name: str, option: str, value: Any) -> Any:
    """Let one number stand for a list of one; refuse a list where a number is due."""
    takes = str(inspect.signature(_maker(name)).parameters[option].annotation)
    is_list = isinstance(value, Sequence)
    if "Sequence" in takes:
        return value if is_list or value is None else (value,)
    if is_list:
        raise OptionError(f"{name} takes one number as {option}, got {len(value)} of them")
    return value
