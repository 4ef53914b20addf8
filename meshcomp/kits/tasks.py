"""What a worker is given and what it saw: data only, which loads no geometry."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from meshcomp.mechanisms import FeatureOutcome, KitPart

__all__ = ["Job", "Survey", "Wish"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What a mate wants of the features that are meant, mm."""

    features: str  # as in `Reference`
    size: float  # in print; of flanks: the gap that each shall leave
    is_gap: bool
    mate: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One part to be made."""

    part: KitPart
    out: Path  # the file to write
    calibration_sha256: str
    wishes: tuple[Wish, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """The features of one part as planned, before anything is made."""

    name: str  # of the part
    features: tuple[FeatureOutcome, ...] = ()
    error: str | None = None
