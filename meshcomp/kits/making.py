"""The whole of a kit: look at parts, aim, compensate side by side, judge the mates."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from meshcomp._version import __version__
from meshcomp.calibration.record import read_calibration
from meshcomp.calibration.results import Calibration
from meshcomp.errors import MeshCompError
from meshcomp.kits.aiming import felt, looked_for, wishes_of, with_aims
from meshcomp.kits.judging import Known, judged
from meshcomp.kits.running import all_done
from meshcomp.kits.store import earlier, earlier_survey, key_of, to_folder
from meshcomp.kits.suggesting import likely_mates
from meshcomp.kits.tasks import Job, Survey
from meshcomp.kits.work import look_at_part, make_part
from meshcomp.mechanisms import (
    Kit,
    KitOutcome,
    KitPart,
    Mate,
    PartOutcome,
    Suggestions,
)

__all__ = ["Workers", "make_kit", "suggest_mates"]

Progress = Callable[[PartOutcome], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Workers:
    """Who does the work: so many processes here, or a Dask cluster by its address."""

    count: int | None = None  # None: one for each core
    dask: str | None = None


def make_kit(
    kit: Kit,
    *,
    workers: Workers | None = None,
    progress: Progress | None = None,
) -> KitOutcome:
    """Compensate every part of a kit and judge every mate.

    A part whose inputs have not changed since it was made is not made again; a part that
    fails does not stop the others.

    Parameters
    ----------
    kit : Kit
        As from `read_kit` or `folder_kit`.
    workers : Workers, optional
        One process for each core unless said otherwise.
    progress : callable, optional
        Called with the outcome of each part as soon as it is there.

    Returns
    -------
    KitOutcome
        Parts and mates in the order of the kit.

    Raises
    ------
    MeshCompError
        If a calibration cannot be used, or the workers or the folder cannot be had.

    Examples
    --------
    >>> import tempfile
    >>> import meshcomp
    >>> from meshcomp.calibration.record import invented_calibration_path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     spacer = Path(folder, "spacer.stl")
    ...     meshcomp.write(meshcomp.demo_part("shaft_spacer"), spacer)
    ...     kit = meshcomp.folder_kit(folder, invented_calibration_path())
    ...     outcome = make_kit(kit, workers=Workers(count=1))
    >>> outcome.conforms, [part.name for part in outcome.parts]
    (True, ['spacer'])
    """
    staff = workers or Workers()
    calibrations = _calibrations(kit.parts)
    to_folder(kit.out)
    jobs = [_job(kit, part, calibrations) for part in kit.parts]
    mates = _aimed(kit, calibrations, jobs, staff)
    jobs = [replace(job, wishes=wishes_of(job.part, mates)) for job in jobs]
    outcomes = {}
    for outcome in _made(jobs, staff):
        outcomes[outcome.name] = outcome
        if progress is not None:
            progress(outcome)
    by_content = {c.sha256 or "": c for c in calibrations.values()}
    found, all_fit = judged(mates, Known(parts=outcomes, calibrations=by_content))
    return KitOutcome(
        kit=replace(kit, mates=mates),
        parts=tuple(outcomes[part.name] for part in kit.parts),
        mates=found,
        all_fit=all_fit,
        version=__version__,
    )


def suggest_mates(kit: Kit, *, workers: Workers | None = None) -> Suggestions:
    """Return likely mates of a kit, without making anything.

    Parameters
    ----------
    kit : Kit
        As from `read_kit` or `folder_kit`.
    workers : Workers, optional
        One process for each core unless said otherwise.

    Returns
    -------
    Suggestions
        With what could not be looked at.

    Raises
    ------
    MeshCompError
        If a calibration cannot be used, or the workers or the folder cannot be had.

    Examples
    --------
    >>> import tempfile
    >>> import meshcomp
    >>> from meshcomp.calibration.record import invented_calibration_path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     for name in ("shaft_spacer", "indexing_wheel"):
    ...         meshcomp.write(meshcomp.demo_part(name), Path(folder, f"{name}.stl"))
    ...     kit = meshcomp.folder_kit(folder, invented_calibration_path())
    ...     (found,) = suggest_mates(kit, workers=Workers(count=1)).mates
    >>> found.internal.in_words(), found.external.in_words()
    ('indexing_wheel/bore-08', 'shaft_spacer/boss-01')
    """
    calibrations = _calibrations(kit.parts)
    jobs = [_job(kit, part, calibrations) for part in kit.parts]
    to_folder(kit.out)
    surveys = list(_surveyed(jobs, workers or Workers()).values())
    failed = tuple((each.name, each.error) for each in surveys if each.error)
    return Suggestions(mates=likely_mates(surveys), failed=failed)


def _calibrations(parts: Iterable[KitPart]) -> dict[Path, Calibration]:
    """Read each calibration once, by its path."""
    return {
        path: read_calibration(path)
        for path in dict.fromkeys(part.calibration for part in parts)
    }


def _job(kit: Kit, part: KitPart, calibrations: dict[Path, Calibration]) -> Job:
    return Job(
        part=part,
        out=kit.out / f"{part.name}{part.path.suffix.lower()}",
        calibration_sha256=calibrations[part.calibration].sha256 or "",
    )


def _aimed(
    kit: Kit, calibrations: dict[Path, Calibration], jobs: list[Job], staff: Workers
) -> tuple[Mate, ...]:
    """Give each mate the clearances and the sizes that it wants."""
    feels = {part.name: calibrations[part.calibration].feels for part in kit.parts}
    mates = tuple(felt(mate, feels) for mate in kit.mates)
    names = looked_for(mates)
    return with_aims(
        mates, _surveyed([job for job in jobs if job.part.name in names], staff)
    )


def _made(jobs: list[Job], staff: Workers) -> Iterator[PartOutcome]:
    """Return what is there already, and then each part as soon as it is made."""
    tasks = []
    for job in jobs:
        try:
            key = key_of(job)
        except MeshCompError as error:
            yield _lost((job, ""), str(error))
            continue
        outcome = earlier(job, key)
        if outcome is None:
            tasks.append((job, key))
        else:
            yield outcome
    # Long jobs first, so that none is left to one worker at the end.
    tasks.sort(key=lambda task: task[0].part.path.stat().st_size, reverse=True)
    yield from all_done(make_part, tasks, lost=_lost, workers=staff.count, dask=staff.dask)


def _lost(task: tuple[Job, str], words: str) -> PartOutcome:
    part = task[0].part
    return PartOutcome(
        name=part.name, source=str(part.path), quantity=part.quantity, error=words
    )


def _surveyed(jobs: list[Job], staff: Workers) -> dict[str, Survey]:
    """Look at parts that have not been looked at, by the parts' names."""
    found: dict[str, Survey] = {job.part.name: Survey(name=job.part.name) for job in jobs}
    tasks = []
    for job in jobs:
        try:
            key = key_of(job)
        except MeshCompError as error:
            found[job.part.name] = Survey(name=job.part.name, error=str(error))
            continue
        seen = earlier_survey(job, key)
        if seen is None:
            tasks.append((job, key))
        else:
            found[seen.name] = seen
    for seen in all_done(
        look_at_part, tasks, lost=_unseen, workers=staff.count, dask=staff.dask
    ):
        found[seen.name] = seen
    return found


def _unseen(task: tuple[Job, str], words: str) -> Survey:
    return Survey(name=task[0].part.name, error=words)
