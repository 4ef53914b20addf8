"""What is done to a part as a whole, as options: errors of the axes, the foot."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshcomp.errors import OptionError

if TYPE_CHECKING:
    from meshcomp.plans import Foot
    from meshcomp.printer_axes import PrinterAxes

__all__ = ["parse_axes", "parse_foot"]

_MOST_SCALE = 0.1
_MOST_SKEW = 100.0  # mm/m
_MOST_FLARE = 1.0  # mm


def parse_axes(scale: str | None, skew: float | None) -> PrinterAxes | None:
    """Read the errors of a printer's axes: X,Y or X,Y,Z and mm/m; None without any.

    Raises
    ------
    OptionError
        If the scale is not of that form, or an error is too large to be one of axes.
    """
    from meshcomp.printer_axes import PrinterAxes

    if scale is None and not skew:
        return None
    factors = [_factor(text) for text in (scale or "1,1").split(",")]
    if len(factors) not in {2, 3}:
        raise OptionError(f"--axis-scale {scale!r}: give X,Y or X,Y,Z, such as 1.002,0.999")
    if abs(skew or 0.0) > _MOST_SKEW:
        raise OptionError(
            f"--axis-skew {skew:g} mm/m: axes lean by less than {_MOST_SKEW:g} mm/m; give "
            "how far Y leans towards X in mm over 1 m"
        )
    x, y, z = (*factors, 1.0)[:3]
    return PrinterAxes(scale=(x, y, z), skew=(skew or 0.0) / 1000)


def _factor(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 1 - _MOST_SCALE <= value <= 1 + _MOST_SCALE:
        raise OptionError(
            f"--axis-scale: {text!r} is no scale of an axis: give what is drawn over what "
            "is asked for, such as 1.002"
        )
    return value


def parse_foot(flare: float | None, height: float, *, opens_bores: bool) -> Foot | None:
    """Read what the first layers spread by, mm; None where they do not.

    Raises
    ------
    OptionError
        If that is more than first layers can spread.
    """
    from meshcomp.plans import Foot

    if not flare:
        return None
    if not 0 < flare <= _MOST_FLARE:
        raise OptionError(
            f"--flare {flare:g}: first layers spread by 0 to {_MOST_FLARE:g} mm a side; "
            "give a length above zero"
        )
    return Foot(growth=flare, height=height, opens_bores=opens_bores)
