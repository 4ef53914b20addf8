"""The calibration record: a JSON file that is checked when it is read."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from meshcomp.calibration.results import Calibration, Conditions, Flow, Study
from meshcomp.deviations import Flare, ProcessModel, SeamBump, SizeLaw, Skew
from meshcomp.errors import CalibrationError
from meshcomp.feels import Feel
from meshcomp.files.atomic import save_atomically
from meshcomp.measurements.readings import Reading

__all__ = ["SCHEMA", "invented_calibration_path", "read_calibration", "write_calibration"]

SCHEMA: Literal[1] = 1
_STRICT = ConfigDict(extra="forbid", allow_inf_nan=False)


class _LawRecord(BaseModel):
    """A size law in the record."""

    model_config = _STRICT
    terms: tuple[str, ...]
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    repeatability: float = Field(ge=0)
    degrees_of_freedom: float = Field(gt=0)
    valid_from: float = Field(gt=0)
    valid_to: float = Field(gt=0)


class _ModelRecord(BaseModel):
    """The process model in the record."""

    model_config = _STRICT
    laws: dict[str, _LawRecord]
    skew: Skew | None = None
    flare: Flare | None = None
    height: _LawRecord | None = None
    seam: SeamBump | None = None


class _CalibrationRecord(BaseModel):
    """The whole record."""

    model_config = _STRICT
    schema_version: Literal[1] = Field(alias="schema")
    software: str = ""
    conditions: Conditions
    model: _ModelRecord
    flow: Flow | None = None
    feels: tuple[Feel, ...] = ()
    notes: tuple[str, ...] = ()
    studies: tuple[Study, ...] = ()
    readings: tuple[Reading, ...] = ()


def invented_calibration_path() -> Path:
    """Return the path of the invented record that the examples use."""
    return Path(__file__).with_name("invented.json")


def read_calibration(path: str | Path) -> Calibration:
    """Read a calibration record and check it.

    Parameters
    ----------
    path : str or Path
        A JSON file as `write_calibration` writes it.

    Returns
    -------
    Calibration
        With the SHA-256 of the file.

    Raises
    ------
    CalibrationError
        If the file cannot be read or is no such record; the message names the file
        and the place in it.

    Examples
    --------
    >>> calibration = read_calibration(invented_calibration_path())
    >>> calibration.conditions.is_invented
    True
    >>> round(calibration.model.laws["bore"].printed_size(8.0), 2)  # mm
    7.85
    """
    path = Path(path)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise CalibrationError(
            f"{path}: cannot be read ({error.strerror}); make a calibration from "
            "readings first"
        ) from error
    try:
        record = _CalibrationRecord.model_validate_json(content)
    except ValidationError as error:
        raise CalibrationError(f"{path}: {_first_problem(error)}") from error
    return Calibration(
        model=_model(record.model, path),
        conditions=record.conditions,
        readings=record.readings,
        studies=record.studies,
        flow=record.flow,
        feels=record.feels,
        notes=record.notes,
        software=record.software,
        sha256=hashlib.sha256(content).hexdigest(),
    )


def write_calibration(calibration: Calibration, path: str | Path) -> None:
    """Write a calibration as a JSON record, whole or not at all.

    Parameters
    ----------
    calibration : Calibration
    path : str or Path
        Replaced if it is there.

    Raises
    ------
    PartFileError
        If the file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> record = read_calibration(invented_calibration_path())
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_calibration(record, Path(folder) / "copy.json")
    ...     read_calibration(Path(folder) / "copy.json").conditions == record.conditions
    True
    """
    model = calibration.model
    record = _CalibrationRecord(
        schema=SCHEMA,
        software=calibration.software,
        conditions=calibration.conditions,
        model=_ModelRecord(
            laws={kind: _law_record(law) for kind, law in model.laws.items()},
            skew=model.skew,
            flare=model.flare,
            height=None if model.height is None else _law_record(model.height),
            seam=model.seam,
        ),
        flow=calibration.flow,
        feels=calibration.feels,
        notes=calibration.notes,
        studies=calibration.studies,
        readings=calibration.readings,
    )
    text = record.model_dump_json(by_alias=True, indent=1, exclude=_not_said(calibration))
    save_atomically(path, (text + "\n").encode())


def _not_said(calibration: Calibration) -> dict[str, set[str]]:
    """Fields left out of the file where they say nothing: older versions refuse them."""
    first, seam = calibration.conditions.first_layer, calibration.model.seam
    return {
        "conditions": {"first_layer"} if first is None else set(),
        "model": {"seam"} if seam is None else set(),
    }


def _law_record(law: SizeLaw) -> _LawRecord:
    return _LawRecord(
        terms=law.terms,
        coefficients=tuple(law.coefficients.tolist()),
        covariance=tuple(tuple(row) for row in law.covariance.tolist()),
        repeatability=law.repeatability,
        degrees_of_freedom=law.degrees_of_freedom,
        valid_from=law.valid_from,
        valid_to=law.valid_to,
    )


def _model(record: _ModelRecord, path: Path) -> ProcessModel:
    laws: Mapping[str, SizeLaw] = {
        kind: _law(law, f"{path}: model.laws.{kind}") for kind, law in record.laws.items()
    }
    height = record.height
    return ProcessModel(
        laws=laws,
        skew=record.skew,
        flare=record.flare,
        height=None if height is None else _law(height, f"{path}: model.height"),
        seam=record.seam,
    )


def _law(record: _LawRecord, place: str) -> SizeLaw:
    fields: dict[str, Any] = record.model_dump()
    if any(len(row) != len(record.terms) for row in record.covariance):
        raise CalibrationError(
            f"{place}.covariance: needs {len(record.terms)} numbers in every row"
        )
    try:
        return SizeLaw(**fields)
    except CalibrationError as error:
        raise CalibrationError(f"{place}: {error}") from error


def _first_problem(error: ValidationError) -> str:
    """Say where the record is wrong, in the words of JSON paths."""
    problems = error.errors()
    first = problems[0]
    place = ""
    for step in first["loc"]:
        place += f"[{step}]" if isinstance(step, int) else f".{step}"
    more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
    if first["loc"] == ("schema",) and first["type"] == "literal_error":
        return (
            f"schema: is {first['input']!r}, this version reads {SCHEMA}; "
            "calibrate again from the readings"
        )
    is_shown = first["type"] not in {"missing", "json_invalid"}
    found = f", found {first['input']!r:.60}" if is_shown else ""
    where = place.lstrip(".") or "the whole file"
    return f"{where}: {first['msg'][0].lower()}{first['msg'][1:]}{found}{more}"
