"""Kits: parts that go together, what their pairs ask, and what came out: data only, mm."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from meshcomp.treatments import Treatment

__all__ = [
    "Bought",
    "FeatureOutcome",
    "Kit",
    "KitOutcome",
    "KitPart",
    "Mate",
    "MateOutcome",
    "PairOutcome",
    "PartOutcome",
    "Reference",
    "Suggestion",
    "Suggestions",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class KitPart:
    """One part of a kit, as asked for."""

    name: str
    path: Path
    calibration: Path
    quantity: int = 1
    up: str | None = None
    unit: str | None = None
    repair: bool = True
    plan: Path | None = None  # what its features are for
    keep: tuple[str, ...] = ()
    sizes: tuple[tuple[str, float], ...] = ()  # mesh sizes by feature id
    targets: tuple[tuple[str, float], ...] = ()  # sizes wanted in print by feature id
    treatment: Treatment = field(default_factory=Treatment)  # beside sizes


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """One or more features of one part of the kit: an id, a pattern, or kind and size."""

    part: str
    features: str  # "bore-03", "bore-*" or "bore 6"

    def in_words(self) -> str:
        """Return the reference as it is written in a kit file."""
        return f"{self.part}/{self.features}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bought:
    """A counterpart that is not printed, by the limits of its size.

    Of a flank, the limits are how far it lies beyond the drawn one.
    """

    words: str
    lower: float
    upper: float

    def in_words(self) -> str:
        """Return what it is."""
        return self.words


@dataclass(frozen=True, slots=True, kw_only=True)
class Mate:
    """Two sides that go together, and the clearance that they shall have.

    Where two outlines face each other, both sides are flanks, and the clearance is the gap
    per flank. `aims` are what the mate wants of the internal and of the external side, a
    size in print or the gap that a flank leaves; None for a side that is only judged.
    """

    name: str
    internal: Reference | Bought
    external: Reference | Bought
    least: float | None  # clearance; below zero: interference
    most: float | None
    fit: str | None  # the classes asked for, "8 H11/c11"
    probability: float  # that one pair lies within, at least
    feel: str | None = None  # the word whose clearances are asked for
    gives_way: str = "bore"  # which side is made to suit the other: bore, boss, none
    is_gap: bool = False
    aims: tuple[float | None, float | None] = (None, None)

    @property
    def middle(self) -> float | None:
        """Return the middle of the clearances asked for, if both are limited."""
        if self.least is None or self.most is None:
            return None
        return (self.least + self.most) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Kit:
    """The parts of a mechanism and their mates."""

    name: str
    source: str  # the kit file or the folder
    out: Path
    parts: tuple[KitPart, ...]
    mates: tuple[Mate, ...] = ()

    def part(self, name: str) -> KitPart:
        """Return the part of a name."""
        return next(part for part in self.parts if part.name == name)


@dataclass(frozen=True, slots=True, kw_only=True)
class FeatureOutcome:
    """What became of one feature, and the size in which it will print."""

    id: str
    kind: str
    is_internal: bool
    law: str | None  # of the calibration, by which it prints
    nominal_size: float | None
    target_size: float | None
    mesh_size: float | None  # achieved, or planned where it was not measured
    offset: float
    state: str
    reason: str
    printed_size: float | None = None
    low: float | None = None  # 95 of 100 prints lie between low and high
    high: float | None = None
    is_fixed: bool = False  # by its part: no mate can want another size of it
    intent: str | None = None  # what it is for, in words
    shortfall: str | None = None  # why it does not serve it surely enough


@dataclass(frozen=True, slots=True, kw_only=True)
class PartOutcome:
    """What became of one part; `error` says why there is none."""

    name: str
    source: str
    quantity: int
    calibration_sha256: str | None = None
    written: str | None = None
    written_sha256: str | None = None
    report: str | None = None
    is_proved: bool = False  # the geometry, whatever it is for
    conforms: bool = False  # proved, and no intent falls short
    verdict: str = ""
    features: tuple[FeatureOutcome, ...] = ()
    broken: tuple[str, ...] = ()  # depths and shoulders outside their limits, and why
    notes: tuple[str, ...] = ()  # to settle before printing
    worst_difference: float | None = None  # between sizes planned and measured again
    error: str | None = None
    was_there: bool = False  # done by an earlier run, and nothing has changed since

    @property
    def shortfalls(self) -> tuple[str, ...]:
        """Say what falls short of its intent, and why."""
        short = tuple(f"{f.id}: {f.shortfall}" for f in self.features if f.shortfall)
        return short + self.broken

    def feature(self, feature_id: str) -> FeatureOutcome:
        """Return the feature of an id."""
        return next(each for each in self.features if each.id == feature_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class PairOutcome:
    """One pair of features of a mate and the clearance it will have."""

    internal: str
    external: str
    mean: float
    low: float  # 95 of 100 pairs lie between low and high
    high: float
    standard_uncertainty: float
    correlation: float
    assembles: float  # probability of at least the clearance asked for
    is_tight: float  # probability of at most the clearance asked for
    fits: float  # probability of both


@dataclass(frozen=True, slots=True, kw_only=True)
class MateOutcome:
    """What became of one mate; `unknown` says why nothing can be told of it."""

    mate: Mate
    pairs: tuple[PairOutcome, ...] = ()
    copies: int = 0  # how many pairs the quantities of the parts make
    unknown: str | None = None
    notes: tuple[str, ...] = ()

    @property
    def worst(self) -> PairOutcome | None:
        """Return the pair that is least sure to fit."""
        return min(self.pairs, key=lambda pair: pair.fits, default=None)

    @property
    def conforms(self) -> bool:
        """Whether every pair fits as surely as was asked."""
        return self.worst is not None and self.worst.fits >= self.mate.probability


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """Two features of two parts whose sizes are near: they may be meant to mate."""

    internal: Reference
    external: Reference
    internal_size: float
    external_size: float
    pairs: int

    @property
    def drawn_clearance(self) -> float:
        """Return internal less external nominal size, mm."""
        return self.internal_size - self.external_size


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestions:
    """Likely mates, the nearest first, and the parts that could not be looked at."""

    mates: tuple[Suggestion, ...]
    failed: tuple[tuple[str, str], ...] = ()  # name and why


@dataclass(frozen=True, slots=True, kw_only=True)
class KitOutcome:
    """What became of a whole kit."""

    kit: Kit
    parts: tuple[PartOutcome, ...]
    mates: tuple[MateOutcome, ...]
    all_fit: float | None  # probability that all pairs fit; None: cannot be told
    version: str

    @property
    def failed(self) -> tuple[PartOutcome, ...]:
        """Return the parts of which nothing was made."""
        return tuple(part for part in self.parts if part.error is not None)

    @property
    def conforms(self) -> bool:
        """Whether every part is as planned and every mate as sure as asked."""
        parts = all(part.conforms for part in self.parts)
        return parts and all(mate.conforms for mate in self.mates)
