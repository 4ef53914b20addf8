"""Tolerance zones: between which limits a size shall lie."""

from __future__ import annotations

import re
from dataclasses import dataclass

from meshcomp.errors import OptionError
from meshcomp.tolerances.letters import limit_deviations

__all__ = ["Zone", "limit_pair", "parse_zone", "zone", "zone_at"]

_NUMBER = r"\d+(?:[.,]\d+)?"
_SIGNED = rf"[+\-\u2212]?\s*{_NUMBER}"
_SIZE = rf"^\s*[\u00d8\u00f8\u2300]?\s*({_NUMBER})\s*(?:mm)?\s*"
_CLASS = re.compile(rf"{_SIZE}([A-Za-z]{{1,2}})\s*(\d{{1,2}})\s*$")
_PAIR = re.compile(rf"{_SIZE}({_SIGNED})\s*[/ ]\s*({_SIGNED})\s*(?:mm)?\s*$")
_EVEN = re.compile(rf"{_SIZE}(?:\u00b1|\+/-|\+-)\s*({_NUMBER})\s*(?:mm)?\s*$")
_UM = 1000.0
_EXACT = 9  # digits of mm, far below any tolerance


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """The limits between which a size shall lie, mm.

    `is_internal` is True for a hole, False for a shaft, None where a limit pair leaves
    it open.
    """

    nominal_size: float
    lower_deviation: float  # from nominal; EI or ei
    upper_deviation: float  # ES or es
    name: str  # "H7", or the limit pair in words
    is_internal: bool | None = None

    @property
    def lower_limit(self) -> float:
        """Smallest size allowed, mm."""
        return round(self.nominal_size + self.lower_deviation, _EXACT)

    @property
    def upper_limit(self) -> float:
        """Largest size allowed, mm."""
        return round(self.nominal_size + self.upper_deviation, _EXACT)

    @property
    def middle(self) -> float:
        """Size midway between the limits, mm."""
        return round((self.lower_limit + self.upper_limit) / 2, _EXACT)

    @property
    def width(self) -> float:
        """The tolerance: upper less lower limit, mm."""
        return round(self.upper_deviation - self.lower_deviation, _EXACT)

    def in_words(self) -> str:
        """Return the zone as it is written on a drawing.

        Examples
        --------
        >>> zone(22, "H7").in_words(), limit_pair(22, -0.01, 0.02).in_words()
        ('22 H7', '22 +0.02/-0.01')
        """
        return f"{self.nominal_size:g} {self.name}"


def zone(nominal_size: float, tolerance_class: str) -> Zone:
    """Return the zone of a tolerance class.

    Parameters
    ----------
    nominal_size : float
        In mm, above 0 and up to 500.
    tolerance_class : str
        Such as "H7" for holes and "h7" for shafts.

    Raises
    ------
    OptionError
        If there is no such class for this size.

    References
    ----------
    ISO 286-1:2010.

    Examples
    --------
    >>> bore = zone(22, "N7")
    >>> bore.lower_limit, bore.upper_limit, bore.is_internal
    (21.972, 21.993, True)
    """
    found = re.fullmatch(r"([A-Za-z]{1,2})\s*(\d{1,2})", tolerance_class.strip())
    if found is None:
        raise OptionError(
            f"{tolerance_class!r} is no tolerance class: give a letter and a grade, such "
            "as H7 for holes or h6 for shafts"
        )
    letter, grade = found.groups()
    lower, upper = limit_deviations(nominal_size, letter, grade)
    return Zone(
        nominal_size=float(nominal_size),
        lower_deviation=round(lower / _UM, _EXACT),
        upper_deviation=round(upper / _UM, _EXACT),
        name=f"{letter}{grade}",
        is_internal=letter.isupper(),
    )


def limit_pair(
    nominal_size: float, one: float, other: float, *, is_internal: bool | None = None
) -> Zone:
    """Return the zone between two limit deviations from a nominal size.

    Parameters
    ----------
    nominal_size : float
        In mm, above 0.
    one, other : float
        Limit deviations in mm, in either order.
    is_internal : bool, optional
        Whether it is that of a hole.

    Raises
    ------
    OptionError
        If nothing lies between the limits, or the smaller is not above zero.

    Examples
    --------
    >>> limit_pair(22, +0.02, -0.01).middle
    22.005
    """
    lower, upper = sorted((float(one), float(other)))
    if not lower < upper:
        raise OptionError(
            f"the limit deviations of {nominal_size:g} mm are both {lower:+g} mm: no print "
            "is that exact; give two different ones"
        )
    if not 0 < nominal_size + lower < float("inf"):
        raise OptionError(
            f"{nominal_size:g} {upper:+g}/{lower:+g}: sizes must be above 0 mm"
        )
    return Zone(
        nominal_size=float(nominal_size),
        lower_deviation=lower,
        upper_deviation=upper,
        name=f"{_signed(upper)}/{_signed(lower)}",
        is_internal=is_internal,
    )


def _signed(deviation: float) -> str:
    return f"{deviation:+g}" if deviation else "0"


def parse_zone(text: str) -> Zone:
    """Read a size with a tolerance class or with limits, as on a drawing.

    Parameters
    ----------
    text : str
        Such as "22 H7", "8 p6", "22 +0.02/-0.01" or "22 +/-0.05"; mm.

    Raises
    ------
    OptionError
        If it is none of these, or there is no such class.

    Examples
    --------
    >>> parse_zone("22 H7").upper_limit
    22.021
    >>> parse_zone("22 +0.02/-0.01").width
    0.03
    """
    if found := _CLASS.match(text):
        size, letter, grade = found.groups()
        return zone(_number(size), f"{letter}{grade}")
    if found := _EVEN.match(text):
        size, half = (_number(part) for part in found.groups())
        return limit_pair(size, -half, half)
    if found := _PAIR.match(text):
        size, one, other = found.groups()
        return limit_pair(_number(size), _number(one), _number(other))
    raise OptionError(
        f"{text!r} is neither a size with a tolerance class, such as '22 H7', nor one with "
        "limits, such as '22 +0.02/-0.01' (mm)"
    )


def zone_at(nominal_size: float, text: str) -> Zone:
    """Read a class or limits without a size, for a size; or with a size of its own.

    Parameters
    ----------
    nominal_size : float
        In mm, taken to 0.0001 mm; not used where the text says a size.
    text : str
        Such as "H7", "+0.02/-0.01" or "22 H7".

    Raises
    ------
    OptionError
        If it is none of these, or there is no such class.

    Examples
    --------
    >>> zone_at(9.0, "+0.1/0").upper_limit, zone_at(9.0, "8.5 +0.1/0").upper_limit
    (9.1, 8.6)
    """
    if text[:1].isdigit():
        return parse_zone(text)
    size = round(nominal_size, 4)
    if text[:1] in "+-\u00b1\u2212":
        return parse_zone(f"{size:g} {text}")
    return zone(size, text)


def _number(text: str) -> float:
    return float(text.replace(",", ".").replace("\u2212", "-").replace(" ", ""))
