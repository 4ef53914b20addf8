"""The measuring sheet of a test piece: a page of A4 to take to the bench."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from meshcomp.testpieces.pieces import BenchPiece

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["measuring_sheet"]

_PAGE = (210.0, 297.0)  # A4, mm
_MARGIN = 15.0
_DRAWING = (180.0, 120.0)  # room for the drawing, mm
_INCH = 25.4
_ROW = 8.5
_COLUMNS = (15.0, 28.0, 59.0, 85.0)  # left edges: id, kind, size, what is read; mm
_PITCH, _BLANK = 16.5, 14.0  # of the columns to write into, mm


def measuring_sheet(piece: BenchPiece, format_: str = "pdf") -> bytes:
    """Return the measuring sheet of a piece.

    Parameters
    ----------
    piece : BenchPiece
    format_ : str
        'pdf' or 'svg'.

    Examples
    --------
    >>> from meshcomp.testpieces.catalogue import build_testpiece
    >>> measuring_sheet(build_testpiece("foot"), "svg")[:5]
    b'<?xml'
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    figure = Figure(figsize=(_PAGE[0] / _INCH, _PAGE[1] / _INCH))
    _draw(figure, piece)
    stream = io.BytesIO()
    # No date and a fixed salt: the same piece gives the same bytes.
    nothing = {"Date": None} if format_ == "svg" else {"CreationDate": None}
    with mpl.rc_context({"svg.hashsalt": piece.name, "svg.fonttype": "none"}):
        figure.savefig(stream, format=format_, metadata=nothing)
    return stream.getvalue()


def _draw(figure: Figure, piece: BenchPiece) -> None:
    page: Any = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    page.set_xlim(0, _PAGE[0])
    page.set_ylim(0, _PAGE[1])
    page.axis("off")
    top = _PAGE[1] - _MARGIN
    page.text(_MARGIN, top - 4, f"Measuring sheet: {piece.name}", size=15, weight="bold")
    page.text(_MARGIN, top - 11, piece.purpose, size=10)
    page.text(
        _MARGIN, top - 18, "Printer, material, date: " + "_" * 60, size=9, color="0.3"
    )
    below = _drawing(page, piece, top - 24)
    below = _advice(page, piece, below - 6)
    _table(page, piece, below - 5)


def _drawing(page: Any, piece: BenchPiece, top: float) -> float:
    """Draw the piece and return the height at which the drawing ends."""
    points = np.concatenate(piece.outlines)
    low, high = points.min(axis=0), points.max(axis=0)
    room = np.array(_DRAWING)
    if len(piece.sheet.features) > 12:  # noqa: PLR2004 - a long table needs the room
        room[1] = 85.0
    scale = min(1.0, float((room / (high - low)).min()))
    corner = np.array([_MARGIN, top - 5 - (high - low)[1] * scale])
    for outline in piece.outlines:
        closed = (np.vstack([outline, outline[:1]]) - low) * scale + corner
        page.plot(*closed.T, color="black", linewidth=0.8)
    for label in piece.labels:
        x, y = (np.array([label.x, label.y]) - low) * scale + corner
        small = label.height < 4.0  # noqa: PLR2004 - on a narrow face
        page.text(
            x,
            y,
            label.text,
            size=6 if small else 8,
            ha="center",
            va="bottom",
            color="tab:blue",
        )
    words = "true to size" if scale == 1.0 else f"scale {scale:.2f}"
    across = "Y up" if piece.view == "from above" else "Z up"
    page.text(
        _MARGIN, corner[1] - 6, f"{piece.view}, X to the right, {across}; {words}", size=8
    )
    return float(corner[1] - 6)


def _advice(page: Any, piece: BenchPiece, top: float) -> float:
    import textwrap

    for sentence in piece.advice:
        for k, line in enumerate(textwrap.wrap(sentence, 105)):
            page.text(_MARGIN, top, ("\u2022 " if k == 0 else "   ") + line, size=8.5)
            top -= 4.5
    return top


def _table(page: Any, piece: BenchPiece, top: float) -> None:
    """Draw the rows to fill in, as close as they must be to fit the page."""
    features = piece.sheet.features
    row = min(_ROW, (top - _MARGIN) / (len(features) + 1))
    blanks = [_COLUMNS[-1] + k * _PITCH for k in range(len(piece.columns) + 1)]
    heads = ("id", "kind", "nominal, mm", *piece.columns, "where, with what")
    for x, head in zip((*_COLUMNS[:-1], *blanks), heads, strict=True):
        page.text(x, top, head, size=8.5, weight="bold")
    for k, feature in enumerate(features, start=1):
        y = top - k * row
        cells = (feature.id, feature.kind, f"{feature.nominal_size:.3f}")
        for x, cell in zip(_COLUMNS, cells, strict=False):
            page.text(x, y, cell, size=8.5)
        for x in blanks[:-1]:
            page.plot([x, x + _BLANK], [y - 0.8, y - 0.8], color="0.6", linewidth=0.6)
        page.text(blanks[-1], y, feature.hint, size=7.5, color="0.3")
