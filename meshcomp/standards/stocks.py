"""What is known of a bought part: data only, mm."""

from __future__ import annotations

from dataclasses import dataclass

from meshcomp.tolerances import Zone

__all__ = ["StandardPart"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardPart:
    """A bought part: what of it a printed part meets.

    A bore meets `outside`, a boss meets `inside`, a slot meets `across`; `hole` is what a
    standard or the practice of the trade wants in the printed part itself.
    """

    name: str  # as it is asked for, e.g. "bearing 608"
    source: str  # standard, or "common practice, no source"
    outside: Zone | None = None  # its outside diameter
    inside: Zone | None = None  # its bore
    across: Zone | None = None  # across its flats
    hole: Zone | None = None  # to be printed for it
    notes: tuple[str, ...] = ()
