"""Round posts whose seam is read."""

from __future__ import annotations

from collections.abc import Sequence

from meshcomp.measurements.pieces import PieceFeature, PieceSheet
from meshcomp.scenario.prisms import prism
from meshcomp.testpieces.layout import (
    checked_sizes,
    fine_circle,
    joined,
    labels_on,
    rectangle,
    shelves,
)
from meshcomp.testpieces.pieces import BenchPiece

__all__ = ["POST_SIZES", "seam_posts"]

POST_SIZES = (10.0, 15.0, 20.0)
_FOOT = 1.2  # mm
_ACROSS = (1.0, 0.0, 0.0)
_ALONG = (0.0, 1.0, 0.0)


def seam_posts(*, sizes: Sequence[float] | None = None, height: float = 10.0) -> BenchPiece:
    """Return round posts on a plate, to be read through the seam and across it.

    Parameters
    ----------
    sizes : sequence of float, optional
        Diameters, mm.
    height : float
        Of the posts above the plate, mm.

    Examples
    --------
    >>> [f.id for f in seam_posts(sizes=(10, 15)).sheet.features]
    ['P1A', 'P1C', 'P2A', 'P2C']
    """
    chosen = checked_sizes(POST_SIZES if sizes is None else sizes, 6.0, 60.0)
    ids = [f"P{k}" for k in range(1, len(chosen) + 1)]
    cells, width, depth = shelves([(d, d) for d in chosen], ids)
    plate = rectangle(0.0, width, 0.0, depth)
    rounds = [
        fine_circle(d, (cell.x, cell.y)) for d, cell in zip(chosen, cells, strict=True)
    ]
    labels = tuple(cell.label for cell in cells)
    top = _FOOT + height
    features = tuple(
        PieceFeature(
            id=f"{name}{letter}",
            kind=kind,
            nominal_size=size,
            point=(cell.x, cell.y, (_FOOT + top) / 2),
            direction=way,
            start=-size / 2,
            end=size / 2,
            hint=hint,
        )
        for name, size, cell in zip(ids, chosen, cells, strict=True)
        for letter, kind, way, hint in (
            ("A", "seam along", _ALONG, "through the seam"),
            ("C", "seam across", _ACROSS, "a quarter turn away"),
        )
    )
    solids = [prism(each, [], _FOOT - 0.4, top) for each in rounds]
    return BenchPiece(
        sheet=PieceSheet(name="seam-posts", features=features),
        mesh=joined([prism(plate, [], 0.0, _FOOT), *solids, *labels_on(labels, _FOOT)]),
        outlines=(plate, *rounds),
        labels=labels,
        view="from above",
        purpose="How high the seam stands out of a round wall.",
        columns=("1", "2", "3"),
        advice=(
            "Slice with the seam in one line up each post, at the back, not spread about.",
            "Find the seam by eye or nail: A with a jaw on it, C a quarter turn away.",
            "Use the flats of the jaws, and do not press: a pressed seam reads low.",
            "Every material and speed has its own seam: read it anew when they change.",
        ),
    )
