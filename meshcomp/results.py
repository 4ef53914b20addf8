"""What came out: the compensated part, its proof and the whole record: data only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.inspections import Inspection, SolidState
from meshcomp.layers import LayerReport
from meshcomp.parts import Part
from meshcomp.plans import Plan
from meshcomp.seams import SeamReport

__all__ = [
    "AchievedSize",
    "Check",
    "Compensated",
    "Limit",
    "Offer",
    "Offers",
    "PlanView",
    "Record",
    "Surface",
    "Verification",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A feature whose offset had to be held back, with the place, mm, file's frame."""

    feature_id: str
    wanted: float  # offset, mm
    used: float  # smallest offset used anywhere on the feature, mm
    place: tuple[float, float, float]
    reason: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Compensated:
    """A reshaped part, not yet written."""

    part: Part
    plan: Plan
    parents: NDArray[np.int64]  # (m,) face of the input that each face came from
    limits: tuple[Limit, ...]
    predicted_volume_change: float  # mm³, from area times offset
    moved_volume: float  # mm³, what is added and what is taken away, together
    layers: LayerReport | None = None  # of the part as drawn, with its moves
    seams: SeamReport | None = None  # the grooves that were cut


@dataclass(frozen=True, slots=True, kw_only=True)
class AchievedSize:
    """A feature's size measured again in the written file, mm."""

    feature_id: str
    planned: float | None
    achieved: float | None
    conforms: bool
    how: str  # how it was measured, or why it could not be


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One check of the written solid, with its figures in words."""

    name: str  # e.g. "closed", "height unchanged", "no crossing faces"
    passed: bool
    figure: str  # e.g. "0 open edges", "z from 0 to 12 mm before and after"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """The proof: every size and every check of the written file."""

    sizes: tuple[AchievedSize, ...]
    checks: tuple[Check, ...]
    solid: SolidState
    volume_change: float  # mm³
    predicted_volume_change: float  # mm³

    @property
    def conforms(self) -> bool:
        """Whether every size and every check is as it should be."""
        return all(s.conforms for s in self.sizes) and all(c.passed for c in self.checks)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PlanView:
    """A horizontal section before and after, seen from above, bed's frame, mm.

    `before` and `after` hold rings, (k, 2) float each; `marks` are (feature id, x, y).
    """

    height: float
    before: tuple[NDArray[np.float64], ...]
    after: tuple[NDArray[np.float64], ...]
    marks: tuple[tuple[str, float, float], ...]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Surface:
    """The part's surface to look at, and how far each point of it moved, bed's frame.

    `displacements` are of the corners of each triangle outwards, positive where material
    was added: from the cylinder of a bore or a boss, and from the old face elsewhere.
    After a dry run they are those planned.
    """

    vertices: NDArray[np.float64]  # (n, 3) mm
    faces: NDArray[np.int64]  # (m, 3)
    displacements: NDArray[np.float64]  # (m, 3) mm
    owners: NDArray[np.int64]  # (m,) index of the feature that a face belongs to, or -1
    edges: NDArray[np.int64]  # (k, 2) vertices: outlines of features, and sharp edges
    triangles: int  # of the whole part: more than m where it was thinned out
    strayed: float  # mm that thinning may have moved the surface


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """One thing that a feature could be for, and what would come of it in print, mm.

    Where a value is still to be `typed`, the target follows from it: a size is the target
    itself, and of a clearance it is `base` plus `sign` times the clearance's middle.
    """

    group: str  # heading in a list; empty for what was stated
    label: str
    keys: tuple[tuple[str, str], ...]  # of the intent in a plan file, values as TOML
    target: float | None = None
    lower: float | None = None
    upper: float | None = None
    low: float | None = None  # 95 of 100 prints lie between low and high
    high: float | None = None
    probability: float | None = None
    notes: tuple[str, ...] = ()
    typed: str | None = None  # "size", "clearance" or "gap"
    base: float | None = None
    sign: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Offers:
    """What may be chosen for each feature, in the order of the features."""

    head: str  # of the plan file
    of_features: tuple[tuple[Offer, ...], ...]  # the first of each is what was stated


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Record:
    """Everything about one compensated part: what a report shows."""

    inspection: Inspection
    plan: Plan
    limits: tuple[Limit, ...]
    verification: Verification | None  # None for a dry run
    views: tuple[PlanView, ...]
    written: str | None  # path of the compensated mesh
    written_sha256: str | None
    version: str
    surface: Surface | None = None
    offers: Offers | None = None  # None: no calibration was given
    layers: LayerReport | None = None  # None: the layer height is not known
    seams: SeamReport | None = None  # None: no grooves were asked for

    @property
    def conforms(self) -> bool:
        """Whether the result is proved and nothing was limited."""
        proved = self.verification is None or self.verification.conforms
        return proved and not self.limits

    @property
    def serves(self) -> bool:
        """Whether no intent falls short of what is asked of it, and no distance."""
        return not self.plan.shortfalls and not (self.layers and self.layers.broken)
