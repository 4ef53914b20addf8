"""What a worker does with one part: look what it has, or compensate it.

A job is data that a process, or another machine with the same files, can be given; what
comes back is data too. A job never fails: what went wrong is its outcome.
"""

from __future__ import annotations

import traceback
from dataclasses import dataclass, replace
from pathlib import Path

from meshcomp.calibration.record import read_calibration
from meshcomp.corrections import Calibrated, law_name, plan
from meshcomp.errors import CalibrationError, MeshCompError, OptionError
from meshcomp.features import Feature
from meshcomp.inspecting import inspect
from meshcomp.inspections import Inspection
from meshcomp.kits.selecting import selected
from meshcomp.mechanisms import FeatureOutcome, KitPart, PartOutcome
from meshcomp.parts import Part
from meshcomp.plans import Correction, Plan
from meshcomp.repairing import read_sound_part
from meshcomp.reports import record_json
from meshcomp.results import Record
from meshcomp.workflow import compensate_part, save_reports

__all__ = ["Aim", "Job", "Survey", "do", "survey"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """A size that a mate wants in print, of the features that are meant, mm."""

    features: str  # as in `Reference`
    size: float
    mate: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One part to be made."""

    part: KitPart
    out: Path  # the file to write
    calibration_sha256: str
    aims: tuple[Aim, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """The features of one part as planned, before anything is made."""

    name: str  # of the part
    features: tuple[FeatureOutcome, ...] = ()
    error: str | None = None


def survey(job: Job) -> Survey:
    """Look which features a part has and what sizes are planned for them."""
    try:
        inspection = inspect(_read(job.part))
        rule, sizes = _rule(job, inspection)
        decided = plan(inspection, rule, keep=job.part.keep, sizes=sizes)
        features = _outcomes(job, inspection, (decided, rule), None)
    except Exception as error:  # noqa: BLE001 - one bad part never stops the others
        return Survey(name=job.part.name, error=_told(error))
    return Survey(name=job.part.name, features=features)


def do(job: Job) -> PartOutcome:
    """Compensate one part of a kit, write it and its reports.

    Returns
    -------
    PartOutcome
        With `error` where nothing was made.
    """
    part = job.part
    failed = PartOutcome(name=part.name, source=str(part.path), quantity=part.quantity)
    try:
        return _done(job, failed)
    except Exception as error:  # noqa: BLE001 - one bad part never stops the others
        return replace(failed, error=_told(error))


def _told(error: Exception) -> str:
    """Say what went wrong: our errors in their words, others with their place."""
    if isinstance(error, MeshCompError):
        return str(error)
    place = traceback.extract_tb(error.__traceback__)[-1]
    return (
        f"an error that meshcomp did not foresee ({type(error).__name__}: {error}; "
        f"{Path(place.filename).name}, line {place.lineno}): please report it with the part"
    )


def _done(job: Job, blank: PartOutcome) -> PartOutcome:
    read = _read(job.part)
    inspection = inspect(read)
    rule, sizes = _rule(job, inspection)
    job.out.parent.mkdir(parents=True, exist_ok=True)
    record = compensate_part(read, job.out, rule, keep=job.part.keep, sizes=sizes)
    _, page = save_reports(record)
    shown = record_json(record)
    return replace(
        blank,
        calibration_sha256=rule.sha256,
        written=record.written,
        written_sha256=record.written_sha256,
        report=str(page),
        conforms=record.conforms,
        verdict=shown["verdict"]["sentence"],
        features=_outcomes(job, record.inspection, (record.plan, rule), record),
        notes=tuple(shown["notes"]),
    )


def _read(part: KitPart) -> Part:
    return read_sound_part(part.path, unit=part.unit, up=part.up, repairs=part.repair)


def _rule(job: Job, inspection: Inspection) -> tuple[Calibrated, dict[str, float]]:
    """Return the calibration with the sizes aimed at, and the mesh sizes set."""
    record = read_calibration(job.part.calibration)
    if record.sha256 != job.calibration_sha256:
        raise CalibrationError(
            f"{job.part.calibration}: was changed while the kit was made: start again"
        )
    targets = dict(job.part.targets)
    sizes = dict(job.part.sizes)
    for aim in job.aims:
        for feature in selected(inspection.features, aim.features, job.part.name):
            _refuse_profile(feature, aim)
            if feature.id not in _fixed(job.part):
                targets.setdefault(feature.id, aim.size)
    rule = Calibrated(
        model=record.model,
        source=record.conditions.in_words(),
        sha256=record.sha256,
        targets=targets,
    )
    return rule, sizes


def _fixed(part: KitPart) -> set[str]:
    """Return the features whose sizes the part's own entry settles."""
    return {*part.keep, *dict(part.sizes), *dict(part.targets)}


def _refuse_profile(feature: Feature, aim: Aim) -> None:
    if feature.nominal_size is None:
        raise OptionError(
            f"mate {aim.mate!r}: {feature.id} is a profile and has no size: name a bore, a "
            "boss, a slot or a wall"
        )


def _outcomes(
    job: Job, inspection: Inspection, made: tuple[Plan, Calibrated], record: Record | None
) -> tuple[FeatureOutcome, ...]:
    decided, rule = made
    achieved = {}
    if record is not None and record.verification is not None:
        achieved = {s.feature_id: s.achieved for s in record.verification.sizes}
    limited = {limit.feature_id for limit in record.limits} if record else set()
    outcomes = (
        _outcome(
            feature,
            decided.of(feature.id),
            rule,
            (achieved.get(feature.id), feature.id in limited),
        )
        for feature in inspection.features
    )
    return tuple(replace(o, is_fixed=o.id in _fixed(job.part)) for o in outcomes)


def _outcome(
    feature: Feature,
    correction: Correction,
    rule: Calibrated,
    made: tuple[float | None, bool],
) -> FeatureOutcome:
    size = correction.mesh_size if made[0] is None else made[0]
    name = law_name(feature)
    law = rule.model.law(name) if name else None
    blank = FeatureOutcome(
        id=feature.id,
        kind=feature.kind,
        is_internal=feature.is_internal,
        law=None if law is None else name,
        nominal_size=feature.nominal_size,
        target_size=correction.target_size,
        mesh_size=size,
        offset=correction.offset,
        state=_state(correction, is_limited=made[1]),
        reason="; ".join((correction.reason, *correction.flags)),
    )
    if law is None or size is None:
        return blank
    low, high = law.prediction_interval(size)
    return replace(blank, printed_size=law.printed_size(size), low=low, high=high)


def _state(correction: Correction, *, is_limited: bool) -> str:
    if is_limited:
        return "limited"
    return "left alone" if correction.is_left_alone else "changed"
