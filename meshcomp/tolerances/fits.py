"""Fits: a hole and a shaft of one nominal size, and the play between them."""

from __future__ import annotations

from dataclasses import dataclass

from meshcomp.errors import OptionError
from meshcomp.tolerances.zones import Zone, parse_zone, zone

__all__ = ["Fit", "parse_fit"]

_EXACT = 9  # digits of mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A hole and a shaft that go together.

    Examples
    --------
    >>> fit = Fit(hole=zone(25, "H7"), shaft=zone(25, "p6"))
    >>> fit.kind, fit.least_clearance, fit.most_clearance  # mm
    ('interference', -0.035, -0.001)
    """

    hole: Zone
    shaft: Zone

    def __post_init__(self) -> None:
        if self.hole.is_internal is False or self.shaft.is_internal is True:
            raise OptionError(
                f"{self.hole.in_words()} with {self.shaft.in_words()}: a fit is a hole "
                "(capital letter) first and then a shaft (small letter), as in '8 H7/p6'"
            )

    @property
    def least_clearance(self) -> float:
        """Smallest hole less largest shaft, mm; negative: the most interference."""
        return round(self.hole.lower_limit - self.shaft.upper_limit, _EXACT)

    @property
    def most_clearance(self) -> float:
        """Largest hole less smallest shaft, mm; negative: the least interference."""
        return round(self.hole.upper_limit - self.shaft.lower_limit, _EXACT)

    @property
    def kind(self) -> str:
        """Which kind of fit it is: "clearance", "transition" or "interference"."""
        if self.least_clearance >= 0:
            return "clearance"
        return "interference" if self.most_clearance <= 0 else "transition"

    def in_words(self) -> str:
        """Return the fit as it is written on a drawing.

        Examples
        --------
        >>> parse_fit("8 H7/p6").in_words()
        '8 H7/p6'
        """
        if self.hole.nominal_size == self.shaft.nominal_size:
            return f"{self.hole.in_words()}/{self.shaft.name}"
        return f"{self.hole.in_words()} with {self.shaft.in_words()}"


def parse_fit(text: str) -> Fit:
    """Read a fit of two tolerance classes, such as "8 H7/p6".

    Raises
    ------
    OptionError
        If it is no fit, or there is no such class.

    Examples
    --------
    >>> parse_fit("50 H8/f7").most_clearance  # mm
    0.089
    """
    first, stroke, second = text.partition("/")
    if not stroke:
        raise OptionError(f"{text!r} is no fit: give one such as '8 H7/p6'")
    hole = parse_zone(first)
    return Fit(hole=hole, shaft=zone(hole.nominal_size, second))
