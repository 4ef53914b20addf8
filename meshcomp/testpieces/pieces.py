"""A test piece ready to be written: data only, mm, standing on the bed at z = 0."""

from __future__ import annotations

from dataclasses import dataclass

from meshcomp.measurements.pieces import PieceSheet
from meshcomp.meshes import Mesh
from meshcomp.scenario.outlines import Outline

__all__ = ["BenchPiece", "Label", "bore_instrument"]

_PINS_BELOW = 5.0  # mm: the flats of inside jaws bridge a chord of small bores


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A text on the piece and on its drawing, in the plane of the view, mm."""

    text: str
    x: float  # of its middle
    y: float  # of its lower edge
    height: float = 4.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class BenchPiece:
    """A test piece with what is to be measured on it and how to draw it.

    `view` is "from above" (X to the right, Y up) or "from the front" (X to the right,
    Z up). `columns` are those to write into: numbers for readings, "go" and "no go" for
    gauges, "note" for words.
    """

    sheet: PieceSheet
    mesh: Mesh
    outlines: tuple[Outline, ...]  # edges that the drawing shows, (n, 2) each
    labels: tuple[Label, ...]
    view: str
    purpose: str  # one sentence
    advice: tuple[str, ...]  # how to measure it, one sentence each
    columns: tuple[str, ...] = ("1", "2", "go", "no go")

    @property
    def name(self) -> str:
        """Name of the piece."""
        return self.sheet.name

    @property
    def readings(self) -> int:
        """How many readings of a feature there is room for."""
        return sum(column.isdigit() for column in self.columns)


def bore_instrument(size: float) -> str:
    """Return what reads a bore of a size in mm without bridging it.

    Examples
    --------
    >>> bore_instrument(3.0)
    'pins'
    """
    return "pins" if size < _PINS_BELOW else "inside jaws"
