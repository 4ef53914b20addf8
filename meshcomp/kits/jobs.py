"""What a worker does with one part: look what it has, or compensate it.

A job is data that a process, or another machine with the same files, can be given; what
comes back is data too. A job never fails: what went wrong is its outcome.
"""

from __future__ import annotations

import traceback
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from meshcomp.calibration.record import read_calibration
from meshcomp.calibration.results import Calibration
from meshcomp.corrections import Calibrated, plan
from meshcomp.errors import CalibrationError, MeshCompError, OptionError
from meshcomp.features import Feature, Wall
from meshcomp.inspecting import inspect
from meshcomp.inspections import Inspection
from meshcomp.intents import Aim, aims_of
from meshcomp.intents.aiming import is_far
from meshcomp.intents.planfile import read_plan
from meshcomp.kits.selecting import selected
from meshcomp.kits.tasks import Job, Survey, Wish
from meshcomp.mechanisms import FeatureOutcome, KitPart, PartOutcome
from meshcomp.parts import Part
from meshcomp.plans import Correction, Plan
from meshcomp.printing import law_name, law_of
from meshcomp.repairing import read_sound_part
from meshcomp.reports import record_json
from meshcomp.results import Record
from meshcomp.wishes import layer_wish, roof_of, seam_wish
from meshcomp.workflow import compensate_part, save_reports

__all__ = ["do", "survey"]


def survey(job: Job) -> Survey:
    """Look which features a part has and what sizes are planned for them."""
    try:
        inspection = inspect(_read(job.part))
        rule = _rule(job, inspection)
        sizes = dict(job.part.sizes)
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
    rule = _rule(job, inspection)
    sizes = dict(job.part.sizes)
    known, asked = _calibration(job), job.part.treatment
    record = compensate_part(
        read,
        job.out,
        rule,
        inspection=inspection,
        layers=layer_wish(asked, known),
        seams=seam_wish(asked, known),
        keep=job.part.keep,
        sizes=sizes,
    )
    _, page = save_reports(record, known)
    shown = record_json(record)
    return replace(
        blank,
        calibration_sha256=rule.sha256,
        written=record.written,
        written_sha256=record.written_sha256,
        report=str(page),
        is_proved=record.conforms,
        conforms=record.conforms and record.serves,
        verdict=_verdict(shown["verdict"]),
        features=_outcomes(job, record.inspection, (record.plan, rule), record),
        broken=_broken(record),
        notes=tuple(shown["notes"]),
        worst_difference=_worst(record),
    )


def _verdict(shown: dict[str, str]) -> str:
    """Say what became of a part, with its heading where not all is well."""
    is_good = shown["state"] == "proved"
    return shown["sentence"] if is_good else f"{shown['heading']}. {shown['sentence']}"


def _broken(record: Record) -> tuple[str, ...]:
    broken = record.layers.broken if record.layers else ()
    return tuple(
        f"{each.name}: {each.printed:.3f} mm in print, {each.lower:.3f} to "
        f"{each.upper:.3f} asked"
        for each in broken
    )


def _worst(record: Record) -> float | None:
    """Return the largest difference between a size planned and the one measured again."""
    sizes = () if record.verification is None else record.verification.sizes
    changed = {c.feature_id for c in record.plan.corrections if not c.is_left_alone}
    return max(
        (
            abs(s.achieved - s.planned)
            for s in sizes
            if s.feature_id in changed and s.achieved is not None and s.planned is not None
        ),
        default=None,
    )


def _read(part: KitPart) -> Part:
    return read_sound_part(part.path, unit=part.unit, up=part.up, repairs=part.repair)


def _rule(job: Job, inspection: Inspection) -> Calibrated:
    """Return the calibration with what the plan, the kit and its mates want."""
    part = job.part
    record = _calibration(job)
    return Calibrated(
        model=record.model,
        source=record.conditions.in_words(),
        sha256=record.sha256,
        intents=None if part.plan is None else read_plan(part.plan),
        feels=record.feels,
        targets=dict(part.targets),
        aims=_aims(job, inspection),
        undoes_axes=part.treatment.undoes_axes,
        draws_in_foot=part.treatment.draws_in_foot,
        opens_bores_at_foot=part.treatment.opens_bores_at_foot,
        roof=roof_of(part.treatment),
    )


def _calibration(job: Job) -> Calibration:
    return _calibration_of(job.part.calibration, job.calibration_sha256)


@lru_cache(maxsize=8)
def _calibration_of(path: Path, sha256: str) -> Calibration:
    """Read a calibration once for all parts that a worker makes by it."""
    record = read_calibration(path)
    if record.sha256 != sha256:
        raise CalibrationError(f"{path}: was changed while the kit was made: start again")
    return record


def _aims(job: Job, inspection: Inspection) -> dict[str, Aim]:
    """Return what mates want of each feature; of two mates, the first decides."""
    found: dict[str, Aim] = {}
    for wish in job.wishes:
        for feature in selected(inspection.features, wish.features, job.part.name):
            _refuse_unfit(feature, wish)
            found.setdefault(feature.id, _aim(wish))
    return found


def _aim(wish: Wish) -> Aim:
    words = f"mate {wish.mate!r}"
    if wish.is_gap:
        return Aim(words=words, place="the kit", gap=(wish.size, wish.size))
    return Aim(words=words, place="the kit", target=wish.size)


def _refuse_unfit(feature: Feature, wish: Wish) -> None:
    """Refuse a mate that names another feature than was meant."""
    nominal = feature.nominal_size
    if isinstance(feature, Wall) and feature.between:
        raise OptionError(
            f"mate {wish.mate!r}: {feature.id} has no walls of its own: it follows from "
            f"{feature.owners_in_words}: name one of those"
        )
    if wish.is_gap:
        if feature.kind != "profile":
            raise OptionError(
                f"mate {wish.mate!r}: {feature.id} is a {feature.kind}: flanks are those "
                "of profiles; name bore and boss for sizes"
            )
    elif nominal is None:
        raise OptionError(
            f"mate {wish.mate!r}: {feature.id} is a profile and has no size: name a bore, "
            "a boss, a slot or a wall, or give flank and gap"
        )
    elif is_far(wish.size, nominal):
        raise OptionError(
            f"mate {wish.mate!r}: {feature.id} has {nominal:g} mm and would be made "
            f"{wish.size:g} mm: is this the feature you mean?"
        )


def _outcomes(
    job: Job, inspection: Inspection, made: tuple[Plan, Calibrated], record: Record | None
) -> tuple[FeatureOutcome, ...]:
    decided, rule = made
    part = job.part
    fixed = {*part.keep, *dict(part.sizes), *dict(part.targets)}
    if rule.intents is not None:
        fixed |= set(aims_of(rule.intents, inspection, rule.feels))
    outcomes = (
        _outcome(feature, decided.of(feature.id), rule, _Made.of(feature, record))
        for feature in inspection.features
    )
    return tuple(replace(o, is_fixed=o.id in fixed) for o in outcomes)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Made:
    """What was made of a feature: the size measured again, and where it was held back."""

    size: float | None = None
    used: float | None = None  # smallest offset used, where it was limited

    @classmethod
    def of(cls, feature: Feature, record: Record | None) -> _Made:
        """Return what a record says of a feature; nothing before it is made."""
        if record is None or record.verification is None:
            return cls()
        sizes = {s.feature_id: s.achieved for s in record.verification.sizes}
        used = [x.used for x in record.limits if x.feature_id == feature.id]
        return cls(size=sizes.get(feature.id), used=min(used, key=abs, default=None))


def _outcome(
    feature: Feature, correction: Correction, rule: Calibrated, made: _Made
) -> FeatureOutcome:
    size = correction.mesh_size if made.size is None else made.size
    law, outlook = law_of(feature, rule.model), correction.outlook
    blank = FeatureOutcome(
        id=feature.id,
        kind=feature.kind,
        is_internal=feature.is_internal,
        law=None if law is None else law_name(feature),
        nominal_size=feature.nominal_size,
        target_size=correction.target_size,
        mesh_size=size,
        offset=correction.offset if made.used is None else made.used,
        state=_state(correction, is_limited=made.used is not None),
        reason="; ".join((correction.reason, *correction.flags)),
        intent=None if outlook is None else outlook.intent,
        shortfall=None if outlook is None else outlook.shortfall,
    )
    if law is None or size is None:
        return blank
    low, high = law.prediction_interval(size)
    return replace(blank, printed_size=law.printed_size(size), low=low, high=high)


def _state(correction: Correction, *, is_limited: bool) -> str:
    if is_limited:
        return "limited"
    return "left alone" if correction.is_left_alone else "changed"
