"""A test piece ready to be written: data only, mm, standing on the bed at z = 0."""

from __future__ import annotations

from dataclasses import dataclass

from meshcomp.measurements.pieces import PieceSheet
from meshcomp.meshes import Mesh
from meshcomp.scenario.outlines import Outline

__all__ = ["BenchPiece", "Label"]


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
    Z up).
    """

    sheet: PieceSheet
    mesh: Mesh
    outlines: tuple[Outline, ...]  # edges that the drawing shows, (n, 2) each
    labels: tuple[Label, ...]
    view: str
    purpose: str  # one sentence
    advice: tuple[str, ...]  # how to measure it, one sentence each

    @property
    def name(self) -> str:
        """Name of the piece."""
        return self.sheet.name
