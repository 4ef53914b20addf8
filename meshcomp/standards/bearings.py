"""Rolling bearings: boundary dimensions by ISO 15, limits by ISO 492, Normal class."""

from __future__ import annotations

import re
from bisect import bisect_left
from dataclasses import dataclass

from meshcomp.errors import OptionError
from meshcomp.tolerances import Zone, limit_pair

__all__ = ["BEARINGS", "Bearing", "bearing"]

# Designation: bore, outside diameter, width of the open bearing, mm. Shields make some
# miniature ones wider. Those after "from memory" stand in no second source of ours.
_SIZES = """
623 3 10 4     624 4 13 5     625 5 16 5     626 6 19 6     608 8 22 7
628 8 24 8     688 8 16 4     MR105 5 10 4   MR115 5 11 4   6000 10 26 8
6001 12 28 8   6200 10 30 9   6800 10 19 5   6801 12 21 5   6802 15 24 5
6900 10 22 6   6901 12 24 6
"""
_FROM_MEMORY = """
604 4 12 4     605 5 14 5     606 6 17 6     607 7 19 6     609 9 24 7
627 7 22 7     629 9 26 8     683 3 7 2      684 4 9 2.5    685 5 11 3
686 6 13 3.5   687 7 14 3.5   693 3 8 3      694 4 11 4     695 5 13 4
696 6 15 5     698 8 19 6     699 9 20 6     6002 15 32 9   6003 17 35 10
6004 20 42 12  6201 12 32 10  6202 15 35 11  6203 17 40 12  6204 20 47 14
6803 17 26 5   6804 20 32 7   6805 25 37 7   6902 15 28 7   6903 17 30 7
6904 20 37 9
"""
# ISO 492, Normal class: mean bore and mean outside diameter, up to mm: lower limit, um.
_BORE_STEPS = (18, 30, 50, 80, 120)
_BORE_LOWER = (-8, -10, -12, -15, -20)
_OUTSIDE_STEPS = (18, 30, 50, 80, 120)
_OUTSIDE_LOWER = (-8, -9, -11, -13, -15)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bearing:
    """A radial bearing of Normal class; sizes in mm."""

    designation: str
    bore: Zone
    outside: Zone
    width: float  # open; shields may make a miniature bearing wider
    source: str


def _listed(text: str) -> dict[str, tuple[float, float, float]]:
    words = text.split()
    rows = (words[i : i + 4] for i in range(0, len(words), 4))
    return {name: (float(d), float(out), float(b)) for name, d, out, b in rows}


_CHECKED = _listed(_SIZES)
BEARINGS = _CHECKED | _listed(_FROM_MEMORY)  # bore, outside diameter, width, mm


def bearing(designation: str) -> Bearing:
    """Return a radial bearing by its designation.

    Parameters
    ----------
    designation : str
        Such as "608", "608-2RS", "688ZZ" or "61800".

    Raises
    ------
    OptionError
        If it is not known.

    References
    ----------
    ISO 15 for the boundary dimensions, ISO 492 for the limits.

    Examples
    --------
    >>> found = bearing("608-2RS")
    >>> found.outside.lower_limit, found.outside.upper_limit  # mm
    (21.991, 22.0)
    """
    name = _plain(designation)
    if name not in BEARINGS:
        raise OptionError(
            f"no bearing {designation!r} is known: give its diameter as a counterpart, "
            "such as '22 0/-0.009'"
        )
    bore, outside, width = BEARINGS[name]
    from_memory = "" if name in _CHECKED else ", from memory"
    return Bearing(
        designation=name,
        bore=_below(bore, _BORE_STEPS, _BORE_LOWER, is_internal=True),
        outside=_below(outside, _OUTSIDE_STEPS, _OUTSIDE_LOWER, is_internal=False),
        width=width,
        source=f"ISO 15 and ISO 492, Normal class{from_memory}",
    )


def _plain(designation: str) -> str:
    """Return a designation without suffixes, and the 618 and 619 series as 68 and 69."""
    found = re.match(r"(MR)?(\d{3,5})", designation.strip().upper())
    if found is None:
        return ""
    letters, digits = found[1] or "", found[2]
    if len(digits) == 5 and digits[:3] in {"618", "619"}:  # noqa: PLR2004
        digits = f"6{digits[2:]}"
    return letters + digits


def _below(
    size: float, steps: tuple[int, ...], lower: tuple[int, ...], *, is_internal: bool
) -> Zone:
    return limit_pair(
        size, 0.0, lower[bisect_left(steps, size)] / 1000, is_internal=is_internal
    )
