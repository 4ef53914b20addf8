"""Decide the shape of bores that lie: width and height apart, or a roof."""

from __future__ import annotations

from dataclasses import dataclass, replace

from meshcomp.deviations import SizeLaw
from meshcomp.errors import CalibrationError, OptionError
from meshcomp.features import Cylinder, Feature
from meshcomp.plans import Correction, Lying
from meshcomp.printing import LYING_LIMIT, build_angle

__all__ = ["ROOFS", "Roof", "by_height_law", "by_opening", "roofed"]

ROOFS = ("pointed", "flat")
_FULL = 350.0  # degrees: less has no whole roof
_STEEPEST, _FLATTEST = 15.0, 75.0  # degrees from upright


@dataclass(frozen=True, slots=True, kw_only=True)
class Roof:
    """A roof for lying bores: "pointed" or "flat", at an overhang in degrees from upright.

    Raises
    ------
    OptionError
        If there is no such roof, or no printer prints that overhang.
    """

    shape: str
    overhang: float = 45.0

    def __post_init__(self) -> None:
        if self.shape not in ROOFS:
            raise OptionError(f"roof is {self.shape!r}: give {' or '.join(ROOFS)}")
        if not _STEEPEST <= self.overhang <= _FLATTEST:
            raise OptionError(
                f"overhang is {self.overhang:g} degrees: give the steepest one that you "
                f"print cleanly, {_STEEPEST:g} to {_FLATTEST:g} degrees from upright"
            )


def _lies(feature: Feature, correction: Correction) -> bool:
    if correction.is_left_alone or correction.mesh_size is None:
        return False
    is_bore = isinstance(feature, Cylinder) and feature.is_internal
    return is_bore and build_angle(feature) >= LYING_LIMIT


def by_height_law(
    feature: Feature, correction: Correction, law: SizeLaw | None, scale: float
) -> Correction:
    """Return a correction with the height that prints at the target, by its own law.

    Parameters
    ----------
    feature : Feature
    correction : Correction
        Of the width.
    law : SizeLaw or None
        Of lying bores' height.
    scale : float
        Drawn over asked for, along the build direction.
    """
    if not _lies(feature, correction):
        return correction
    if law is None:
        flag = "no calibration for lying bore height: made round, by its width"
        return replace(correction, flags=(*correction.flags, flag))
    try:
        height = law.mesh_size_for(correction.target_size or 0.0)
    except CalibrationError as error:
        return replace(correction, flags=(*correction.flags, f"height: {error}"))
    return _with_height(correction, height * scale, "by its own law")


def by_opening(feature: Feature, correction: Correction, opening: float) -> Correction:
    """Return a correction with a height stated by hand: an opening of the nominal size."""
    if not _lies(feature, correction):
        return correction
    height = (feature.nominal_size or 0.0) + opening
    if height <= 0:
        raise OptionError(
            f"{feature.id}: the height would be {height:g} mm: give a smaller correction"
        )
    return _with_height(correction, height, "by hand")


def _with_height(correction: Correction, height: float, why: str) -> Correction:
    reason = f"{correction.reason}; height {height:.3f} mm {why}"
    return replace(correction, reason=reason, lying=Lying(height=height))


def roofed(feature: Feature, correction: Correction, roof: Roof) -> Correction:
    """Return a correction with a roof instead of a height: nothing is left to sag.

    A bore that does not go all around, or is left alone, gets none.
    """
    if not _lies(feature, correction):
        return correction
    if isinstance(feature, Cylinder) and feature.span < _FULL:
        flag = f"no roof: it covers {feature.span:.0f} degrees only"
        return replace(correction, flags=(*correction.flags, flag))
    shape = Lying(
        height=correction.drawn_size or 0.0, roof=roof.shape, overhang=roof.overhang
    )
    words = f"{correction.reason}; {roof.shape} roof at {roof.overhang:g} degrees"
    return replace(correction, reason=words, lying=shape)
