"""Intents as they are stated, and what they come to for one feature: data only, mm."""

from __future__ import annotations

from dataclasses import dataclass, field

from meshcomp.presses import Material
from meshcomp.tolerances import Zone

__all__ = [
    "PROBABILITY",
    "Aim",
    "Counterpart",
    "HeightWish",
    "Intent",
    "Intents",
    "Load",
    "Pick",
]

PROBABILITY = 0.95  # asked of an intent with limits unless the plan says otherwise
Range = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """Which features an intent is for; what is stated must all hold."""

    names: tuple[str, ...] = ()  # ids, of groups too; "bore-*"; "bore 6.6"
    kind: str | None = None
    size: float | None = None  # nominal, mm
    near: tuple[float, ...] | None = None  # X, Y and perhaps Z in the part's file
    within: float = 0.5  # of the place, mm
    group: str | None = None  # id of a group or a pattern of features


@dataclass(frozen=True, slots=True, kw_only=True)
class Counterpart:
    """What a feature is to go together with: its size between limits, and its name."""

    zone: Zone
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Intent:
    """One statement of a plan file: for which features, and what is wanted."""

    pick: Pick
    place: str  # file and line, for messages
    keep: bool = False
    tolerance: str | None = None  # "H7", "22 H7", "22 +0.02/-0.01"
    size: float | None = None  # in print
    part: str | None = None  # a standard part
    counterpart: Counterpart | None = None
    clearance: Range | None = None  # least and most; equal: aimed at, no limits
    feel: str | None = None
    gap: Range | None = None  # per flank of a profile
    aim: float | None = None  # size in print; the middle of the zone unless given
    probability: float | None = None
    hub_diameter: float | None = None  # around a press fit


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """Which way the counterpart of some features pushes, degrees from X."""

    pick: Pick | None  # None: of all features
    towards: float
    place: str  # file and line, for messages


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightWish:
    """Limits of a depth or a shoulder in print: of a feature, or between two heights."""

    pick: Pick | None
    between: Range | None  # mm above the bed, as drawn
    tolerance: str  # "H11", "9 +0.1/0"
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Intents:
    """A whole plan file."""

    source: str
    sha256: str
    intents: tuple[Intent, ...]
    heights: tuple[HeightWish, ...] = ()
    loads: tuple[Load, ...] = ()
    probability: float = PROBABILITY
    material: Material | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """What an intent comes to for one feature; sizes in print, mm.

    `lower` and `upper` are limits of the size where the counterpart has its middle size;
    they shift with it by up to `shift` either way, each shift as likely.
    """

    words: str  # the intent, as a person would say it
    place: str
    is_kept: bool = False
    target: float | None = None
    lower: float | None = None
    upper: float | None = None
    shift: float = 0.0
    gap: Range | None = None  # per flank of a profile
    probability: float | None = None  # asked for
    counterpart: Counterpart | None = None
    hub_diameter: float | None = None
    material: Material | None = None
    notes: tuple[str, ...] = field(default=())
