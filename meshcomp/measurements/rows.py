"""One row of a reading table: what cannot be right in it, and the reading it tells."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from meshcomp.measurements.pieces import PieceFeature, PieceSheet
from meshcomp.measurements.readings import READING_KINDS, Instrument, Reading

__all__ = ["Row", "largest_deviation", "reading_of", "row_problems"]

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_INCH = 25.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """The cells of one row that are not blank, by column."""

    place: str  # file and line
    stem: str  # file name without folder and ending
    cells: Mapping[str, str]


def largest_deviation(size: float) -> float:
    """Return the largest deviation of a print that is taken for possible, mm.

    Common practice, no source: prints err by tenths, and shrink by at most some percent.

    Examples
    --------
    >>> largest_deviation(8.0)  # mm
    1.24
    """
    return min(1.0, 0.5 * size) + 0.03 * size


def row_problems(row: Row, sheet: PieceSheet | None) -> list[str]:
    """Say what cannot be right in a row.

    Parameters
    ----------
    row : Row
    sheet : PieceSheet or None
        What there is to measure on the piece, where that is known.

    Returns
    -------
    list of str
        Empty if nothing was found.
    """
    problems = [
        f"{column} is {cell!r}, which is no number above zero"
        for column, cell in row.cells.items()
        if _is_numeric(column) and _number(cell) is None
    ]
    problems += _naming_problems(row, sheet)
    if problems:
        return problems
    reading = reading_of(row, sheet)
    problems += _kind_problems(row, reading, sheet)
    problems += _gauge_problems(reading)
    problems += _size_problems(row, reading)
    return problems


def _is_numeric(column: str) -> bool:
    return column in {
        "nominal_size",
        "mesh_size",
        "resolution",
        "accuracy",
        "go_size",
        "no_go_size",
    } or column.startswith("reading")


def _number(cell: str) -> float | None:
    """Return the number above zero of a cell with a decimal point or comma, or None."""
    if not _NUMBER.fullmatch(cell):
        return None
    value = float(cell.replace(",", "."))
    return value if 0 < value < float("inf") else None


def _naming_problems(row: Row, sheet: PieceSheet | None) -> Iterator[str]:
    if "id" not in row.cells:
        yield "has no id"
        return
    if "resolution" not in row.cells and {"instrument", "accuracy"} & set(row.cells):
        yield "names an instrument without its resolution in mm"
    if sheet is not None and sheet.feature(row.cells["id"]) is None:
        ids = ", ".join(feature.id for feature in sheet.features)
        yield f"{row.cells['id']!r} is no feature of {sheet.name}, which has {ids}"
    if sheet is None:
        for column in ("kind", "nominal_size"):
            if column not in row.cells:
                yield (
                    f"{column} is blank and no testpiece.json lies beside the table to "
                    "tell it"
                )


def _kind_problems(row: Row, reading: Reading, sheet: PieceSheet | None) -> Iterator[str]:
    if reading.kind not in READING_KINDS:
        yield f"kind is {reading.kind!r}; kinds are {', '.join(READING_KINDS)}"
    feature = _feature(row, sheet)
    if feature is None:
        return
    if reading.kind != feature.kind:
        yield f"kind is {reading.kind!r}, but testpiece.json says {feature.kind!r}"
    if abs(reading.nominal_size - feature.nominal_size) > 1e-6:  # noqa: PLR2004
        yield (
            f"nominal_size is {reading.nominal_size:g} mm, but testpiece.json says "
            f"{feature.nominal_size:g} mm"
        )


def _gauge_problems(reading: Reading) -> Iterator[str]:
    go, no_go = reading.go_size, reading.no_go_size
    if reading.values and (go is not None or no_go is not None):
        yield "has readings and gauge sizes; give one or the other"
    if go is None or no_go is None:
        return
    if reading.is_internal and go >= no_go:
        yield (
            f"go_size {go:g} mm is not below no_go_size {no_go:g} mm: what goes into a "
            f"{reading.kind} is smaller than what does not"
        )
    if not reading.is_internal and go <= no_go:
        yield (
            f"go_size {go:g} mm is not above no_go_size {no_go:g} mm: a ring or gap that "
            f"goes over a {reading.kind} is larger than one that does not"
        )


def _size_problems(row: Row, reading: Reading) -> Iterator[str]:
    named = {c: v for c, v in row.cells.items() if c.startswith("reading")}
    named |= {c: row.cells[c] for c in ("go_size", "no_go_size") if c in row.cells}
    for column, cell in named.items():
        value = _number(cell)
        if value is not None:
            yield from _implausible(column, value, reading)
    if abs(reading.mesh_size - reading.nominal_size) > largest_deviation(
        reading.nominal_size
    ):
        yield (
            f"mesh_size {reading.mesh_size:g} mm is far from the nominal size "
            f"{reading.nominal_size:g} mm"
        )


def _implausible(column: str, value: float, reading: Reading) -> Iterator[str]:
    size = reading.mesh_size
    # A gauge may lie further away: it only bounds the size.
    slack = 1.0 if column.startswith("reading") else 2.0
    if abs(value - size) <= slack * largest_deviation(size):
        return
    why = "more than a print can err"
    for factor, guess in ((10, "a decimal point in the wrong place?"), (_INCH, "inches?")):
        if min(abs(value * factor / size - 1), abs(value / factor / size - 1)) < 0.1:  # noqa: PLR2004
            why = guess
    yield (
        f"{column} is {value:g} mm on a {reading.kind} of {size:g} mm: {why} Give mm"
        if why.endswith("?")
        else f"{column} is {value:g} mm on a {reading.kind} of {size:g} mm: {why}"
    )


def _feature(row: Row, sheet: PieceSheet | None) -> PieceFeature | None:
    return None if sheet is None else sheet.feature(row.cells["id"])


def reading_of(row: Row, sheet: PieceSheet | None) -> Reading:
    """Return the reading of a row whose cells are numbers where numbers are due.

    Parameters
    ----------
    row : Row
    sheet : PieceSheet or None
        Tells kind and nominal size where the row does not.
    """
    cells = row.cells
    feature = _feature(row, sheet)
    sizes = {c: _number(v) for c, v in cells.items() if _is_numeric(c)}
    nominal = sizes.get("nominal_size") or (feature.nominal_size if feature else 0.0)
    values = tuple(value for c, value in sizes.items() if c.startswith("reading") and value)
    return Reading(
        piece=cells.get("piece", sheet.name if sheet else row.stem),
        feature_id=cells["id"],
        kind=cells.get("kind", feature.kind if feature else ""),
        nominal_size=nominal,
        mesh_size=sizes.get("mesh_size") or nominal,
        values=values,
        go_size=sizes.get("go_size"),
        no_go_size=sizes.get("no_go_size"),
        instrument=_instrument(row),
        source=row.place,
        note=cells.get("note", ""),
    )


def _instrument(row: Row) -> Instrument | None:
    resolution = _number(row.cells.get("resolution", ""))
    if resolution is None:
        return None
    return Instrument(
        name=row.cells.get("instrument", "instrument"),
        resolution=resolution,
        accuracy=_number(row.cells.get("accuracy", "")),
    )
