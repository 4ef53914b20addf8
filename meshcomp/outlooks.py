"""What will come of each feature in print: its size, and whether it serves its intent."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

from meshcomp.capabilities import between, probability_inside
from meshcomp.deviations import SizeLaw
from meshcomp.features import Feature
from meshcomp.intents.statements import Aim
from meshcomp.plans import Correction, Outlook
from meshcomp.presses import Press, press, strain_warnings

__all__ = ["PRESSED", "outlook"]

PRESSED = "pressed by up to"  # how every warning of a press fit begins
_LEVEL = 0.95


def outlook(
    feature: Feature, correction: Correction, law: SizeLaw | None, aim: Aim | None
) -> Outlook:
    """Return what a feature will be in print, as corrected.

    Parameters
    ----------
    feature : Feature
    correction : Correction
        As decided.
    law : SizeLaw or None
        That the feature prints by; None: not measured.
    aim : Aim or None
        What the feature is for; None: nothing was stated.

    References
    ----------
    JCGM 100:2008 (GUM), annex G: Student's t for the degrees of freedom.
    """
    if law is None:
        return _unknown(correction, aim)
    if feature.nominal_size is None:
        return _of_profile(feature, correction, law, aim)
    if correction.mesh_size is None:
        return _unknown(correction, aim)
    return _of_size(feature, correction.mesh_size, law, aim)


def _unknown(correction: Correction, aim: Aim | None) -> Outlook:
    """Return what is left to say where no law tells the size in print."""
    if aim is None:
        return Outlook()
    short = None if aim.is_kept else f"not aimed at: {correction.reason}"
    return replace(_stated(aim), shortfall=short)


def _stated(aim: Aim | None) -> Outlook:
    if aim is None:
        return Outlook()
    return Outlook(
        intent=aim.words,
        lower=aim.lower,
        upper=aim.upper,
        asked=aim.probability,
        warnings=aim.notes,
    )


def _of_size(feature: Feature, mesh_size: float, law: SizeLaw, aim: Aim | None) -> Outlook:
    low, high = law.prediction_interval(mesh_size, _LEVEL)
    printed = law.printed_size(mesh_size)
    known = replace(_stated(aim), predicted=printed, low=low, high=high)
    if aim is None or aim.is_kept:
        return known
    if aim.lower is not None and aim.upper is not None:
        met = probability_inside(law, mesh_size, aim.lower, aim.upper, shift=aim.shift)
        known = _judged(known, met)
    return _pressed(known, feature, aim)


def _judged(known: Outlook, probability: float) -> Outlook:
    asked = known.asked or 0.0
    short = None
    if probability < asked:
        short = f"{100 * probability:.1f} of 100 prints meet it, {100 * asked:g} are asked"
    return replace(known, probability=probability, shortfall=short)


def _of_profile(
    feature: Feature, correction: Correction, law: SizeLaw, aim: Aim | None
) -> Outlook:
    """Return the gap of one flank: how far inside the drawn outline material ends.

    A flank has half of the law's constant. The scatter of a size is that of two flanks,
    so that one has its root of one half, if they scatter independently.
    """
    terms = dict(zip(law.terms, law.coefficients.tolist(), strict=True))
    side = -0.5 if feature.is_internal else 0.5  # of the constant, outwards
    gap = -(correction.offset + side * terms.get("constant", 0.0))
    spread = sqrt(_constant_variance(law) / 4 + law.repeatability**2 / 2)
    factor = _factor(law)
    known = replace(
        _stated(aim),
        is_gap=True,
        predicted=gap,
        low=gap - factor * spread,
        high=gap + factor * spread,
    )
    if aim is None or aim.gap is None or aim.gap[0] >= aim.gap[1]:
        return known
    limits = (aim.gap[0] - gap, aim.gap[1] - gap)
    met = between(limits, spread, law.degrees_of_freedom)
    return _judged(replace(known, lower=aim.gap[0], upper=aim.gap[1]), met)


def _constant_variance(law: SizeLaw) -> float:
    if "constant" not in law.terms:
        return 0.0
    place = law.terms.index("constant")
    return float(law.covariance[place, place])


def _factor(law: SizeLaw) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(law.degrees_of_freedom, (1.0 + _LEVEL) / 2.0))


def _pressed(known: Outlook, feature: Feature, aim: Aim) -> Outlook:
    """Add what a press fit does to the hub, at the tightest of 95 of 100 prints."""
    other = aim.counterpart
    if other is None or feature.kind != "bore" or known.low is None:
        return known
    interference = other.zone.upper_limit - known.low
    tightest = aim.target if aim.lower is None else aim.lower
    if interference <= 0 or tightest is None or tightest >= other.zone.middle:
        return known  # it may press by chance, but is not meant to
    hub, material = aim.hub_diameter, aim.material
    if hub is None or material is None or hub <= other.zone.middle:
        missing = "its material" if material is None else "the diameter of its hub"
        words = f"{PRESSED} {interference:.3f} mm: state {missing} to see whether "
        strained = strain_warnings(interference, other.zone.middle)
        return _warned(known, (f"{words}it would split", *strained))
    found = press(other.zone.middle, hub, interference, hub=material)
    warned = _warned(known, (_press_words(found), *found.warnings))
    if found.would_split and warned.shortfall is None:
        return replace(warned, shortfall=found.warnings[0])
    return warned


def _press_words(found: Press) -> str:
    return (
        f"{PRESSED} {found.interference:.3f} mm in a hub of "
        f"{found.hub_diameter:g} mm: {found.pressure:.1f} MPa between them, "
        f"{found.hoop_stress:.1f} MPa of hoop stress on the first day; plastic creeps"
    )


def _warned(known: Outlook, words: tuple[str, ...]) -> Outlook:
    return replace(known, warnings=(*known.warnings, *words))
