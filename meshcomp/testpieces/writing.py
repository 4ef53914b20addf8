"""Writing a test piece: mesh, table to fill in, description and measuring sheets."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

from meshcomp.errors import PartFileError
from meshcomp.files.atomic import save_atomically
from meshcomp.files.stl import binary_stl
from meshcomp.measurements.pieces import PIECE_FILE, piece_json
from meshcomp.testpieces.catalogue import build_testpiece
from meshcomp.testpieces.pieces import BenchPiece
from meshcomp.testpieces.sheet import measuring_sheet

__all__ = ["readings_template", "write_testpiece"]

_FIRST = ("piece", "id", "kind", "nominal_size", "instrument", "resolution", "accuracy")
_LAST = ("go_size", "no_go_size", "note")


def readings_template(piece: BenchPiece) -> str:
    """Return the text of `readings.csv`, ready to fill in.

    Examples
    --------
    >>> from meshcomp.testpieces.ladders import slot_ladder
    >>> print(readings_template(slot_ladder(sizes=(4,))).splitlines()[-1])
    ,W1,slot,4,,,,,,,,
    """
    stream = io.StringIO()
    stream.write(f"# {piece.name}: {piece.purpose}\n")
    for sentence in piece.advice:
        stream.write(f"# {sentence}\n")
    stream.write(
        "# All in mm. One row a feature; give a second print another name in piece.\n"
        "# With an instrument give its resolution (display step) and accuracy (plus or "
        "minus).\n"
    )
    table = csv.writer(stream, lineterminator="\n")
    readings = tuple(f"reading_{k}" for k in range(1, piece.readings + 1))
    columns = (*_FIRST, *readings, *_LAST)
    table.writerow(columns)
    for feature in piece.sheet.features:
        row = ["", feature.id, feature.kind, f"{feature.nominal_size:.10g}"]
        table.writerow([*row, *[""] * (len(columns) - len(row))])
    return stream.getvalue()


def write_testpiece(
    name: str, directory: str | Path, *, sheets: bool = True, **options: Any
) -> tuple[Path, ...]:
    """Build a test piece and write all that belongs to it into a folder.

    Parameters
    ----------
    name : str
        One of `testpiece_names`.
    directory : str or Path
        Made where it is not there; give every piece its own.
    sheets : bool
        Whether to draw the measuring sheets.
    options
        As `build_testpiece` takes them.

    Returns
    -------
    tuple of Path
        The mesh, `readings.csv`, `testpiece.json` and the sheets.

    Raises
    ------
    OptionError
        If there is no such piece or option.
    PartFileError
        If the folder cannot be written to, or holds filled-in readings already.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     [path.name for path in write_testpiece("foot", folder, sheets=False)]
    ['foot.stl', 'readings.csv', 'testpiece.json']
    """
    piece = build_testpiece(name, **options)
    folder = Path(directory)
    files = {
        f"{name}.stl": binary_stl(piece.mesh.corners),
        "readings.csv": readings_template(piece).encode(),
        PIECE_FILE: piece_json(piece.sheet).encode(),
    }
    if sheets:
        files["measuring-sheet.pdf"] = measuring_sheet(piece, "pdf")
        files["measuring-sheet.svg"] = measuring_sheet(piece, "svg")
    _refuse_filled(folder / "readings.csv", files["readings.csv"])
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise PartFileError(
            f"{folder} cannot be made ({error.strerror}): choose another folder"
        ) from error
    for file_name, content in files.items():
        save_atomically(folder / file_name, content)
    return tuple(folder / file_name for file_name in files)


def _refuse_filled(path: Path, blank: bytes) -> None:
    """Keep what somebody read at the bench."""
    if path.is_file() and path.read_bytes() != blank:
        raise PartFileError(
            f"{path} differs from a blank table: it may hold readings; choose another "
            "folder, or move it away"
        )
