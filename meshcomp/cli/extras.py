"""Options of `meshcomp compensate` on heights and seams, turned into wishes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meshcomp.cli.options import layer_grid
from meshcomp.errors import OptionError

if TYPE_CHECKING:
    from meshcomp.calibration.results import Calibration
    from meshcomp.layers import LayerWish
    from meshcomp.seams import SeamWish

__all__ = [
    "GrooveDepth",
    "GrooveWidth",
    "SeamGroove",
    "SnapHeights",
    "SnapOnly",
    "calibration_of",
    "layer_wish",
    "seam_wish",
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
_LINE_WIDTH = 0.44  # mm, as `meshcomp calibrate` takes it


def calibration_of(path: Path | None) -> Calibration | None:
    """Read a calibration, where one was given."""
    if path is None:
        return None
    from meshcomp.calibration.record import read_calibration

    return read_calibration(path)


def layer_wish(
    given: tuple[float | None, float | None],
    calibration: Calibration | None,
    *,
    snap: bool,
    only: list[float],
) -> LayerWish | None:
    """Make the wish on heights; the calibration tells what was not given.

    Raises
    ------
    OptionError
        If heights are to move and nobody says how high the layers are.
    """
    from meshcomp.layers import LayerWish, SnapWish

    height, first = given
    if height is None and calibration is not None:
        height = calibration.conditions.layer_height
        first = calibration.conditions.first_layer if first is None else first
    grid = layer_grid(height, first)
    wants = snap or bool(only)
    if grid is None:
        if wants:
            raise OptionError(
                "--snap-heights needs the layers: give --layer-height MM (and "
                "--first-layer MM), or -c CALIBRATION.json, whose conditions tell them"
            )
        return None
    return LayerWish(grid=grid, snap=SnapWish(only=tuple(only)) if wants else None)


def seam_wish(
    grooves: list[str],
    shape: tuple[float | None, float | None],
    calibration: Calibration | None,
) -> SeamWish | None:
    """Make the wish on seats for the seam; the calibration tells what was not given.

    Raises
    ------
    OptionError
        If a bearing is no number, or a width or a depth cannot be right or stands alone.
    """
    if not grooves:
        if any(length is not None for length in shape):
            raise OptionError(
                "--groove-width and --groove-depth need --seam-groove ID beside them"
            )
        return None
    from meshcomp.seams import SeamWish

    width, depth, origin = _shape(shape, calibration)
    return SeamWish(
        width=width,
        depth=depth,
        features=tuple(_bearing(text) for text in grooves if text != "all"),
        everywhere="all" in grooves,
        origin=origin,
    )


def _bearing(text: str) -> tuple[str, float | None]:
    name, at, degrees = text.rpartition("@")
    if not at:
        return text, None
    try:
        bearing = float(degrees)
    except ValueError:
        bearing = float("nan")
    if not name or not abs(bearing) <= 360:  # noqa: PLR2004 - degrees; NaN fails too
        raise OptionError(
            f"--seam-groove {text!r}: give ID, ID@DEGREES such as bore-01@90, or all"
        )
    return name, bearing % 360


def _shape(
    given: tuple[float | None, float | None], calibration: Calibration | None
) -> tuple[float, float, str]:
    """Width and depth of the grooves, and where they come from in words."""
    from meshcomp.seams import DEFAULT_DEPTH_SHARE

    width, depth = given
    words = ["width as given" if width is not None else "width of one line"]
    bump = None if calibration is None else calibration.model.seam
    if width is None:
        width = _LINE_WIDTH if calibration is None else calibration.conditions.line_width
    if depth is not None:
        words.append("depth as given")
    elif bump is not None:
        depth = min(bump.height + 2 * bump.standard_uncertainty, width)
        words.append("depth of the calibrated bump and twice its uncertainty")
    else:
        depth = width * DEFAULT_DEPTH_SHARE
        words.append("depth a third of the width")
    return width, depth, ", ".join(words)
