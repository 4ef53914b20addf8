"""Studies of tolerances and fits as text and as JSON."""

from __future__ import annotations

from typing import Any

from meshcomp.capabilities import Capability
from meshcomp.fitting import FitStudy
from meshcomp.reports._numbers import micrometres, odds, percent, signed, size
from meshcomp.reports._tables import Column, paragraph, table
from meshcomp.tolerances import Zone

__all__ = ["fit_json", "fit_text"]

_PRESSED = (
    "An interference strains a printed hub, and plastic creeps: a plan file "
    "(docs/plans.md) tells whether it would split."
)
_LIMITS = "Limits by ISO 286-1 for classes; sizes in mm."


def fit_text(study: FitStudy, conditions: str | None = None) -> str:
    """Return a study of a tolerance or a fit as text for the terminal.

    Parameters
    ----------
    study : FitStudy
    conditions : str, optional
        What the calibration was measured with, in words.

    Examples
    --------
    >>> from meshcomp.fitting import fit
    >>> print(fit_text(fit("8 H7/p6")))
    8 H7/p6: interference fit, clearance from -24 to 0 µm
    <BLANKLINE>
    zone  lower  upper  middle  width, µm
    H7    8.000  8.015   8.008         15
    p6    8.015  8.024   8.020          9
    Limits by ISO 286-1 for classes; sizes in mm.
    <BLANKLINE>
    An interference strains a printed hub, and plastic creeps: a plan file
    (docs/plans.md) tells whether it would split.
    """
    lines = [_heading(study), "", *_zones(study.zones), _LIMITS]
    if conditions:
        lines += ["", *paragraph(f"Printed with {conditions}:")]
    for found in study.capabilities:
        lines += ["", *_capability(found)]
    if study.pair is not None:
        lines += ["", *_pair(study)]
    if study.fit is not None and study.fit.least_clearance < 0:
        lines += ["", *paragraph(_PRESSED)]
    for note in study.notes:
        lines += paragraph(note)
    return "\n".join(lines)


def _heading(study: FitStudy) -> str:
    if study.fit is None:
        return study.zones[0].in_words()
    least, most = study.fit.least_clearance, study.fit.most_clearance
    return (
        f"{study.fit.in_words()}: {study.fit.kind} fit, clearance from "
        f"{micrometres(least)} to {micrometres(most)} µm"
    )


def _zones(zones: tuple[Zone, ...]) -> list[str]:
    columns = [
        Column("zone", tuple(z.name for z in zones), is_number=False),
        Column("lower", tuple(size(z.lower_limit) for z in zones)),
        Column("upper", tuple(size(z.upper_limit) for z in zones)),
        Column("middle", tuple(size(z.middle) for z in zones)),
        Column("width, µm", tuple(micrometres(z.width) for z in zones)),
    ]
    return table(columns)


def _capability(found: Capability) -> list[str]:
    """Say how surely a print is inside, and what can be held."""
    zone, aim, mesh = found.zone, size(found.target), size(found.mesh_size)
    held = "no class of this letter" if found.holds is None else found.holds.name
    within, scatter = micrometres(found.half_width), micrometres(2 * found.repeatability)
    lines = paragraph(
        f"{zone.name} at {zone.nominal_size:g} mm is {micrometres(zone.width)} µm wide; a "
        f"{found.kind} aimed at {aim} mm comes out within ±{within} µm (95 of 100 "
        f"prints): {odds(found.probability)} inside ({percent(found.probability)}). {held} "
        "is what you can hold."
    )
    lines += paragraph(
        f"Repeatability ±{scatter} µm (two standard deviations): with a calibration "
        f"known exactly, {odds(found.probability_if_known)} inside. For {aim} mm in print "
        f"the mesh has {mesh} mm."
    )
    if not found.is_measured:
        lines += paragraph(f"{mesh} mm is outside the sizes measured.")
    return lines


def _pair(study: FitStudy) -> list[str]:
    pair, within = study.pair, study.pair_probability
    if pair is None or within is None:
        return []
    low, high = pair.interval()
    return paragraph(
        f"Both printed: clearance {signed(pair.mean)} mm, 95 of 100 pairs from "
        f"{signed(low)} to {signed(high)} mm; {odds(within, 'pair')} as the fit asks "
        f"({percent(within)})."
    )


def fit_json(study: FitStudy, conditions: str | None = None) -> dict[str, Any]:
    """Return a study of a tolerance or a fit as one JSON object; sizes in mm."""
    joined = study.fit
    return {
        "schema": 1,
        "conditions": conditions,
        "zones": [zone_json(zone) for zone in study.zones],
        "fit": None
        if joined is None
        else {
            "kind": joined.kind,
            "least_clearance": joined.least_clearance,
            "most_clearance": joined.most_clearance,
        },
        "capabilities": [_capability_json(found) for found in study.capabilities],
        "pair": _pair_json(study),
        "notes": list(study.notes),
    }


def zone_json(zone: Zone) -> dict[str, Any]:
    """Return a zone as a JSON object."""
    return {
        "nominal_size": zone.nominal_size,
        "name": zone.name,
        "lower_limit": zone.lower_limit,
        "upper_limit": zone.upper_limit,
        "middle": zone.middle,
        "width": zone.width,
    }


def _capability_json(found: Capability) -> dict[str, Any]:
    return {
        "kind": found.kind,
        "target_size": found.target,
        "mesh_size": found.mesh_size,
        "low": found.low,
        "high": found.high,
        "standard_uncertainty": found.standard_uncertainty,
        "repeatability": found.repeatability,
        "probability": found.probability,
        "probability_if_known": found.probability_if_known,
        "holds": None if found.holds is None else zone_json(found.holds),
        "is_measured": found.is_measured,
    }


def _pair_json(study: FitStudy) -> dict[str, Any] | None:
    if study.pair is None:
        return None
    low, high = study.pair.interval()
    return {
        "mean_clearance": study.pair.mean,
        "low": low,
        "high": high,
        "probability": study.pair_probability,
    }
