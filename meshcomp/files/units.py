"""Units of length in part files, and the question a strange size raises."""

from __future__ import annotations

from meshcomp.errors import OptionError

__all__ = ["MM_IN", "checked_unit", "size_question"]

MM_IN = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "inch": 25.4,  # exact by definition since 1959
    "foot": 304.8,
    "micron": 0.001,
}
_PLURALS = {
    "mm": "millimetres",
    "cm": "centimetres",
    "m": "metres",
    "inch": "inches",
    "foot": "feet",
    "micron": "microns",
}
_SMALLEST_PART = 3.0  # mm
_LARGEST_PART = 2000.0  # mm
# A size in this range, mm, makes a unit worth asking about; in the order of asking.
_USUAL = (10.0, 1000.0)
_LIKELY = ("mm", "inch", "m", "cm", "micron", "foot")


def checked_unit(unit: str | None) -> str | None:
    """Return the unit as it is, or None.

    Raises
    ------
    OptionError
        If `unit` is none of `MM_IN`.

    Examples
    --------
    >>> checked_unit("inch")
    'inch'
    """
    if unit is not None and unit not in MM_IN:
        raise OptionError(f"unit is {unit!r}: give one of {', '.join(MM_IN)}")
    return unit


def size_question(largest: float, unit: str) -> str | None:
    """Return what to ask about a part of an unlikely size, or None.

    Parameters
    ----------
    largest : float
        Largest side of the box around the part, mm.
    unit : str
        The unit that the file was read in.

    Examples
    --------
    >>> size_question(0.08, "mm")
    'largest size is 0.08 mm: is the file in metres? give --unit m'
    """
    if _SMALLEST_PART <= largest <= _LARGEST_PART:
        return None
    number = largest / MM_IN[unit]
    usual = [u for u in _LIKELY if _USUAL[0] <= number * MM_IN[u] <= _USUAL[1]]
    if not usual:
        return f"largest size is {largest:.4g} mm: is the unit {unit} right? give --unit"
    return (
        f"largest size is {largest:.4g} mm: is the file in {_PLURALS[usual[0]]}? "
        f"give --unit {usual[0]}"
    )
