"""Holes for screws (ISO 273), nuts (ISO 4032), threaded inserts and self-tapping screws."""

from __future__ import annotations

from collections.abc import Mapping

from meshcomp.errors import OptionError
from meshcomp.tolerances import Zone, limit_pair, zone

__all__ = [
    "CLEARANCE_HOLES",
    "INSERT_HOLES",
    "NUTS",
    "clearance_hole",
    "insert_hole",
    "nut_flats",
    "self_tapping_hole",
]

# ISO 273: fine, medium, coarse, mm.
CLEARANCE_HOLES = {
    "M1.6": (1.7, 1.8, 2.0),
    "M2": (2.2, 2.4, 2.6),
    "M2.5": (2.7, 2.9, 3.1),
    "M3": (3.2, 3.4, 3.6),
    "M4": (4.3, 4.5, 4.8),
    "M5": (5.3, 5.5, 5.8),
    "M6": (6.4, 6.6, 7.0),
    "M8": (8.4, 9.0, 10.0),
    "M10": (10.5, 11.0, 12.0),
    "M12": (13.0, 13.5, 14.5),
    "M16": (17.0, 17.5, 18.5),
    "M20": (21.0, 22.0, 24.0),
    "M24": (25.0, 26.0, 28.0),
}
SERIES = {"fine": "H12", "medium": "H13", "coarse": "H14"}  # classes from memory

# ISO 4032, style 1: across flats most and least (from memory), height at most, mm.
NUTS = {
    "M2": (4.0, 3.82, 1.6),
    "M2.5": (5.0, 4.82, 2.0),
    "M3": (5.5, 5.32, 2.4),
    "M4": (7.0, 6.78, 3.2),
    "M5": (8.0, 7.78, 4.7),
    "M6": (10.0, 9.78, 5.2),
    "M8": (13.0, 12.73, 6.8),
    "M10": (16.0, 15.73, 8.4),
    "M12": (18.0, 17.73, 10.8),
}

# Common practice, no standard: hole for an insert set in with heat, +0.1/0 mm, and the
# least wall around it. An insert's maker may want another: that one is right.
INSERT_HOLES = {
    "M2": (3.2, 1.3),
    "M2.5": (4.0, 1.6),
    "M3": (4.0, 1.6),
    "M4": (5.6, 2.1),
    "M5": (6.4, 2.6),
    "M6": (8.0, 3.3),
    "M8": (9.6, 4.5),
}
_INSERT_UPPER = 0.1  # mm

# Common practice, no source: a screw that cuts its thread in plastic wants a hole of 0.85
# of its diameter, give or take 0.03 of it.
_TAPPING_SHARE = 0.85
_TAPPING_GIVE = 0.03


def clearance_hole(thread: str, series: str = "medium") -> Zone:
    """Return the hole that a screw passes through.

    Parameters
    ----------
    thread : str
        Such as "M6".
    series : str
        "fine", "medium" or "coarse".

    Raises
    ------
    OptionError
        If there is no such screw or series.

    References
    ----------
    ISO 273; its classes H12, H13 and H14 from memory.

    Examples
    --------
    >>> clearance_hole("M6").in_words(), clearance_hole("M12", "coarse").in_words()
    ('6.6 H13', '14.5 H14')
    """
    if series not in SERIES:
        raise OptionError(
            f"no series {series!r} of clearance holes: take fine, medium or coarse"
        )
    sizes = _of(thread, CLEARANCE_HOLES, "clearance hole")
    return zone(sizes[list(SERIES).index(series)], SERIES[series])


def nut_flats(thread: str) -> Zone:
    """Return the limits of a nut's size across flats, mm.

    Examples
    --------
    >>> nut_flats("M5").upper_limit
    8.0
    """
    most, least, _ = _of(thread, NUTS, "nut")
    return limit_pair(most, 0.0, round(least - most, 6), is_internal=False)


def insert_hole(thread: str) -> tuple[Zone, float]:
    """Return the hole for a threaded insert, and the least wall around it, mm.

    Common practice, no standard.

    Examples
    --------
    >>> hole, wall = insert_hole("M3")
    >>> hole.in_words(), wall
    ('4 +0.1/0', 1.6)
    """
    size, wall = _of(thread, INSERT_HOLES, "insert")
    return limit_pair(size, 0.0, _INSERT_UPPER, is_internal=True), wall


def self_tapping_hole(thread: str) -> Zone:
    """Return the hole in which a screw cuts its own thread.

    Common practice, no source: 0.85 of the diameter, give or take 0.03 of it.

    Examples
    --------
    >>> self_tapping_hole("M3").middle
    2.55
    """
    _of(thread, CLEARANCE_HOLES, "self-tapping hole")
    diameter = float(thread.removeprefix("M"))
    give = round(_TAPPING_GIVE * diameter, 3)
    return limit_pair(round(_TAPPING_SHARE * diameter, 3), -give, give, is_internal=True)


def _of(
    thread: str, table: Mapping[str, tuple[float, ...]], what: str
) -> tuple[float, ...]:
    if thread not in table:
        raise OptionError(
            f"no {what} is known for {thread!r}: known are {', '.join(table)}; state the "
            "size itself instead"
        )
    return table[thread]
