"""Ladders: bores, bosses and slots from small to large on one plate.

The sizes of the bore and boss ladders are not evenly spaced: the determinant of their
information about all three terms of the size law is, for each size printed, at least 0.9
of that of the D-optimal choice among preferred sizes, which crowds at the ends and in
the middle. What is given away buys sizes in between, where another law would show.
"""

from __future__ import annotations

from collections.abc import Sequence

from meshcomp.deviations import TERMS
from meshcomp.measurements.designs import d_optimal_sizes
from meshcomp.measurements.pieces import PieceFeature, PieceSheet
from meshcomp.scenario.prisms import prism
from meshcomp.testpieces.layout import (
    Cell,
    checked_sizes,
    fine_circle,
    joined,
    labels_on,
    rectangle,
    shelves,
)
from meshcomp.testpieces.pieces import BenchPiece, Label, bore_instrument

__all__ = [
    "PREFERRED_SIZES",
    "ROUND_SIZES",
    "SLOT_SIZES",
    "bore_ladder",
    "boss_ladder",
    "slot_ladder",
]

PREFERRED_SIZES = (
    (2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0)
    + (12.0, 14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 28.0, 30.0)
)  # fmt: skip
ROUND_SIZES = (2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 14.0, 20.0, 25.0, 30.0)
SLOT_SIZES = (1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 15.0, 20.0)
_UP = (0.0, 0.0, 1.0)
_BAND = 12.0  # length of a slot, mm
_CHORD = (
    "Inside jaws read small bores low, since their flats bridge a chord: flats of width w "
    "in a bore d read about w²/2d low; turn them for the largest reading. Below 5 mm use "
    "pins: the largest that goes in is go_size, the next one no_go_size."
)
_FEELERS = (
    "Below 5 mm use feeler gauges or flat pins: the largest that goes in is go_size, the "
    "next one no_go_size."
)
_TWICE = "Read each size twice, in two directions, away from the seam and at mid-height."
_AGAIN = "Two prints tell more than two readings: name them in the column piece."


def _chosen(
    sizes: Sequence[float] | None, count: int | None, default: Sequence[float]
) -> list[float]:
    """Sizes asked for; else `count` of them, D-optimal; else the usual ones."""
    if sizes is not None:
        return checked_sizes(sizes, 1.0, 60.0)
    if count is None:
        return list(default)
    available = [size for size in PREFERRED_SIZES if default[0] <= size <= default[-1]]
    return list(d_optimal_sizes(available, TERMS, count))


def bore_ladder(
    *,
    sizes: Sequence[float] | None = None,
    count: int | None = None,
    thickness: float = 4.0,
) -> BenchPiece:
    """Return a plate with bores across it.

    Parameters
    ----------
    sizes : sequence of float, optional
        Diameters, mm.
    count : int, optional
        How many, chosen D-optimal from 2 to 30 mm.
    thickness : float
        Of the plate, mm.

    Examples
    --------
    >>> [f.nominal_size for f in bore_ladder(sizes=(3, 8)).sheet.features]
    [3.0, 8.0]
    """
    chosen = _chosen(sizes, count, ROUND_SIZES)
    ids = [f"B{k}" for k in range(1, len(chosen) + 1)]
    cells, width, height = shelves([(d, d) for d in chosen], ids)
    holes = [
        fine_circle(d, (cell.x, cell.y)) for d, cell in zip(chosen, cells, strict=True)
    ]
    plate = rectangle(0.0, width, 0.0, height)
    labels = tuple(cell.label for cell in cells)
    return BenchPiece(
        sheet=PieceSheet(
            name="bore-ladder",
            features=_round("bore", ids, chosen, cells, (0.0, thickness)),
        ),
        mesh=joined([prism(plate, holes, 0.0, thickness), *labels_on(labels, thickness)]),
        outlines=(plate, *holes),
        labels=labels,
        view="from above",
        purpose="How bores close, and by how much more when they are small.",
        advice=(_TWICE, _AGAIN, _CHORD),
    )


def _round(
    kind: str,
    ids: Sequence[str],
    sizes: Sequence[float],
    cells: Sequence[Cell],
    ends: tuple[float, float],
) -> tuple[PieceFeature, ...]:
    low, high = ends
    return tuple(
        PieceFeature(
            id=name,
            kind=kind,
            nominal_size=size,
            point=(cell.x, cell.y, 0.0),
            direction=_UP,
            start=low,
            end=high,
            hint=bore_instrument(size) if kind == "bore" else "outside jaws",
        )
        for name, size, cell in zip(ids, sizes, cells, strict=True)
    )


def boss_ladder(
    *,
    sizes: Sequence[float] | None = None,
    count: int | None = None,
    height: float = 5.0,
) -> BenchPiece:
    """Return a plate with round bosses on it.

    Parameters
    ----------
    sizes : sequence of float, optional
        Diameters, mm.
    count : int, optional
        How many, chosen D-optimal from 2 to 30 mm.
    height : float
        Of the bosses above the plate, mm.

    Examples
    --------
    >>> boss_ladder(sizes=(4, 10)).sheet.features[1].id
    'S2'
    """
    chosen = _chosen(sizes, count, ROUND_SIZES)
    ids = [f"S{k}" for k in range(1, len(chosen) + 1)]
    cells, width, depth = shelves([(d, d) for d in chosen], ids)
    foot = 1.2
    plate = rectangle(0.0, width, 0.0, depth)
    rounds = [
        fine_circle(d, (cell.x, cell.y)) for d, cell in zip(chosen, cells, strict=True)
    ]
    labels = tuple(cell.label for cell in cells)
    top = foot + height
    solids = [prism(each, [], foot - 0.4, top) for each in rounds]
    return BenchPiece(
        sheet=PieceSheet(
            name="boss-ladder", features=_round("boss", ids, chosen, cells, (foot, top))
        ),
        mesh=joined([prism(plate, [], 0.0, foot), *solids, *labels_on(labels, foot)]),
        outlines=(plate, *rounds),
        labels=labels,
        view="from above",
        purpose="How round bosses grow or shrink with their size.",
        advice=(
            _TWICE,
            _AGAIN,
            "Do not press: thin bosses bend, and soft plastic gives way.",
        ),
    )


def slot_ladder(
    *, sizes: Sequence[float] | None = None, thickness: float = 4.0
) -> BenchPiece:
    """Return a plate with slots through it, across X and across Y by turns.

    Parameters
    ----------
    sizes : sequence of float, optional
        Widths, mm.
    thickness : float
        Of the plate, mm.

    Examples
    --------
    >>> [f.direction for f in slot_ladder(sizes=(2, 4)).sheet.features]
    [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0)]
    """
    chosen = checked_sizes(SLOT_SIZES if sizes is None else sizes, 0.8, 60.0)
    ids = [f"W{k}" for k in range(1, len(chosen) + 1)]
    along_x = [k % 2 == 0 for k in range(len(chosen))]
    boxes = [
        (size, _BAND) if is_x else (_BAND, size)
        for size, is_x in zip(chosen, along_x, strict=True)
    ]
    cells, width, height = shelves(boxes, ids)
    slots = [
        rectangle(c.x - w / 2, c.x + w / 2, c.y - h / 2, c.y + h / 2)
        for (w, h), c in zip(boxes, cells, strict=True)
    ]
    plate = rectangle(0.0, width, 0.0, height)
    labels: tuple[Label, ...] = tuple(cell.label for cell in cells)
    features = tuple(
        PieceFeature(
            id=name,
            kind="slot",
            nominal_size=size,
            point=(cell.x, cell.y, thickness / 2),
            direction=(1.0, 0.0, 0.0) if is_x else (0.0, 1.0, 0.0),
            start=-size / 2,
            end=size / 2,
            hint=f"across {'X' if is_x else 'Y'}",
        )
        for name, size, cell, is_x in zip(ids, chosen, cells, along_x, strict=True)
    )
    return BenchPiece(
        sheet=PieceSheet(name="slot-ladder", features=features),
        mesh=joined([prism(plate, slots, 0.0, thickness), *labels_on(labels, thickness)]),
        outlines=(plate, *slots),
        labels=labels,
        view="from above",
        purpose="How slots and pockets close.",
        advice=(
            "Read each slot at two places of its length, at mid-height, off the corners.",
            _FEELERS,
        ),
    )
