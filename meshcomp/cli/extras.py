"""Options of `meshcomp compensate` on heights and seams, turned into wishes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from meshcomp.errors import OptionError

if TYPE_CHECKING:
    from meshcomp.calibration.results import Calibration

__all__ = [
    "GrooveDepth",
    "GrooveWidth",
    "Load",
    "SeamGroove",
    "SnapHeights",
    "SnapOnly",
    "calibration_of",
    "seam_keys",
]

SnapHeights = Annotated[
    bool,
    typer.Option("--snap-heights", help="Move level faces to the nearest layer."),
]
SnapOnly = Annotated[
    list[float] | None,
    typer.Option(
        metavar="MM", help="Move only the level faces at this height above the bed."
    ),
]
SeamGroove = Annotated[
    list[str] | None,
    typer.Option(
        metavar="ID[@DEGREES]",
        help="Cut a seat for the seam into a feature, or into all; DEGREES from X, seen "
        "from above, else by rule.",
    ),
]
GrooveWidth = Annotated[
    float | None,
    typer.Option(
        metavar="MM",
        help="Width of the groove. [default: the calibration's line width, or 0.44]",
    ),
]
GrooveDepth = Annotated[
    float | None,
    typer.Option(
        metavar="MM",
        help="Depth of the groove. [default: the calibrated bump of the seam and twice its "
        "uncertainty, or a third of the width]",
    ),
]
Load = Annotated[
    list[str] | None,
    typer.Option(
        metavar="[ID@]DEGREES",
        help="Which way the counterpart pushes: grooves keep off the side it presses on.",
    ),
]


def calibration_of(path: Path | None) -> Calibration | None:
    """Read a calibration, where one was given."""
    if path is None:
        return None
    from meshcomp.calibration.record import read_calibration

    return read_calibration(path)


def seam_keys(
    grooves: list[str], shape: tuple[float | None, float | None], loads: list[str]
) -> dict[str, Any]:
    """Read what is wanted of seats for the seam, as keys of a treatment.

    Raises
    ------
    OptionError
        If a bearing is no number, or a shape or a load stands alone.
    """
    from meshcomp.treatments import parse_groove, parse_load

    width, depth = shape
    if not grooves and (width is not None or depth is not None):
        raise OptionError(
            "--groove-width and --groove-depth need --seam-groove ID beside them"
        )
    if not grooves and loads:
        raise OptionError(
            "--load says where no groove for the seam may be: give --seam-groove ID, or "
            "--seam-groove all, beside it"
        )
    return {
        "seam_grooves": tuple(parse_groove(text) for text in grooves),
        "groove_width": width,
        "groove_depth": depth,
        "loads": tuple(parse_load(text) for text in loads),
    }
