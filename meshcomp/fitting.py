"""The verb `fit`: limits, kind of fit and clearances, and what a printer makes of them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from meshcomp.calibration.observations import instrument_shares
from meshcomp.capabilities import Capability, capability
from meshcomp.deviations import KINDS, ProcessModel, SizeLaw
from meshcomp.errors import OptionError
from meshcomp.fits.clearances import Clearance, clearance
from meshcomp.fits.members import printed_size
from meshcomp.measurements.readings import Reading
from meshcomp.tolerances import Fit, Zone, parse_fit, parse_zone

__all__ = ["FitStudy", "fit"]

_FIT = re.compile(r"/\s*[A-Za-z]{1,2}\s*\d+\s*$")  # a class after a stroke
_INTERNAL = ("bore", "lying bore width", "lying bore height", "slot")
_EXTERNAL = tuple(kind for kind in KINDS if kind not in _INTERNAL)


@dataclass(frozen=True, slots=True, kw_only=True)
class FitStudy:
    """A zone, or the two of a fit, and what a process makes of each."""

    zones: tuple[Zone, ...]  # one, or hole and shaft
    fit: Fit | None = None
    capabilities: tuple[Capability, ...] = ()  # in the order of the zones
    pair: Clearance | None = None  # of hole and shaft, both printed by the middles
    pair_probability: float | None = None  # that their clearance is within the fit's
    notes: tuple[str, ...] = ()  # why there is no capability


def fit(
    text: str,
    model: ProcessModel | None = None,
    *,
    kind: str | None = None,
    readings: Sequence[Reading] = (),
) -> FitStudy:
    """Study a size with its tolerance, or a fit, alone or against a calibration.

    Parameters
    ----------
    text : str
        Such as "22 H7", "8 H7/p6" or "22 +0.02/-0.01".
    model : ProcessModel, optional
        Of the printer, material and setting.
    kind : str, optional
        By which law the feature prints; a bore for holes and a boss for shafts unless
        given. A limit pair does not tell, so it needs it.
    readings : sequence of Reading, optional
        Those of the calibration: bores and bosses that were measured with one instrument
        have its error in common, which cancels in their clearance.

    Raises
    ------
    OptionError
        If the text is no tolerance or fit, or the kind does not go with it.

    References
    ----------
    ISO 286-1:2010 for limits and fits; JCGM 100:2008 (GUM) for the probabilities.

    Examples
    --------
    >>> from meshcomp.calibration.record import *
    >>> model = read_calibration(invented_calibration_path()).model
    >>> study = fit("22 H7", model)
    >>> study.zones[0].upper_limit, study.capabilities[0].holds.name
    (22.021, 'H11')
    >>> fit("8 H7/p6").fit.kind
    'interference'
    """
    if _FIT.search(text):
        return _pair(parse_fit(text), model, kind, readings)
    wanted = parse_zone(text)
    if model is None:
        return FitStudy(zones=(wanted,))
    name = _kind(wanted, kind)
    law = model.law(name)
    if law is None:
        return FitStudy(zones=(wanted,), notes=(_unmeasured(name, model),))
    return FitStudy(zones=(wanted,), capabilities=(capability(law, wanted, name),))


def _kind(wanted: Zone, kind: str | None) -> str:
    if kind is None:
        if wanted.is_internal is None:
            raise OptionError(
                f"{wanted.in_words()} may be of a hole or a shaft: say which, with --kind "
                "bore or --kind boss"
            )
        return "bore" if wanted.is_internal else "boss"
    if kind not in KINDS:
        raise OptionError(f"no kind {kind!r}: kinds are {', '.join(KINDS)}")
    if wanted.is_internal is not None and wanted.is_internal != (kind in _INTERNAL):
        of = "holes" if wanted.is_internal else "shafts"
        kinds = _INTERNAL if wanted.is_internal else _EXTERNAL
        raise OptionError(
            f"{wanted.in_words()} is of {of}, and a {kind} is none: take "
            f"{' or '.join(kinds)}"
        )
    return kind


def _unmeasured(name: str, model: ProcessModel) -> str:
    known = ", ".join(model.laws) or "nothing"
    return f"the calibration has no law for {name} (it has: {known}): measure some first"


def _pair(
    wanted: Fit,
    model: ProcessModel | None,
    kind: str | None,
    readings: Sequence[Reading],
) -> FitStudy:
    zones = (wanted.hole, wanted.shaft)
    if kind is not None:
        raise OptionError(
            "a fit has a bore and a boss: leave --kind out, or study one size"
        )
    if model is None:
        return FitStudy(zones=zones, fit=wanted)
    laws = {name: model.law(name) for name in ("bore", "boss")}
    notes = tuple(_unmeasured(name, model) for name, law in laws.items() if law is None)
    bore, boss = laws["bore"], laws["boss"]
    if bore is None or boss is None:
        return FitStudy(zones=zones, fit=wanted, notes=notes)
    hole = capability(bore, wanted.hole, "bore")
    shaft = capability(boss, wanted.shaft, "boss")
    play = _play(((bore, hole), (boss, shaft)), readings)
    within = play.probability_within(wanted.least_clearance, wanted.most_clearance)
    return FitStudy(
        zones=zones,
        fit=wanted,
        capabilities=(hole, shaft),
        pair=play,
        pair_probability=within,
    )


def _play(
    pair: tuple[tuple[SizeLaw, Capability], tuple[SizeLaw, Capability]],
    readings: Sequence[Reading],
) -> Clearance:
    members = [
        printed_size(
            law,
            found.mesh_size,
            key=("one calibration", found.kind),
            shares=instrument_shares(r for r in readings if r.kind == found.kind),
        )
        for law, found in pair
    ]
    return clearance(*members)
