"""Carry out a wish about layers: look at a part's heights, or move them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from meshcomp.errors import OptionError
from meshcomp.inspections import Inspection
from meshcomp.intents import HeightWish
from meshcomp.layering.keeping import chosen_layers
from meshcomp.layering.looking import layer_report
from meshcomp.layering.snapping import snapped
from meshcomp.layering.stating import stated_heights
from meshcomp.layers import KeptHeight, LayerReport, LayerWish
from meshcomp.printer_axes import PrinterAxes
from meshcomp.results import Compensated

__all__ = ["looked_at", "with_layers"]


def looked_at(
    inspection: Inspection,
    wish: LayerWish | None,
    axes: PrinterAxes | None = None,
    stated: Sequence[HeightWish] = (),
) -> tuple[Inspection, LayerReport | None]:
    """Look at a part's heights, and move them where that is wished.

    Without a wish nothing is known of layers, and nothing moves. Errors of the printer's
    axes, if they are to be undone, stretch the layers too.

    Raises
    ------
    OptionError
        If distances are stated and nobody says how high the layers are, or one is not of
        this part.
    """
    if wish is None:
        if stated:
            raise OptionError(
                f"{stated[0].place}: a height prints by the layers: give --layer-height "
                "MM, or a layer height with the calibration"
            )
        return inspection, None
    grid = wish.grid if axes is None else replace(wish.grid, scale=axes.scale[2])
    kept = stated_heights(stated, inspection, grid)
    if wish.snap is None:
        report = layer_report(inspection, grid)
        return inspection, replace(report, kept=_as_they_could_be(report, kept))
    return snapped(inspection, grid, wish.snap, kept)


def _as_they_could_be(
    report: LayerReport, kept: Sequence[KeptHeight]
) -> tuple[KeptHeight, ...]:
    """Say of stated distances what they would be if all heights were to move."""
    movable = {face.height: True for face in report.faces}
    layers = chosen_layers(report.grid, movable, kept)
    return tuple(replace(k, could_be=layers[k.high] - layers[k.low]) for k in kept)


def with_layers(result: Compensated, report: LayerReport | None) -> Compensated:
    """Add to a result what snapping did to the part before it was compensated."""
    if report is None or report.moves is None:
        return replace(result, layers=report)
    moves = report.moves
    return replace(
        result,
        layers=report,
        predicted_volume_change=result.predicted_volume_change
        + moves.predicted_volume_change,
        moved_volume=result.moved_volume + moves.moved_volume,
    )
