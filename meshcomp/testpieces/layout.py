"""Putting features side by side, and solids together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from meshcomp.errors import OptionError
from meshcomp.meshes import Mesh
from meshcomp.scenario.outlines import Outline, circle, facets_for
from meshcomp.scenario.prisms import cut_away
from meshcomp.testpieces.lettering import label_meshes
from meshcomp.testpieces.pieces import Label

__all__ = [
    "LABEL_ROOM",
    "Cell",
    "checked_sizes",
    "fine_circle",
    "joined",
    "labels_on",
    "rectangle",
    "shelves",
]

LABEL_ROOM = 5.5  # height kept below a feature for its label, mm
_LABEL_WIDTH = 9.0
_PLATE_WIDTHS = range(60, 151, 3)  # mm
_SAGITTA = 0.001  # mm: far below what a printer can show


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """Where a feature and its label go, mm."""

    x: float  # middle of the feature
    y: float
    label: Label


def fine_circle(diameter: float, centre: tuple[float, float] = (0.0, 0.0)) -> Outline:
    """Return a circle of so many facets that its flats are true to 0.001 mm."""
    facets = 4 * -(-facets_for(diameter / 2, _SAGITTA) // 4)
    return circle(diameter / 2, facets, centre=centre)


def rectangle(x0: float, x1: float, y0: float, y1: float) -> Outline:
    """Return an upright rectangle, counter-clockwise."""
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def shelves(
    boxes: Sequence[tuple[float, float]], ids: Sequence[str], *, gap: float = 3.0
) -> tuple[list[Cell], float, float]:
    """Lay boxes in rows, each with its label below, on as small a plate as may be.

    Parameters
    ----------
    boxes : sequence of (float, float)
        Width and height of each feature, mm.
    ids : sequence of str
        Their labels.
    gap : float
        Room kept around every feature, mm.

    Returns
    -------
    cells : list of Cell
    width, height : float
        Of the whole, from 0, mm.
    """
    tried = [_rows(boxes, ids, gap, float(width)) for width in _PLATE_WIDTHS]
    return min(tried, key=lambda plate: plate[1] * plate[2])


def _rows(
    boxes: Sequence[tuple[float, float]], ids: Sequence[str], gap: float, width: float
) -> tuple[list[Cell], float, float]:
    cells: list[Cell] = []
    x = y = gap
    row_height = used = 0.0
    for (wide, high), name in zip(boxes, ids, strict=True):
        room = max(wide, _LABEL_WIDTH)
        if x + room + gap > width and x > gap:
            x, y, row_height = gap, y + row_height + gap, 0.0
        middle = x + room / 2
        label = Label(text=name, x=middle, y=y + 0.5)
        cells.append(Cell(x=middle, y=y + LABEL_ROOM + high / 2, label=label))
        x += room + gap
        used = max(used, x)
        row_height = max(row_height, LABEL_ROOM + high)
    return cells, used, y + row_height + gap


def labels_on(labels: Iterable[Label], face: float) -> list[Mesh]:
    """Return the bars of all labels on one face."""
    return [bar for label in labels for bar in label_meshes(label, face)]


def joined(meshes: Sequence[Mesh]) -> Mesh:
    """Join solids that overlap to one."""
    return cut_away(meshes, [])


def checked_sizes(sizes: Iterable[float], smallest: float, largest: float) -> list[float]:
    """Return sizes in ascending order, all different and within bounds.

    Raises
    ------
    OptionError
        If a size is out of bounds or stands there twice, or there are none.
    """
    ordered = sorted(float(size) for size in sizes)
    wrong = [size for size in ordered if not smallest <= size <= largest]
    if not ordered or wrong:
        what = f"{wrong[0]:g} mm" if wrong else "none"
        raise OptionError(
            f"sizes of this piece go from {smallest:g} to {largest:g} mm, got {what}"
        )
    if len(set(ordered)) < len(ordered):
        raise OptionError("a size stands there twice: print the piece twice instead")
    return ordered
