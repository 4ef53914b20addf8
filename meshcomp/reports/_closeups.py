"""Close-ups of an edge in a plan view: a window so small that the change is seen.

Nothing is exaggerated in a close-up: it is the plan view itself, magnified.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import highest, lowest
from meshcomp.parts import Part
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._rows import Row
from meshcomp.results import PlanView

__all__ = ["CloseUp", "bar_path", "close_ups", "edge_of", "likeness", "scale_in_words"]

_MOST = 4  # close-ups of one view
_WINDOW_OF_OFFSET = 6.0  # least width of a window, in offsets
_BAR_OF_WINDOW = 0.2  # length of the scale bar, of the window


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseUp:
    """A square window on a plan view, mm, y downwards."""

    id: str
    box: tuple[float, float, float, float]  # left, top, width, height
    grain: float  # distance of the hatching lines
    ruler: str  # SVG path of its scale bar
    words: str


def close_ups(view: PlanView, rows: Sequence[Row], part: Part) -> tuple[CloseUp, ...]:
    """Return windows on the edges of the features that change most, each kind first.

    All windows of a view have one width, so that they can be compared.
    """
    edges = [(row, edge) for row in _chosen(rows) if (edge := edge_of(view, row, part))]
    largest = max((abs(row.correction.offset) for row, _ in edges), default=0.0)
    width = _nice_above(_WINDOW_OF_OFFSET * largest) if edges else 0.0
    return tuple(
        CloseUp(
            id=row.correction.feature_id,
            box=(x - width / 2, -y - width / 2, width, width),
            grain=width / 22,
            ruler=bar_path(
                (x - 0.44 * width, -y + 0.43 * width), width * _BAR_OF_WINDOW, width / 12
            ),
            words=f"{numbers.signed(row.correction.offset)} mm per side"
            + (" wanted, held back" if row.limits else ""),
        )
        for row, (x, y) in edges
    )


def scale_in_words(windows: Sequence[CloseUp]) -> str:
    """Say how wide the windows of one view are, and how long their scale bars."""
    width = windows[0].box[2] if windows else 0.0
    return f"Each window is {width:g} mm wide, its bar {width * _BAR_OF_WINDOW:g} mm."


def bar_path(start: tuple[float, float], length: float, font: float) -> str:
    """Return a scale bar with its two end strokes as an SVG path."""
    x, y = start
    end, tick = x + length, 0.3 * font
    strokes = (f"M{at:.4f} {y - tick:.4f}L{at:.4f} {y + tick:.4f}" for at in (x, end))
    return f"M{x:.4f} {y:.4f}L{end:.4f} {y:.4f}{''.join(strokes)}"


def _chosen(rows: Sequence[Row]) -> list[Row]:
    """Return the rows that change most, one of each kind before a second of any.

    Of features alike in kind, size and offset, the first stands for all.
    """
    alike: dict[tuple[str, str, str], Row] = {}
    for row in rows:
        if row.correction.offset != 0:
            alike.setdefault(likeness(row), row)
    ranked: list[tuple[int, float, Row]] = []
    seen: dict[str, int] = {}
    for row in sorted(alike.values(), key=lambda row: -abs(row.correction.offset)):
        kind = row.correction.kind
        seen[kind] = seen.get(kind, 0) + 1
        ranked.append((seen[kind], -abs(row.correction.offset), row))
    ranked.sort(key=lambda entry: entry[:2])
    return [row for *_, row in ranked[:_MOST]]


def likeness(row: Row) -> tuple[str, str, str]:
    """Return what features alike have in common: kind, size and offset as written."""
    correction = row.correction
    return (
        correction.kind,
        numbers.size(correction.nominal_size),
        numbers.signed(correction.offset),
    )


def edge_of(view: PlanView, row: Row, part: Part) -> tuple[float, float] | None:
    """Return where the plan view cuts a face of the feature, the rightmost one."""
    if row.feature is None or not len(row.feature.faces):
        return None
    corners = part.mesh.vertices[part.mesh.faces[row.feature.faces]]
    heights = corners[:, :, 2]
    cut = (lowest(heights) < view.height) & (highest(heights) > view.height)
    if not cut.any():
        return None
    middles = _middles_at(corners[cut], view.height)
    x, y = middles[int(np.argmax(middles[:, 0]))]
    return float(x), float(y)


def _middles_at(corners: NDArray[np.float64], height: float) -> NDArray[np.float64]:
    """Middle of the line in which faces, (n, 3, 3), cross a height, (n, 2)."""
    ends = np.roll(corners, -1, axis=1)
    rise = ends[..., 2] - corners[..., 2]
    crosses = (corners[..., 2] > height) != (ends[..., 2] > height)
    share = (height - corners[..., 2]) / np.where(crosses, rise, 1.0)
    points = corners[..., :2] + share[..., None] * (ends - corners)[..., :2]
    # Two edges of each face cross the height.
    return np.asarray(np.where(crosses[..., None], points, 0.0).sum(axis=1) / 2)


def _nice_above(value: float) -> float:
    """Return the smallest of 1, 2, 5, 10, 20 ... (and tenths) that is not below a value.

    Examples
    --------
    >>> _nice_above(0.69), _nice_above(1.0)
    (1.0, 1.0)
    """
    power = 10.0 ** math.floor(math.log10(value))
    step = min(step for step in (1, 2, 5, 10) if step * power >= value * (1 - 1e-9))
    return round(step * power, 12)
