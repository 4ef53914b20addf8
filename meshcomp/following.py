"""Distances between walls of other features: what becomes of them follows from those."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from meshcomp.features import Feature, Wall
from meshcomp.plans import Correction
from meshcomp.printing import law_name, law_of
from meshcomp.rules import ByHand, Calibrated, decided_for, range_flags, stretch_of

__all__ = ["followed"]

_LEAST_CHANGE = 1e-9  # mm


def followed(
    feature: Wall, decided: Mapping[str, Correction], rule: ByHand | Calibrated
) -> Correction:
    """Return what becomes of a distance as its two walls move.

    Parameters
    ----------
    feature : Wall
        A distance, between two planes that others own.
    decided : mapping of str to Correction
        Of the features that own them, by id.
    rule : ByHand or Calibrated
        That those were decided by.

    Returns
    -------
    Correction
        Its size is the nominal one with the offsets of both walls, which add to a
        thickness and take from a gap; a gap's offset has their sign all the same.
    """
    nominal = feature.nominal_size or 0.0
    total = sum(decided[name].offset for name in feature.between)
    drawn = nominal + (-total if feature.is_internal else total)
    stretch = stretch_of(rule.axes, feature)
    words = f"follows from {feature.owners_in_words}"
    stays = abs(total) <= _LEAST_CHANGE
    plain = decided_for(
        feature,
        mesh_size=drawn / stretch,
        offset=0.0 if stays else total / 2,
        reason=f"{words}: nothing moves there" if stays else words,
    )
    correction = replace(plain, stretch=stretch, is_left_alone=stays)
    return correction if isinstance(rule, ByHand) else _expected(correction, feature, rule)


def _expected(correction: Correction, feature: Feature, rule: Calibrated) -> Correction:
    """Add what the calibration says of such a size."""
    law = law_of(feature, rule.model)
    if law is None or correction.mesh_size is None:
        return correction
    return replace(
        correction,
        predicted_deviation=law.deviation(correction.nominal_size or 0.0),
        standard_uncertainty=law.standard_uncertainty(correction.mesh_size),
        flags=range_flags(law, law_name(feature) or "", correction.mesh_size),
    )
