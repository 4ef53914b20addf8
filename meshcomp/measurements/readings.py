"""Readings of printed features: data only, mm."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["READING_KINDS", "Instrument", "Reading"]

READING_KINDS = (
    "bore",
    "lying bore width",
    "lying bore height",
    "boss",
    "outside x",
    "outside y",
    "slot",
    "height",
    "diagonal +",  # corner at low x and y to corner at high x and y
    "diagonal -",  # corner at low x and high y to corner at high x and low y
    "foot",  # outside size at the first layers; same id as its outside size
    "seam along",  # diameter of a post through its seam
    "seam across",  # the same post, a quarter turn away
    "strip",  # thickness of a wall of one line, for the flow
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """What a size was read with.

    `accuracy` is the largest error stated by its maker, or found with a gauge block:
    it is common to all readings of the instrument. None: not stated.
    """

    name: str
    resolution: float  # step of the display, mm
    accuracy: float | None = None  # plus or minus, mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What was read of one printed feature.

    Either `values` (repeat readings of one print) or the sizes of a go/no-go gauge:
    `go_size` went in (or over), `no_go_size` did not; one of the two may be missing.
    """

    piece: str  # which print
    feature_id: str
    kind: str  # one of READING_KINDS
    nominal_size: float  # mm
    mesh_size: float  # of the mesh that was printed, mm: nominal unless compensated
    values: tuple[float, ...] = ()  # mm
    go_size: float | None = None  # mm
    no_go_size: float | None = None  # mm
    instrument: Instrument | None = None
    source: str = ""  # file and line
    note: str = ""  # as written beside it: a word for its feel on a fit ladder

    @property
    def is_interval(self) -> bool:
        """Whether the size is only known to lie between two gauges."""
        return not self.values

    @property
    def is_internal(self) -> bool:
        """Whether the gauge goes into the feature, so that going means larger."""
        return self.kind in {"bore", "lying bore width", "lying bore height", "slot"}

    @property
    def bounds(self) -> tuple[float | None, float | None]:
        """Lower and upper limit of the size as a go/no-go gauge tells it, mm.

        A pin that goes into a bore is smaller than the bore; a ring that goes over a
        boss is larger than the boss.
        """
        if self.is_internal:
            return self.go_size, self.no_go_size
        return self.no_go_size, self.go_size
