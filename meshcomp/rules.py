"""The rules that corrections come from: by hand, or by a calibrated process model.

Sign conventions: `wall_growth` and `boss_growth` add material, `pocket_opening` and
`bore_opening` take it away. A correction's offset is along the outward normal, so it is
positive where material is added.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from meshcomp._laws import parse_law
from meshcomp.deviations import ProcessModel, SizeLaw
from meshcomp.errors import CalibrationError
from meshcomp.features import Feature, Wall
from meshcomp.feels import Feel
from meshcomp.inspections import Inspection
from meshcomp.intents import Aim, Intents, aims_of
from meshcomp.lying_bores import Roof, by_height_law, by_opening, roofed
from meshcomp.outlooks import outlook
from meshcomp.plans import Correction, Foot, Outlook
from meshcomp.printer_axes import PrinterAxes
from meshcomp.printing import STANDING_LIMIT, build_angle, law_name, law_of

__all__ = ["ByHand", "Calibrated", "decided_for", "left_alone", "range_flags", "stretch_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ByHand:
    """Corrections stated by a person, mm.

    `bore_law` is the opening of a bore's diameter as a function of its nominal diameter
    d, such as "0.12 + 0.45/d"; it replaces `bore_opening`.
    """

    wall_growth: float = 0.0  # per side
    pocket_opening: float = 0.0  # per side
    bore_opening: float = 0.0  # on diameter
    boss_growth: float | None = None  # on diameter; None: twice the wall growth
    bore_law: str | None = None
    axes: PrinterAxes | None = None  # errors to undo, about any centre
    foot: Foot | None = None  # to be drawn in
    lying_opening: float | None = None  # on the height of lying bores; None: as others
    roof: Roof | None = None  # over lying bores

    def in_words(self) -> str:
        """Say what was asked for."""
        boss = 2 * self.wall_growth if self.boss_growth is None else self.boss_growth
        bore = self.bore_law or f"{self.bore_opening:+g}"
        return (
            f"by hand: walls {self.wall_growth:+g} a side, pockets "
            f"{self.pocket_opening:+g} a side, bores {bore}, bosses {boss:+g} mm"
        )

    def decide(self, feature: Feature) -> Correction:
        """Return the correction of a feature, before overrides."""
        nominal = feature.nominal_size
        change = self._change(feature)
        # A profile has no size; its change is that of two sides all the same.
        sized = nominal is not None and not _lies(feature)
        return decided_for(
            feature,
            mesh_size=nominal + change if nominal is not None and sized else None,
            offset=change / 2 if not feature.is_internal else -change / 2,
            reason="by hand, as a wall: heights stay" if _lies(feature) else "by hand",
        )

    def laid(self, feature: Feature, correction: Correction) -> Correction:
        """Return a correction with the shape of a bore that lies."""
        if self.roof is not None:
            return roofed(feature, correction, self.roof)
        if self.lying_opening is None:
            return correction
        return by_opening(feature, correction, self.lying_opening)

    def _change(self, feature: Feature) -> float:
        """Return what is added to the feature's size, mm."""
        if isinstance(feature, Wall):
            return 2 * (self.pocket_opening if feature.is_internal else self.wall_growth)
        if feature.kind == "boss":
            return 2 * self.wall_growth if self.boss_growth is None else self.boss_growth
        if self.bore_law is not None:
            return parse_law(self.bore_law)(feature.nominal_size)
        return self.bore_opening


def _lies(feature: Feature) -> bool:
    """Whether a boss does not stand: its top is a matter of layers, not of walls."""
    return feature.kind == "boss" and build_angle(feature) > STANDING_LIMIT


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibrated:
    """Corrections that make each feature print at its target size, by a process model.

    `intents` say what features are for, and `feels` what its words for feel mean; an aim
    is what an intent comes to for one feature, and those given here hold where no intent
    is stated. `targets` are sizes wanted in the print,
    mm, by feature id, whatever the intents say; the nominal size for the others. Scale
    and skew of the axes, where the model has them, are undone for the part as a whole
    unless `undoes_axes` is false; scales then count size by size.
    """

    model: ProcessModel
    source: str = "calibration"
    sha256: str | None = None
    targets: Mapping[str, float] = field(default_factory=dict)
    undoes_axes: bool = True
    draws_in_foot: bool = True
    opens_bores_at_foot: bool = False
    roof: Roof | None = None  # over lying bores
    intents: Intents | None = None
    feels: tuple[Feel, ...] = ()
    aims: Mapping[str, Aim] = field(default_factory=dict)

    def aimed(self, inspection: Inspection) -> Calibrated:
        """Return the same with the aims that its intents come to on a part.

        Raises
        ------
        OptionError
            If an intent does not go with the part.
        """
        if self.intents is None:
            return self
        stated = aims_of(self.intents, inspection, self.feels)
        return replace(self, aims={**self.aims, **stated})

    def in_words(self) -> str:
        """Say where the numbers come from."""
        return self.source

    def decide(self, feature: Feature) -> Correction:
        """Return the correction of a feature, before overrides."""
        aim = self.aims.get(feature.id)
        wanted = self.targets.get(feature.id, aim.target if aim else None)
        return self.decided(feature, aim, wanted)

    def decided(
        self, feature: Feature, aim: Aim | None, wanted: float | None
    ) -> Correction:
        """Return the correction of a feature for an aim and a size wanted, mm."""
        name, law = law_name(feature), law_of(feature, self.model)
        if aim is not None and aim.is_kept:
            return replace(left_alone(feature, "kept by the plan"), is_kept=True)
        if law is None:
            missing = f"no calibration for {name}" if name else _no_class(feature)
            return left_alone(feature, missing)
        if feature.nominal_size is None:
            return _profile_by(feature, law, name or "", aim)
        return _sized_by(feature, law, name or "", wanted, self.axes)

    @property
    def foot(self) -> Foot | None:
        """What the first layers spread by, as the model tells."""
        flare = self.model.flare
        if flare is None or not self.draws_in_foot:
            return None
        return Foot(
            growth=flare.growth, height=flare.height, opens_bores=self.opens_bores_at_foot
        )

    @property
    def axes(self) -> PrinterAxes | None:
        """Errors of the axes that the model tells, about the origin."""
        if not self.undoes_axes:
            return None
        scales = [_scale(self.model.law(f"outside {axis}")) for axis in "xy"]
        skew = self.model.skew
        axes = PrinterAxes(
            scale=(scales[0], scales[1], _scale(self.model.height)),
            skew=0.0 if skew is None else skew.angle,
        )
        return None if axes.is_true else axes

    def laid(self, feature: Feature, correction: Correction) -> Correction:
        """Return a correction with the shape of a bore that lies."""
        if self.roof is not None:
            return roofed(feature, correction, self.roof)
        scale = 1.0 if self.axes is None else self.axes.scale[2]
        law = self.model.law("lying bore height")
        return by_height_law(feature, correction, law, scale)

    def foretold(self, feature: Feature, correction: Correction) -> Correction:
        """Return a correction with what will come of it in print."""
        seen = self.foreseen(feature, correction, self.aims.get(feature.id))
        return replace(correction, outlook=seen)

    def foreseen(
        self, feature: Feature, correction: Correction, aim: Aim | None
    ) -> Outlook:
        """Return what will come of a correction in print, for an aim."""
        return outlook(feature, correction, law_of(feature, self.model), aim)


def _scale(law: SizeLaw | None) -> float:
    """Return drawn over asked for by a law of lengths."""
    if law is None or "scale" not in law.terms:
        return 1.0
    return 1.0 + float(law.coefficients[law.terms.index("scale")])


def _no_class(feature: Feature) -> str:
    return (
        f"no calibration for a {feature.kind} at {build_angle(feature):.0f} degrees to "
        "the build direction"
    )


def _sized_by(
    feature: Feature,
    law: SizeLaw,
    name: str,
    wanted: float | None,
    axes: PrinterAxes | None,
) -> Correction:
    nominal = feature.nominal_size or 0.0
    target = nominal if wanted is None else wanted
    try:
        mesh_size = law.mesh_size_for(target)
    except CalibrationError as error:
        return left_alone(feature, str(error))
    # The law's own scale is that of the axes, which are undone for the whole part.
    drawn = mesh_size * stretch_of(axes, feature)
    half = (drawn - nominal) / 2
    correction = decided_for(
        feature,
        mesh_size=drawn,
        offset=-half if feature.is_internal else half,
        reason=f"calibration for {name}",
    )
    return replace(
        correction,
        target_size=target,
        predicted_deviation=law.deviation(nominal),
        standard_uncertainty=law.standard_uncertainty(mesh_size),
        flags=range_flags(law, name, mesh_size),
    )


def range_flags(law: SizeLaw, name: str, mesh_size: float) -> tuple[str, ...]:
    """Say of a size, mm, that its law was not measured there; nothing where it was."""
    if law.covers(mesh_size):
        return ()
    ends = f"{law.valid_from:g} to {law.valid_to:g} mm"
    return (f"outside the sizes measured for {name}: {ends}",)


def stretch_of(axes: PrinterAxes | None, feature: Feature) -> float:
    """Return what the axes draw of a feature's size, over that size."""
    if axes is None:
        return 1.0
    is_round = feature.kind in {"bore", "boss"}
    stretch = axes.stretch_round if is_round else axes.stretch_across
    return stretch(feature.direction)


def _profile_by(feature: Feature, law: SizeLaw, name: str, aim: Aim | None) -> Correction:
    """Offset a profile by the part of the law that does not depend on size.

    A gap that is wanted takes its middle off every flank, inside and outside alike.
    """
    terms = dict(zip(law.terms, law.coefficients.tolist(), strict=True))
    growth = terms.get("constant", 0.0) / 2
    # An outside grows by half the constant a side, a pocket's wall by minus half.
    offset = growth if feature.is_internal else -growth
    gap = sum(aim.gap) / 2 if aim is not None and aim.gap is not None else 0.0
    return decided_for(
        feature,
        mesh_size=None,
        offset=offset - gap,
        reason=f"calibration for {name}, its part for one side",
    )


def decided_for(
    feature: Feature, *, mesh_size: float | None, offset: float, reason: str
) -> Correction:
    """Return the correction that was decided, aimed at the nominal size."""
    return Correction(
        feature_id=feature.id,
        kind=feature.kind,
        nominal_size=feature.nominal_size,
        predicted_deviation=None,
        standard_uncertainty=None,
        target_size=feature.nominal_size,
        mesh_size=mesh_size,
        offset=offset,
        reason=reason,
    )


def left_alone(feature: Feature, reason: str) -> Correction:
    """Return the correction of a feature that is left alone, and why."""
    kept = decided_for(feature, mesh_size=feature.nominal_size, offset=0.0, reason=reason)
    return replace(kept, is_left_alone=True)
