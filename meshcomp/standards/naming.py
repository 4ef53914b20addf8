"""Standard parts by what a maker calls them: "bearing 608", "screw M6 medium"."""

from __future__ import annotations

import re
from collections.abc import Callable

from meshcomp.errors import OptionError
from meshcomp.standards.bearings import bearing
from meshcomp.standards.fasteners import (
    clearance_hole,
    insert_hole,
    nut_flats,
    self_tapping_hole,
)
from meshcomp.standards.pins import dowel
from meshcomp.standards.stocks import StandardPart

__all__ = ["standard_part"]

_PRACTICE = "common practice, no source"
_DOWEL = re.compile(
    r"(?:(?P<standard>ISO \d+)\s+)?(?P<size>\d+(?:\.\d+)?)(?:\s+(?P<class>[a-z]\d+))?"
)


def standard_part(name: str) -> StandardPart:
    """Return a bought part by its name.

    Parameters
    ----------
    name : str
        "bearing 608", "dowel 5", "dowel 5 h8", "dowel ISO 8734 5", "screw M6",
        "screw M6 fine", "nut M5", "insert M3" or "self-tapping M3".

    Raises
    ------
    OptionError
        If there is no such part.

    Examples
    --------
    >>> part = standard_part("screw M6")
    >>> part.hole.in_words(), part.source
    ('6.6 H13', 'ISO 273, medium')
    >>> standard_part("bearing 608").outside.in_words()
    '22 0/-0.009'
    """
    kind, _, rest = name.strip().partition(" ")
    if kind not in _KINDS or not rest.strip():
        raise OptionError(
            f"{name!r} is no standard part: name one such as {', '.join(_EXAMPLES)}"
        )
    return _KINDS[kind](" ".join(rest.split()))


def _bearing(rest: str) -> StandardPart:
    found = bearing(rest)
    return StandardPart(
        name=f"bearing {found.designation}",
        source=found.source,
        outside=found.outside,
        inside=found.bore,
    )


def _dowel(rest: str) -> StandardPart:
    found = _DOWEL.fullmatch(rest)
    standard = (found["standard"] if found else None) or "ISO 2338"
    if found is None or standard not in {"ISO 2338", "ISO 8734"}:
        raise OptionError(
            f"'dowel {rest}' is no dowel: name one such as 'dowel 5', 'dowel 5 h8' or "
            "'dowel ISO 8734 5'"
        )
    outside = dowel(float(found["size"]), standard, found["class"] or "m6")
    return StandardPart(
        name=f"dowel {standard} {outside.in_words()}", source=standard, outside=outside
    )


def _screw(rest: str) -> StandardPart:
    thread, _, series = rest.partition(" ")
    series = series or "medium"
    return StandardPart(
        name=f"screw {thread} {series}",
        source=f"ISO 273, {series}",
        hole=clearance_hole(thread, series),
    )


def _nut(rest: str) -> StandardPart:
    return StandardPart(name=f"nut {rest}", source="ISO 4032", across=nut_flats(rest))


def _insert(rest: str) -> StandardPart:
    hole, wall = insert_hole(rest)
    notes = (
        f"a wall of {wall:g} mm at least around it",
        "the insert's maker may want another hole: that one is right",
        "inserts are set in hot: mind fingers and fumes",
    )
    return StandardPart(name=f"insert {rest}", source=_PRACTICE, hole=hole, notes=notes)


def _self_tapping(rest: str) -> StandardPart:
    return StandardPart(
        name=f"self-tapping {rest}", source=_PRACTICE, hole=self_tapping_hole(rest)
    )


_KINDS: dict[str, Callable[[str], StandardPart]] = {
    "bearing": _bearing,
    "dowel": _dowel,
    "screw": _screw,
    "nut": _nut,
    "insert": _insert,
    "self-tapping": _self_tapping,
}
_EXAMPLES = (
    *("bearing 608", "dowel 5", "screw M6 medium", "nut M5", "insert M3"),
    "self-tapping M3",
)
