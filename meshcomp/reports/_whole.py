"""What was done to the part as a whole, in words: a sentence for each step."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from meshcomp.printer_axes import PrinterAxes
from meshcomp.reports import _numbers as numbers
from meshcomp.results import Record

__all__ = ["axes_json", "foot_json", "whole_sentences"]


def whole_sentences(record: Record) -> list[str]:
    """Say what was done beyond single features."""
    foot = record.plan.foot
    words = [] if foot is None else [f"At the end of the walls, {foot.in_words()}."]
    return [*words, *_axes_sentences(record)]


def _axes_sentences(record: Record) -> Iterator[str]:
    axes = record.plan.axes
    if axes is None:
        return
    shift = axes.largest_shift(record.inspection.part.mesh.bounds)
    yield (
        f"Errors of the axes are undone at the end, about the part's middle: "
        f"{axes.in_words()}. The largest displacement is {numbers.size(shift)} mm; mesh "
        "sizes are those after it, offsets those before it."
    )


def axes_json(record: Record) -> dict[str, Any] | None:
    """Return the errors of the axes that were undone, or None."""
    axes: PrinterAxes | None = record.plan.axes
    if axes is None:
        return None
    return {
        "scale": list(axes.scale),
        "skew": axes.skew,
        "centre": list(axes.centre),
        "largest_displacement": axes.largest_shift(record.inspection.part.mesh.bounds),
    }


def foot_json(record: Record) -> dict[str, Any] | None:
    """Return how the foot was drawn in, or None."""
    foot = record.plan.foot
    if foot is None:
        return None
    return {
        "growth": foot.growth,
        "height": foot.height,
        "opens_bores": foot.opens_bores,
    }
