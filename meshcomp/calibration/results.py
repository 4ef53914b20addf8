"""What a calibration holds: data only, mm."""

from __future__ import annotations

from dataclasses import dataclass

from meshcomp.deviations import ProcessModel
from meshcomp.feels import Feel
from meshcomp.measurements.readings import Reading

__all__ = [
    "Calibration",
    "Candidate",
    "Conditions",
    "DriftTest",
    "Flow",
    "LackOfFit",
    "Outlier",
    "Residual",
    "Study",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """What was printed with: a calibration holds for nothing else."""

    printer: str
    material: str
    nozzle: float  # mm
    layer_height: float  # mm
    line_width: float  # mm
    date: str = ""  # year-month-day
    notes: str = ""
    is_invented: bool = False  # an example, measured on no printer
    first_layer: float | None = None  # mm; None: as high as the others

    def in_words(self) -> str:
        """Return the conditions as one line."""
        words = (
            f"{self.printer}, {self.material}, nozzle {self.nozzle:g} mm, layers "
            f"{self.layer_height:g} mm, lines {self.line_width:g} mm"
        )
        if self.first_layer is not None:
            words += f", first layer {self.first_layer:g} mm"
        words += f", {self.date}" if self.date else ""
        return words + (" (invented example)" if self.is_invented else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A law that was tried: the smaller its `aicc`, the better the data support it.

    `aicc` is None where there are too few features to try this many terms.
    """

    terms: tuple[str, ...]
    log_likelihood: float | None
    aicc: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Residual:
    """One feature's reading beside the law.

    For a go/no-go reading `deviation` is None and `lower`, `upper` bound it.
    """

    feature: str  # piece and id
    source: str  # file and line
    size: float  # mesh size, mm
    deviation: float | None  # measured less mesh size, mm
    lower: float | None  # mm
    upper: float | None  # mm
    reading_uncertainty: float  # standard, without the instrument's common error, mm
    residual: float | None  # deviation less the law's, mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A reading that does not go with the others, by a named test; it was kept."""

    feature: str
    source: str
    residual: float  # mm
    statistic: float
    p_value: float  # after Bonferroni's correction for the number of readings
    test: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LackOfFit:
    """Whether the law misses the mean of repeat prints by more than their scatter."""

    statistic: float
    p_value: float
    degrees_of_freedom: tuple[int, int]
    test: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftTest:
    """Whether new readings disagree with the record they are added to."""

    statistic: float
    p_value: float
    degrees_of_freedom: tuple[int, float]
    mean_shift: float  # mean of new readings less the old law, mm
    has_drifted: bool
    test: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """How one kind of feature was estimated, so that it can be judged."""

    kind: str
    features: int  # prints of features that were measured
    intervals: int  # of these by go/no-go
    candidates: tuple[Candidate, ...]
    residuals: tuple[Residual, ...]
    outliers: tuple[Outlier, ...] = ()
    lack_of_fit: LackOfFit | None = None
    drift: DriftTest | None = None
    repeatability_origin: str = "estimated"
    common_uncertainty: float = 0.0  # standard, of the instruments' accuracy, mm
    notes: tuple[str, ...] = ()  # what the data do not tell
    next_sizes: tuple[float, ...] = ()  # sizes to measure next to learn most, mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """By how much to multiply the extrusion flow: intended over measured thickness."""

    intended: float  # thickness of the single wall in the slicer, mm
    measured: float  # mm
    ratio: float
    standard_uncertainty: float  # of the ratio
    readings: int


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Calibration:
    """A process model, what it was measured with and on, and how it was estimated."""

    model: ProcessModel
    conditions: Conditions
    readings: tuple[Reading, ...] = ()
    studies: tuple[Study, ...] = ()
    flow: Flow | None = None
    feels: tuple[Feel, ...] = ()  # from the tightest word to the loosest
    notes: tuple[str, ...] = ()  # e.g. what was not measured
    software: str = ""
    sha256: str | None = None  # of the file it was read from

    def study(self, kind: str) -> Study | None:
        """Return how a kind of feature was estimated, or None."""
        return next((s for s in self.studies if s.kind == kind), None)
