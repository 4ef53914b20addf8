"""Raised lettering: characters of straight strokes, each stroke a bar.

The font is our own: strokes on a grid 4 wide and 6 high, thick enough to print with the
usual lines.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import OptionError
from meshcomp.meshes import Mesh
from meshcomp.scenario.outlines import Outline
from meshcomp.scenario.prisms import prism
from meshcomp.testpieces.pieces import Label

__all__ = ["RAISED", "SUNK", "label_meshes", "text_width"]

RAISED = 0.6  # height above the face, mm
SUNK = 0.4  # depth into the face, so that letters and piece become one, mm
_WIDE, _HIGH = 4.0, 6.0  # grid
_STEP = 5.6  # from one character to the next, on the grid
_STROKE = 0.9  # thickness of a stroke, on the grid

# Each stroke as four digits: x and y of its two ends.
_STROKES = {
    "0": "0006 0646 4640 4000",
    "1": "0526 2620 1030",
    "2": "0516 1636 3645 4544 4400 0040",
    "3": "0646 4623 2333 3342 4241 4130 3000",
    "4": "3036 3602 0242",
    "5": "4606 0603 0343 4340 4000",
    "6": "4606 0600 0040 4043 4303",
    "7": "0646 4610",
    "8": "0006 0646 4640 4000 0343",
    "9": "4303 0306 0646 4640 4000",
    "B": "0006 0636 3645 4544 4433 3303 3342 4241 4130 3000",
    "D": "0006 0626 2644 4442 4220 2000",
    "F": "0006 0646 0333",
    "H": "0006 4046 0343",
    "L": "0600 0040",
    "P": "0006 0646 4643 4303",
    "R": "0006 0646 4643 4303 2340",
    "S": "4606 0603 0343 4340 4000",
    "W": "0610 1024 2430 3046",
    "X": "0046 0640",
    "Y": "0623 4623 2320",
    "+": "2125 0343",
    "-": "0343",
    ".": "1020",
}


def text_width(label: Label) -> float:
    """Return the width of a label, mm."""
    return ((len(label.text) - 1) * _STEP + _WIDE) * label.height / _HIGH


def label_meshes(label: Label, face: float) -> list[Mesh]:
    """Return the bars of a label, to be joined to a piece.

    Parameters
    ----------
    label : Label
    face : float
        Height of the face that the label stands on, mm.

    Raises
    ------
    OptionError
        If there is no such character in the font.
    """
    scale = label.height / _HIGH
    left = label.x - text_width(label) / 2
    bars = []
    for place, character in enumerate(label.text):
        origin = np.array([left + place * _STEP * scale, label.y])
        bars += [
            prism(bar * scale + origin, [], face - SUNK, face + RAISED)
            for bar in _bars(character)
        ]
    return bars


def _bars(character: str) -> list[Outline]:
    if character not in _STROKES:
        raise OptionError(
            f"labels have no character {character!r}; they have {''.join(_STROKES)}"
        )
    bars = []
    for stroke in _STROKES[character].split():
        x0, y0, x1, y1 = map(float, stroke)
        bars.append(_bar(np.array([x0, y0]), np.array([x1, y1])))
    return bars


def _bar(a: NDArray[np.float64], b: NDArray[np.float64]) -> Outline:
    """Return a stroke between two grid points, square-ended, counter-clockwise."""
    along = (b - a) / np.linalg.norm(b - a) * _STROKE / 2
    across = np.array([-along[1], along[0]])
    corners: Sequence[NDArray[np.float64]] = (
        a - along - across,
        b + along - across,
        b + along + across,
        a - along + across,
    )
    return np.array(corners)
