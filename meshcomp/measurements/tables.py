"""Reading tables: CSV files that a maker fills in at the bench.

A header names the columns, in any order:

- `piece`: which print; blank: the name in `testpiece.json`, or the file's name
- `id`: the feature's; `kind` and `nominal_size` in mm may stay blank where a
  `testpiece.json` beside the table tells them
- `mesh_size`: of the mesh that was printed, where it was compensated, mm
- `instrument`, `resolution` and `accuracy` (plus or minus), mm
- `reading`, `reading_1`, `reading_2` ...: repeat readings of one print, mm
- `go_size`, `no_go_size`: gauges in place of readings, mm
- `note`: free text; on a fit ladder press, slide or free

Cells are parted by commas, semicolons or tabs; numbers have a decimal point or comma;
lines that begin with # are comments.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from meshcomp.errors import CalibrationError
from meshcomp.feels import FEELS
from meshcomp.measurements.pieces import PIECE_FILE, PieceSheet, read_piece
from meshcomp.measurements.readings import Reading
from meshcomp.measurements.rows import Row, reading_of, row_problems

__all__ = ["ReadingTable", "read_readings"]

COLUMNS = (
    "piece",
    "id",
    "kind",
    "nominal_size",
    "mesh_size",
    "instrument",
    "resolution",
    "accuracy",
    "go_size",
    "no_go_size",
    "note",
)
_PROBLEMS_SHOWN = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingTable:
    """All readings of some tables, and the features left blank in them."""

    readings: tuple[Reading, ...]
    unmeasured: tuple[str, ...]  # "piece id", for every row without a reading


def read_readings(paths: Iterable[str | Path]) -> ReadingTable:
    r"""Read tables of readings and check every row.

    Parameters
    ----------
    paths : iterable of str or Path
        CSV files, as in the module's description.

    Returns
    -------
    ReadingTable
        In the order of the files and their lines.

    Raises
    ------
    CalibrationError
        If a file cannot be read or any row cannot be right; the message names every
        such row by file and line.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder, "bench.csv")
    ...     text = "id;kind;nominal_size;reading_1;reading_2\nB1;bore;8;7,84;7,86\n"
    ...     _ = path.write_text(text)
    ...     table = read_readings([path])
    >>> table.readings[0].values
    (7.84, 7.86)
    """
    readings: list[Reading] = []
    unmeasured: list[str] = []
    problems: list[str] = []
    for path in map(Path, paths):
        rows = _rows(path)
        sheet = _sheet_beside(path)
        for row in rows:
            found = row_problems(row, sheet)
            problems += [f"{row.place}: {problem}" for problem in found]
            if not found:
                _sort_in(row, sheet, readings, unmeasured)
    problems += _repeated(readings)
    if problems:
        _refuse(problems)
    return ReadingTable(readings=tuple(readings), unmeasured=tuple(unmeasured))


def _sort_in(
    row: Row, sheet: PieceSheet | None, readings: list[Reading], unmeasured: list[str]
) -> None:
    reading = reading_of(row, sheet)
    if reading.values or reading.go_size is not None or reading.no_go_size is not None:
        readings.append(reading)
    else:
        felt = reading.note.strip().lower() in FEELS
        words = (
            f" (felt {reading.note}: measure it, so that the word counts)" if felt else ""
        )
        unmeasured.append(f"{reading.piece} {reading.feature_id}{words}")


def _refuse(problems: Sequence[str]) -> None:
    shown = "\n".join(problems[:_PROBLEMS_SHOWN])
    more = len(problems) - _PROBLEMS_SHOWN
    rest = f"\nand {more} more" if more > 0 else ""
    count = "a row" if len(problems) == 1 else f"{len(problems)} rows or cells"
    raise CalibrationError(
        f"{count} of the readings cannot be right; correct or empty them:\n{shown}{rest}"
    )


def _repeated(readings: Sequence[Reading]) -> list[str]:
    """Find one feature of one print in two rows: two rows would count as two prints."""
    seen: dict[tuple[str, str, str], Reading] = {}
    problems = []
    for reading in readings:
        key = (reading.piece, reading.feature_id, reading.kind)
        if key in seen:
            problems.append(
                f"{reading.source}: {reading.feature_id} of piece {reading.piece} was read "
                f"in {seen[key].source} already; put repeat readings into one row, and "
                "give a second print another name in the column piece"
            )
        seen.setdefault(key, reading)
    return problems


def _sheet_beside(path: Path) -> PieceSheet | None:
    beside = path.with_name(PIECE_FILE)
    return read_piece(beside) if beside.is_file() else None


def _rows(path: Path) -> list[Row]:
    """Split a file into rows of named cells; comments and empty lines are left out."""
    lines = [
        (number, line)
        for number, line in enumerate(_text(path).splitlines(), start=1)
        if line.strip(" \t,;") and not line.lstrip(' "').startswith("#")
    ]
    if not lines:
        raise CalibrationError(
            f"{path}: is empty; the first line must name the columns: {', '.join(COLUMNS)}"
        )
    parting = max(";\t,", key=lines[0][1].count)
    split = [
        (number, [cell.strip() for cell in next(csv.reader([line], delimiter=parting))])
        for number, line in lines
    ]
    header = _header(path, split[0])
    return [_named_cells(path, number, cells, header) for number, cells in split[1:]]


def _text(path: Path) -> str:
    try:
        content = path.read_bytes()
    except OSError as error:
        raise CalibrationError(f"{path}: cannot be read ({error.strerror})") from error
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")  # as older spreadsheets write it


def _header(path: Path, first: tuple[int, list[str]]) -> list[str]:
    line, cells = first
    names = [cell.lower().replace(" ", "_") for cell in cells]
    unknown = [n for n in names if n and n not in COLUMNS and not n.startswith("reading")]
    doubled = sorted({n for n in names if n and names.count(n) > 1})
    if unknown or doubled or "id" not in names:
        wrong = (
            f"unknown column {unknown[0]!r}"
            if unknown
            else f"column {doubled[0]!r} stands twice"
            if doubled
            else "no column 'id'"
        )
        raise CalibrationError(
            f"{path}, line {line}: {wrong}; columns are {', '.join(COLUMNS)} and "
            "reading, reading_1, reading_2 and so on"
        )
    return names


def _named_cells(path: Path, line: int, cells: list[str], header: list[str]) -> Row:
    place = f"{path}, line {line}"
    extra = [cell for cell in cells[len(header) :] if cell]
    if extra:
        raise CalibrationError(
            f"{place}: has {len(cells)} cells but the header names {len(header)} columns "
            f"({extra[0]!r} is left over); put a number with a decimal comma in quotes, "
            "or part the cells by semicolons"
        )
    named = {name: cell for name, cell in zip(header, cells, strict=False) if name and cell}
    return Row(place=place, stem=path.stem, cells=named)
