"""Outside lengths, the foot of the first layers, and walls of a single line."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshcomp.errors import OptionError
from meshcomp.measurements.pieces import PieceFeature, PieceSheet, Triple
from meshcomp.meshes import Mesh
from meshcomp.scenario.outlines import Outline
from meshcomp.scenario.prisms import prism
from meshcomp.testpieces.layout import checked_sizes, joined, labels_on, rectangle
from meshcomp.testpieces.pieces import BenchPiece, Label

__all__ = ["LENGTHS", "foot_piece", "outside_ladder", "wall_strip"]

LENGTHS = (5.0, 10.0, 20.0, 40.0, 80.0)
_X, _Y = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)
_HIGH = 5.0  # of the bars, mm
_BROAD = 6.0  # of the bars, mm
_GAP = 4.0
_SMALL = 3.0  # height of labels on narrow faces, mm
_MID = "at mid-height"


def _length(
    name: str, kind: str, size: float, middle: Triple, across: Triple, *, hint: str
) -> PieceFeature:
    return PieceFeature(
        id=name,
        kind=kind,
        nominal_size=size,
        point=middle,
        direction=across,
        start=-size / 2,
        end=size / 2,
        hint=hint,
    )


def outside_ladder(
    *, sizes: Sequence[float] | None = None, square: float = 60.0
) -> BenchPiece:
    """Return bars along X and along Y, and a square frame whose diagonals show skew.

    The corners of the frame are cut to flats across the diagonals, so that calipers
    find faces there.

    Parameters
    ----------
    sizes : sequence of float, optional
        Lengths of the bars, mm.
    square : float
        Outside of the frame, mm.

    Examples
    --------
    >>> piece = outside_ladder(sizes=(10, 40))
    >>> [f.id for f in piece.sheet.features]
    ['X1', 'X2', 'Y1', 'Y2', 'X3', 'Y3', 'D1', 'D2']
    """
    chosen = checked_sizes(LENGTHS if sizes is None else sizes, 5.0, 200.0)
    if not 30.0 <= square <= 200.0:  # noqa: PLR2004
        raise OptionError(f"the square goes from 30 to 200 mm, got {square:g} mm")
    pitch = _BROAD + _GAP
    labels: list[Label] = []
    features: list[PieceFeature] = []
    bars: list[Outline] = []
    for k, size in enumerate(chosen):
        near, far = _GAP + k * pitch, _GAP + k * pitch + _BROAD
        x_bar = rectangle(0.0, size, -far, -near)
        y_bar = rectangle(-far, -near, 0.0, size)
        bars += [x_bar, y_bar]
        for letter, bar, across in (("X", x_bar, _X), ("Y", y_bar, _Y)):
            centre = bar.mean(axis=0)
            name = f"{letter}{k + 1}"
            # A label may not stand out over the sides of the shortest bar.
            labels.append(
                _small(name, float(centre[0]), float(centre[1]), min(_SMALL, size / 2))
            )
            middle = (float(centre[0]), float(centre[1]), _HIGH / 2)
            kind = f"outside {letter.lower()}"
            features.append(
                _length(name, kind, size, middle, across, hint=f"along {letter}, {_MID}")
            )
    features.sort(key=lambda feature: feature.id[0])
    frame, more, frame_labels = _frame(square, len(chosen) + 1)
    outer, inner = frame
    solids = [prism(bar, [], 0.0, _HIGH) for bar in bars]
    solids.append(prism(outer, [inner], 0.0, _HIGH))
    every = (*labels, *frame_labels)
    return BenchPiece(
        sheet=PieceSheet(name="outside-ladder", features=(*features, *more)),
        mesh=joined([*solids, *labels_on(every, _HIGH)]),
        outlines=(*bars, outer, inner),
        labels=every,
        view="from above",
        purpose="Scale of the axes, growth of outside walls, and skew of the axes.",
        advice=(
            "X runs to the right on the bed and Y to the back: do not turn the file.",
            "Read every bar over its end faces, twice, at mid-height.",
            "Read both diagonals over the flats at the corners, with the same pressure.",
        ),
    )


def _small(name: str, x: float, y: float, height: float = _SMALL) -> Label:
    return Label(text=name, x=x, y=y - height / 2, height=height)


def _frame(
    square: float, number: int
) -> tuple[tuple[Outline, Outline], list[PieceFeature], list[Label]]:
    """Describe a square frame from the origin with cut corners, and what is read of it."""
    cut = 4.0
    s, c = square, cut
    outer = np.array(
        [(c, 0), (s - c, 0), (s, c), (s, s - c), (s - c, s), (c, s), (0, s - c), (0, c)],
        dtype=np.float64,
    )
    inner = rectangle(_BROAD + 1, s - _BROAD - 1, _BROAD + 1, s - _BROAD - 1)
    diagonal = (square - cut) * 2**0.5
    middle = (s / 2, s / 2, _HIGH / 2)
    features = [
        _length(f"X{number}", "outside x", square, middle, _X, hint=f"along X, {_MID}"),
        _length(f"Y{number}", "outside y", square, middle, _Y, hint=f"along Y, {_MID}"),
        *(
            PieceFeature(
                id=name,
                kind=f"diagonal {sign}",
                nominal_size=diagonal,
                point=middle,
                direction=(2**-0.5, slope * 2**-0.5, 0.0),
                start=-diagonal / 2,
                end=diagonal / 2,
                hint=f"{near} to {far}",
            )
            for name, sign, slope, near, far in (
                ("D1", "+", 1.0, "front left", "back right"),
                ("D2", "-", -1.0, "back left", "front right"),
            )
        ),
    ]
    half = (_BROAD + 1) / 2
    labels = [
        _small(f"X{number}", s / 2, half),
        _small(f"Y{number}", half, s / 2),
        _small("D1", s - half - c, s - half),
        _small("D2", s - half - c, half),
    ]
    return (outer, inner), features, labels


def wall_strip(*, line_width: float = 0.44, length: float = 40.0) -> BenchPiece:
    """Return two walls of a single line between posts.

    Parameters
    ----------
    line_width : float
        Width of the line set in the slicer, mm.
    length : float
        Of each wall, mm.

    Examples
    --------
    >>> wall_strip(line_width=0.5).sheet.features[0].nominal_size
    0.5
    """
    if not 0.1 <= line_width <= 2.0:  # noqa: PLR2004
        raise OptionError(f"line_width goes from 0.1 to 2 mm, got {line_width:g} mm")
    post, high, half = 8.0, 12.0, line_width / 2
    far = post + length
    middle = post / 2
    walls = [
        rectangle(post - 1, far + 1, middle - half, middle + half),
        rectangle(middle - half, middle + half, post - 1, far + 1),
    ]
    posts = [
        rectangle(0.0, post, 0.0, post),
        rectangle(far, far + post, 0.0, post),
        rectangle(0.0, post, far, far + post),
    ]
    labels = (_small("F1", far + middle, middle), _small("F2", middle, far + middle))
    hint = "across {}, at five places"
    along = post + length / 2
    features = (
        _length(
            "F1", "strip", line_width, (along, middle, high / 2), _Y, hint=hint.format("Y")
        ),
        _length(
            "F2", "strip", line_width, (middle, along, high / 2), _X, hint=hint.format("X")
        ),
    )
    solids = [prism(each, [], 0.0, high) for each in (*walls, *posts)]
    return BenchPiece(
        sheet=PieceSheet(name="wall-strip", features=features),
        mesh=joined([*solids, *labels_on(labels, high)]),
        outlines=(*walls, *posts),
        labels=labels,
        view="from above",
        purpose="The factor for the extrusion flow: intended over measured thickness.",
        columns=("1", "2", "3", "4", "5"),
        advice=(
            "Slice with the line width that the piece was made for, one line a wall.",
            (
                "Read the thickness at five places with the flats of the jaws, or with a "
                "micrometer, off the posts and off the first layers."
            ),
            "Set the flow first: a calibration made before a change does not hold after.",
        ),
    )


def foot_piece(*, size: float = 30.0) -> BenchPiece:
    """Return a hollow block with a sharp foot, to be read at the foot and above it.

    Parameters
    ----------
    size : float
        Outside along X and Y, mm.

    Examples
    --------
    >>> [f.kind for f in foot_piece().sheet.features]
    ['outside x', 'outside y', 'foot', 'foot']
    """
    if not 20.0 <= size <= 100.0:  # noqa: PLR2004
        raise OptionError(f"size goes from 20 to 100 mm, got {size:g} mm")
    high, wall, low = 8.0, 6.0, 0.2
    outer = rectangle(0.0, size, 0.0, size)
    inner = rectangle(wall, size - wall, wall, size - wall)
    half = size / 2
    at_foot = "lowest 0.4 mm"
    labels = (
        _small("X1", half, size - wall / 2),
        _small("Y1", size - wall / 2, half),
        _small("F1", half, wall / 2),
        _small("F2", wall / 2, half),
    )
    features = (
        _length(
            "X1", "outside x", size, (half, half, high / 2), _X, hint=f"along X, {_MID}"
        ),
        _length(
            "Y1", "outside y", size, (half, half, high / 2), _Y, hint=f"along Y, {_MID}"
        ),
        _length("F1", "foot", size, (half, half, low), _X, hint=f"across X, {at_foot}"),
        _length("F2", "foot", size, (half, half, low), _Y, hint=f"across Y, {at_foot}"),
    )
    mesh: Mesh = joined([prism(outer, [inner], 0.0, high), *labels_on(labels, high)])
    return BenchPiece(
        sheet=PieceSheet(name="foot", features=features),
        mesh=mesh,
        outlines=(outer, inner),
        labels=labels,
        view="from above",
        purpose="How far the first layers spread below the rest.",
        columns=("1", "2"),
        advice=(
            "Let it cool on the bed before you take it off, and do not trim it.",
            "Read across the foot with the thin edges of the jaws, then at mid-height.",
            "Count the layers that stand proud: their height is the flare height.",
        ),
    )
