"""What is to be done to each feature, and why: data only."""

from __future__ import annotations

from dataclasses import dataclass

from meshcomp.printer_axes import PrinterAxes

__all__ = ["Correction", "Foot", "Lying", "Outlook", "Plan"]

_LEAST_SIZE = 0.01  # mm: thinner than that is a film, whatever rounding leaves of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What a feature will be in print, and how surely that is what it is for, mm.

    `lower` and `upper` are what the intent asks where its counterpart has its middle
    size. Of a profile, all lengths are gaps per flank instead of sizes.
    """

    intent: str | None = None  # in words; None: nothing was stated
    is_gap: bool = False
    lower: float | None = None
    upper: float | None = None
    predicted: float | None = None  # expected of one print; None: no calibration
    low: float | None = None  # 95 of 100 single prints lie between low and high
    high: float | None = None
    probability: float | None = None  # that one print meets the intent
    asked: float | None = None  # probability that was asked for
    shortfall: str | None = None  # why the intent is not met, or not surely enough
    warnings: tuple[str, ...] = ()

    @property
    def is_met(self) -> bool | None:
        """Whether the intent is met as surely as asked; None: nothing was stated."""
        return None if self.intent is None else self.shortfall is None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lying:
    """What a lying bore is to be upright, beside its width.

    With a roof its upper arc gives way to tangents at `overhang`, degrees from upright,
    that meet in a point or are cut level with the top; the rest stays a circle.
    """

    height: float  # drawn by the printer's axes, mm
    roof: str = ""  # "pointed", "flat" or none
    overhang: float = 45.0

    def in_words(self) -> str:
        """Say what the shape is.

        Examples
        --------
        >>> Lying(height=22.4).in_words(), Lying(height=22.4, roof="flat").in_words()
        ('22.400 mm high', 'a flat roof at 45 degrees')
        """
        if self.roof:
            return f"a {self.roof} roof at {self.overhang:g} degrees"
        return f"{self.height:.3f} mm high"


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """The decision for one feature; sizes in mm, None where there is no such number.

    `offset` is the displacement of the surface along its outward normal, before errors of
    the axes are undone: positive adds material. A feature left alone has offset 0 and says
    why in `reason`.
    """

    feature_id: str
    kind: str  # as the feature's
    nominal_size: float | None
    predicted_deviation: float | None  # of the print from nominal, uncompensated
    standard_uncertainty: float | None  # of the prediction, coefficients only
    target_size: float | None  # wanted in the print
    mesh_size: float | None  # to be had in the compensated mesh
    offset: float
    reason: str  # which rule decided, or why the feature is left alone
    lying: Lying | None = None  # shape of a bore that lies; None: a circle
    is_left_alone: bool = False
    is_kept: bool = False  # as asked: nothing at all is done to it
    stretch: float = 1.0  # drawn by the printer's axes over the mesh size
    flags: tuple[str, ...] = ()  # e.g. "outside the measured sizes 2 to 30 mm"
    outlook: Outlook | None = None  # None: no calibration was given

    @property
    def correction(self) -> float | None:
        """What is added to the nominal size, mm."""
        if self.mesh_size is None or self.nominal_size is None:
            return None
        return self.mesh_size - self.nominal_size

    @property
    def vanishes(self) -> bool:
        """Whether nothing would be left of the feature at its corrected size."""
        return self.mesh_size is not None and not self.mesh_size > _LEAST_SIZE

    @property
    def drawn_size(self) -> float | None:
        """Size before errors of the axes are undone, mm: what they draw of the mesh."""
        return None if self.mesh_size is None else self.mesh_size * self.stretch


@dataclass(frozen=True, slots=True, kw_only=True)
class Foot:
    """By how much the first layers spread, to be drawn in."""

    growth: float  # a side, at the bed, mm
    height: float  # up to which layers spread, mm
    opens_bores: bool = False  # whether inside walls are widened there too

    def in_words(self) -> str:
        """Say what is done.

        Examples
        --------
        >>> Foot(growth=0.115, height=0.4).in_words()
        'the foot is drawn in by 0.115 mm a side at the bed, by less up to 0.4 mm'
        """
        bores = ", and bores are opened there" if self.opens_bores else ""
        return (
            f"the foot is drawn in by {self.growth:g} mm a side at the bed, by less up to "
            f"{self.height:g} mm{bores}"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One correction per feature, and the numbers they came from."""

    corrections: tuple[Correction, ...]  # in the order of the features
    source: str  # in words: "by hand: ..." or the calibration's conditions
    source_sha256: str | None  # of the calibration file
    axes: PrinterAxes | None = None  # errors of the axes to undo in the end
    foot: Foot | None = None
    intents_source: str | None = None  # the plan file
    intents_sha256: str | None = None

    @property
    def shortfalls(self) -> tuple[Correction, ...]:
        """The corrections whose intent is not met as surely as asked."""
        return tuple(c for c in self.corrections if c.outlook and c.outlook.shortfall)

    def of(self, feature_id: str) -> Correction:
        """Return the correction of a feature."""
        return next(c for c in self.corrections if c.feature_id == feature_id)
