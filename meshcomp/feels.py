"""A maker's own words for how two parts go together: data only."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["FEELS", "Feel"]

FEELS = ("press", "slide", "free")


@dataclass(frozen=True, slots=True, kw_only=True)
class Feel:
    """Between which clearances of printed parts a maker felt one word, mm.

    Clearance is internal less external size, both as measured on the prints. The limits
    reach halfway to the next word, or to the next pin that did not go in.
    """

    word: str  # one of FEELS
    least: float
    most: float
    pins: int  # that were felt so

    @property
    def middle(self) -> float:
        """Clearance midway between the limits, mm."""
        return (self.least + self.most) / 2
