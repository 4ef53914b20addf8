"""How numbers are written: fixed digits, a dash for none, rounding that never flatters.

Sizes have three decimals in mm, as the measuring tools of the trade resolve 0.01 or
0.001 mm. A number keeps its sign when it rounds to zero ("+0.000"), and a size that does
not conform is rounded away from the size it misses.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

__all__ = [
    "DASH",
    "TIMES",
    "angle",
    "bound",
    "count",
    "micrometres",
    "odds",
    "percent",
    "place",
    "planned_and_achieved",
    "signed",
    "size",
    "span",
    "tenths",
]

DASH = "-"
TIMES = "\N{MULTIPLICATION SIGN}"
_NOISE = 1e-9  # mm: a coordinate below this is a rounded zero


def _clean(value: float | None) -> float | None:
    """Return the number without noise about zero, None when there is none."""
    if value is None or not math.isfinite(value):
        return None
    return 0.0 if abs(value) < _NOISE else float(value)


def size(value: float | None, decimals: int = 3) -> str:
    """Write a length in mm, or a dash.

    Examples
    --------
    >>> size(3.2), size(None)
    ('3.200', '-')
    """
    number = _clean(value)
    return DASH if number is None else f"{number:.{decimals}f}"


def signed(value: float | None, decimals: int = 3) -> str:
    """Write a difference with its sign, even where it rounds to zero, or a dash.

    Examples
    --------
    >>> signed(0.1), signed(-0.0002), signed(0.0)
    ('+0.100', '-0.000', '0.000')
    """
    number = _clean(value)
    if number is None or number == 0:
        return size(number, decimals)
    return f"{number:+.{decimals}f}"


def angle(value: float | None) -> str:
    """Write an angle in degrees, or a dash."""
    return size(value, 1)


def place(point: Sequence[float], decimals: int = 2) -> str:
    """Write the coordinates of a place in mm.

    Examples
    --------
    >>> place((10.0, -1e-15, 2.5))
    '10.00, 0.00, 2.50'
    """
    return ", ".join(size(value, decimals) for value in point)


def planned_and_achieved(
    planned: float | None, achieved: float | None, *, conforms: bool
) -> tuple[str, str]:
    """Write a planned size and what was achieved so that the difference never flatters.

    Sizes that do not conform get a fourth decimal and are rounded away from each other:
    the difference shown is then never under the true one.

    Examples
    --------
    >>> planned_and_achieved(3.3, 3.30204, conforms=False)
    ('3.3000', '3.3021')
    >>> planned_and_achieved(3.3, 3.30004, conforms=True)
    ('3.300', '3.300')
    """
    low_high = _clean(planned), _clean(achieved)
    if conforms or low_high[0] is None or low_high[1] is None:
        return size(planned), size(achieved)
    if low_high[0] <= low_high[1]:
        return _directed(low_high[0], -1), _directed(low_high[1], +1)
    return _directed(low_high[0], +1), _directed(low_high[1], -1)


def _directed(value: float, way: int) -> str:
    """Round to four decimals towards one side, but for the noise of floating point."""
    units = value * 1e4
    rounded = math.ceil(units - 1e-6) if way > 0 else math.floor(units + 1e-6)
    return f"{rounded / 1e4:.4f}"


def bound(value: float) -> str:
    """Write a length in micrometres, rounded up to a tenth.

    Examples
    --------
    >>> bound(0.00204)
    '2.1'
    """
    return f"{math.ceil(value * 1e4 - 1e-6) / 10:.1f}"


def span(values: Sequence[float]) -> str:
    """Write the lowest and the highest of some differences, once when they look alike.

    Examples
    --------
    >>> span([0.1, 0.25]), span([0.1, 0.1])
    ('+0.100 to +0.250 mm', '+0.100 mm')
    """
    low, high = signed(min(values)), signed(max(values))
    return f"{low} mm" if low == high else f"{low} to {high} mm"


def count(number: int, noun: str, plural: str | None = None) -> str:
    """Write a number of things.

    Examples
    --------
    >>> count(1, "body", "bodies"), count(2, "bore")
    ('1 body', '2 bores')
    """
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


def micrometres(value: float) -> str:
    """Write a length given in mm in micrometres, with no digits that say nothing.

    Examples
    --------
    >>> micrometres(0.021), micrometres(0.0005), micrometres(-0.0241)
    ('21', '0.5', '-24')
    """
    um = 1000.0 * value
    if abs(um) < _NOISE:
        return "0"
    return f"{um:.1f}" if abs(um) < 10 and abs(um - round(um)) > 0.05 else f"{um:.0f}"  # noqa: PLR2004


def percent(probability: float) -> str:
    """Write a probability in percent, rounded down: it never flatters.

    Examples
    --------
    >>> percent(0.42), percent(0.9999), percent(0.004)
    ('42 %', '99 %', '0.4 %')
    """
    share = 100.0 * probability
    if share < 1:
        return f"{math.floor(share * 10 + 1e-9) / 10:.1f} %"
    return f"{math.floor(share + 1e-9)} %"


def odds(probability: float, noun: str = "print") -> str:
    """Write how many prints in 10, or in 100, rounded down.

    Examples
    --------
    >>> odds(0.42), odds(0.97), odds(0.19, "pair")
    ('4 prints in 10 are', '97 prints in 100 are', '1 pair in 10 is')
    """
    of = 10 if 0.1 <= probability < 0.9 else 100  # noqa: PLR2004 - words of a tenth
    number = math.floor(of * probability + 1e-9)
    verb = "is" if number == 1 else "are"
    return f"{count(number, noun) if number else f'no {noun}'} in {of} {verb}"


def tenths(probability: float) -> str:
    """Write a probability in tenths of a percent, without the sign, rounded down.

    Examples
    --------
    >>> tenths(0.94999), tenths(0.99999), tenths(1.0), tenths(0.0)
    ('94.9', '99.9', '100.0', '0.0')
    """
    return f"{math.floor(probability * 1000 + 1e-9) / 10:.1f}"
