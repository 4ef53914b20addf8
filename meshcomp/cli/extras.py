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

__all__ = ["SnapHeights", "SnapOnly", "calibration_of", "layer_wish"]

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
