"""What earlier runs have done: one record for each part, by the content of its inputs.

A record is written after the part and its reports, whole or not at all: a run that is
killed leaves either a part that is done or one that is done again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import re
from dataclasses import asdict, replace
from pathlib import Path
from typing import TypeVar

from meshcomp._version import __version__
from meshcomp.errors import PartFileError
from meshcomp.files.atomic import save_atomically
from meshcomp.kits.tasks import Job, Survey
from meshcomp.mechanisms import Kit, PartOutcome

__all__ = [
    "are_all_known",
    "earlier",
    "earlier_survey",
    "key_of",
    "remember",
    "tidy",
    "to_folder",
]

_SCHEMA = 2
_FOLDER = ".meshcomp-kit"
_Record = TypeVar("_Record", PartOutcome, Survey)


def to_folder(path: Path) -> None:
    """Make the folder that a kit is written to.

    Raises
    ------
    PartFileError
        If it cannot be made.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise PartFileError(
            f"{path} cannot be made a folder ({error.strerror}): choose another with -o"
        ) from error


def are_all_known(kit: Kit) -> bool:
    """Whether there is a record of every part, be it of these inputs or of others."""
    folder = kit.out / _FOLDER
    return all((folder / f"{part.name}.json").is_file() for part in kit.parts)


def key_of(job: Job) -> str:
    """Return the SHA-256 of all that a part's outcome depends on.

    The bytes of the part and of the calibration count, not their dates or places.

    Raises
    ------
    PartFileError
        If the part cannot be read.
    """
    part = asdict(job.part)
    settings = ("name", "up", "unit", "repair", "keep", "sizes", "targets", "treatment")
    inputs = {
        "schema": _SCHEMA,
        "version": __version__,
        "part": _content(job.part.path),
        "calibration": job.calibration_sha256,
        "plan": None if job.part.plan is None else _content(job.part.plan),
        "settings": {name: part[name] for name in settings},
        "wishes": [asdict(wish) for wish in job.wishes],
        "format": job.out.suffix,
    }
    return hashlib.sha256(json.dumps(inputs, sort_keys=True).encode()).hexdigest()


def _content(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise PartFileError(f"{path}: cannot be read ({error.strerror})") from error


def remember(job: Job, key: str, outcome: PartOutcome | Survey) -> None:
    """Write down what was found or made of a part.

    Raises
    ------
    PartFileError
        If the record cannot be written.
    """
    place = _place(job, type(outcome))
    place.parent.mkdir(parents=True, exist_ok=True)
    record = {"schema": _SCHEMA, "key": key, "outcome": asdict(outcome)}
    save_atomically(place, json.dumps(record, indent=1, allow_nan=False).encode())


def earlier(job: Job, key: str) -> PartOutcome | None:
    """Return what an earlier run made of the same inputs, if it is still there."""
    outcome = _recorded(job, key, PartOutcome)
    if outcome is None or not _is_there(job, outcome):
        return None
    return replace(
        outcome,
        source=str(job.part.path),
        quantity=job.part.quantity,
        written=str(job.out),
        report=f"{job.out}.report.html",
        was_there=True,
    )


def earlier_survey(job: Job, key: str) -> Survey | None:
    """Return what an earlier run saw of the same inputs."""
    return _recorded(job, key, Survey)


def _place(job: Job, kind: type) -> Path:
    ending = "features.json" if kind is Survey else "json"
    return job.out.parent / _FOLDER / f"{job.part.name}.{ending}"


def _recorded(job: Job, key: str, kind: type[_Record]) -> _Record | None:
    from pydantic import TypeAdapter

    try:
        record = json.loads(_place(job, kind).read_bytes())
        if record["schema"] != _SCHEMA or record["key"] != key:
            return None
        return TypeAdapter(kind).validate_python(record["outcome"])
    except (OSError, ValueError, KeyError, TypeError):
        return None  # no record, or none of ours: the part is done again


def _is_there(job: Job, outcome: PartOutcome) -> bool:
    """Whether the part and its reports are as they were written."""
    reports = [Path(f"{job.out}.report.{ending}") for ending in ("html", "json")]
    if not (job.out.is_file() and all(report.is_file() for report in reports)):
        return False
    return _content(job.out) == outcome.written_sha256


def tidy(job: Job) -> None:
    """Remove what a killed run left half done of a part."""
    out = job.out
    ending = re.escape(out.suffix)
    # Not proved yet; half written, of that or of a report. Long names are cut short.
    unproved = rf"\.{re.escape(out.stem[:80])}\.[0-9a-f]{{8}}{ending}"
    half = rf"\.({unproved}|{re.escape(out.name[:100])}.*)\.[0-9a-f]{{12}}\.part"
    if not out.parent.is_dir():
        return
    for path in out.parent.iterdir():
        if re.fullmatch(f"{unproved}|{half}", path.name):
            with contextlib.suppress(OSError):
                path.unlink()
