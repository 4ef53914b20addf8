"""What there is to measure on a print: the features of `testpiece.json`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from meshcomp.errors import CalibrationError
from meshcomp.measurements.readings import READING_KINDS

__all__ = ["PIECE_FILE", "PieceFeature", "PieceSheet", "piece_json", "read_piece"]

PIECE_FILE = "testpiece.json"
Triple = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceFeature:
    """One feature to measure, in the frame of the piece's mesh, mm.

    Bores and bosses: `direction` is the axis, and the feature reaches from `start` to
    `end` along it, counted from `point`. Lengths: `direction` points across the two
    faces, which lie at `start` and `end`.
    """

    id: str
    kind: str  # one of READING_KINDS
    nominal_size: float
    point: Triple  # on the axis, or midway between the faces where to measure
    direction: Triple  # unit
    start: float
    end: float
    hint: str = ""  # how to measure it, in words


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceSheet:
    """A piece and all that can be measured on it."""

    name: str
    features: tuple[PieceFeature, ...]

    def feature(self, feature_id: str) -> PieceFeature | None:
        """Return the feature of an id, or None."""
        return next((f for f in self.features if f.id == feature_id), None)


class _SheetRecord(BaseModel):
    """The file's layout."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)
    schema_version: Literal[1] = Field(alias="schema")
    name: str
    features: tuple[PieceFeature, ...]


def piece_json(sheet: PieceSheet) -> str:
    """Return the text of `testpiece.json` for a piece."""
    record = _SheetRecord(schema=1, name=sheet.name, features=sheet.features)
    return record.model_dump_json(by_alias=True, indent=1) + "\n"


def read_piece(path: str | Path) -> PieceSheet:
    """Read a `testpiece.json`.

    Parameters
    ----------
    path : str or Path

    Raises
    ------
    CalibrationError
        If it cannot be read, is no such file, or has an unknown kind or one id twice.
    """
    try:
        record = _SheetRecord.model_validate_json(Path(path).read_bytes())
    except OSError as error:
        raise CalibrationError(f"{path}: cannot be read ({error.strerror})") from error
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(step) for step in first["loc"]) or "the whole file"
        raise CalibrationError(f"{path}: {place}: {first['msg']}") from error
    seen = set()
    for feature in record.features:
        if feature.kind not in READING_KINDS:
            raise CalibrationError(f"{path}: {feature.id}: unknown kind {feature.kind!r}")
        if feature.id in seen:
            raise CalibrationError(f"{path}: the id {feature.id} stands there twice")
        seen.add(feature.id)
    return PieceSheet(name=record.name, features=record.features)
