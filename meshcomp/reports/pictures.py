"""Plan views as drawings: what a picture of a section shows, ready for the template.

Lengths are in mm, y points downwards as in every picture: it is minus the bed's Y.
"""

from __future__ import annotations

import math
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.features import Cylinder
from meshcomp.parts import Part
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._closeups import (
    CloseUp,
    bar_path,
    close_ups,
    edge_of,
    likeness,
    scale_in_words,
)
from meshcomp.reports._labels import LARGE, Label, Wish, placed
from meshcomp.reports._marks import Mark, mark_of, off_circles
from meshcomp.reports._rows import Row, grouped, ids_in_words, rows_of
from meshcomp.results import PlanView, Record

__all__ = ["Picture", "Ruler", "pictures"]

_FONT_OF_WIDTH = 1 / 40  # height of the labels
_MARGIN = 3.5  # about the part, in heights of the labels
_MOST_SIZES = 20  # marks in a view; where more, labels are the ids only
_SLIMMEST = 0.8  # width of a picture, of its height
_DIAMETER = "\N{DIAMETER SIGN}"
_ARROW = "\N{RIGHTWARDS ARROW}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruler:
    """A scale bar."""

    path: str
    end: float
    y: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One plan view before and after, in mm."""

    key: str  # prefix of the ids within the page
    title: str
    words: str
    box: tuple[float, float, float, float]  # left, top, width, height
    font: float
    before: str
    after: str
    marks: tuple[Mark, ...]
    labels: tuple[Label, ...]
    tones: Mapping[str, str]
    sizes: tuple[tuple[str, str], ...]  # ids and sizes, where labels have no room for them
    without_label: str
    ruler: Ruler
    close_ups: tuple[CloseUp, ...]
    scale_of_close_ups: str


def pictures(record: Record) -> tuple[Picture, ...]:
    """Return one picture for each plan view that cuts the part."""
    rows = {row.correction.feature_id: row for row in rows_of(record)}
    part = record.inspection.part
    shown: set[tuple[str, str, str]] = set()  # in close-ups of the views before
    drawn = []
    for number, view in enumerate(record.views, start=1):
        if any(len(ring) for ring in (*view.before, *view.after)):
            picture = _picture(view, rows, key=f"view{number}", part=part, shown=shown)
            shown |= {likeness(rows[window.id]) for window in picture.close_ups}
            drawn.append(picture)
    return tuple(drawn)


def _picture(
    view: PlanView,
    rows: Mapping[str, Row],
    *,
    key: str,
    part: Part,
    shown: Container[tuple[str, str, str]],
) -> Picture:
    box, font, ruler = _layout(view)
    marked = [
        (rows[name], *_place(view, rows[name], (x, y), part))
        for name, x, y in view.marks
        if name in rows
    ]
    seen = [row for row, _, _ in marked]
    marks = off_circles(
        view, seen, [mark_of(row, (x, y), font) for row, x, y in marked], font
    )
    labels, without, has_sizes = _labelled(view, seen, marks, box=box, font=font)
    windows = close_ups(view, [row for row in seen if likeness(row) not in shown], part)
    return Picture(
        key=key,
        title=f"Section at z = {numbers.size(view.height)} mm, seen from above",
        words=_words(seen),
        box=box,
        font=font,
        before=_path(view.before),
        after=_path(view.after),
        marks=marks,
        labels=labels,
        tones={mark.id: mark.tone for mark in marks},
        sizes=() if has_sizes else _sizes(seen),
        without_label=ids_in_words(without),
        ruler=ruler,
        close_ups=windows,
        scale_of_close_ups=scale_in_words(windows),
    )


def _labelled(
    view: PlanView,
    rows: Sequence[Row],
    marks: Sequence[Mark],
    *,
    box: tuple[float, float, float, float],
    font: float,
) -> tuple[tuple[Label, ...], list[str], bool]:
    """Return the labels, the ids without one, and whether all changed sizes are told."""
    changed = {row.correction.feature_id for row in rows if row.is_changed}
    is_dense = len(rows) > _MOST_SIZES
    wishes = [
        _wish(row, mark, is_dense=is_dense) for row, mark in zip(rows, marks, strict=True)
    ]
    # Changed features and large ones have the first choice of a place.
    wishes.sort(key=lambda wish: (wish.id not in changed, -wish.radius))
    frame = (box[0], box[1], box[0] + box[2], box[1] + box[3] - 2.6 * font)
    outline = _dotted(view.after or view.before, marks, font)
    labels, without = placed(wishes, font, frame=frame, outline=outline)
    told = {label.id for label in labels if len(label.lines) > 1}
    return tuple(labels), sorted(without), changed <= told


def _place(
    view: PlanView, row: Row, mark: tuple[float, float], part: Part
) -> tuple[float, float]:
    """Return where to mark a feature: a profile on its edge, others in their middle."""
    edge = edge_of(view, row, part) if row.correction.nominal_size is None else None
    x, y = edge or mark
    return x, -y


def _layout(view: PlanView) -> tuple[tuple[float, float, float, float], float, Ruler]:
    """Return the view box, the height of the labels and the scale bar."""
    points = np.vstack([ring for ring in (*view.before, *view.after) if len(ring)])
    points = points * (1.0, -1.0)
    low, high = points.min(axis=0), points.max(axis=0)
    width, height = (float(value) for value in high - low)
    font = max(width, _SLIMMEST * height, 1e-6) * _FONT_OF_WIDTH
    margin = _MARGIN * font
    full = max(width, _SLIMMEST * height) + 2 * margin
    left = float(low[0] + high[0] - full) / 2
    box = (left, float(low[1]) - margin, full, height + 2 * margin + 1.5 * font)
    length = nice_below(full / 4)
    bottom = box[1] + box[3] - 0.9 * font
    ruler = Ruler(
        path=bar_path((left + font, bottom), length, font),
        end=left + font + length,
        y=bottom,
        words=f"{length:g} mm",
    )
    return box, font, ruler


def nice_below(value: float) -> float:
    """Return the largest of 1, 2, 5, 10, 20 ... that is not above a value.

    Examples
    --------
    >>> nice_below(17.0), nice_below(0.3)
    (10.0, 0.2)
    """
    power = 10.0 ** math.floor(math.log10(value))
    step = max(step for step in (1, 2, 5) if step * power <= value * (1 + 1e-9))
    return round(step * power, 12)


def _dotted(
    rings: Sequence[NDArray[np.float64]], marks: Sequence[Mark], font: float
) -> NDArray[np.float64]:
    """Return points on rings closely along, but for small marked circles, y downwards."""
    pitch = font / 2
    starts = np.vstack([ring for ring in rings if len(ring)]) * (1.0, -1.0)
    ends = np.vstack([np.roll(ring, -1, axis=0) for ring in rings if len(ring)])
    ends = ends * (1.0, -1.0)
    counts = np.ceil(np.hypot(*(ends - starts).T) / pitch).astype(int)
    edges = np.repeat(np.arange(len(starts)), counts)
    share = (np.arange(len(edges)) - (np.cumsum(counts) - counts)[edges]) / counts[edges]
    points = starts[edges] + share[:, None] * (ends - starts)[edges]
    # One point in each cell of a grid is enough; complex numbers sort as pairs.
    cells = np.floor(points / pitch)
    keys = cells[:, 0] + 1j * cells[:, 1]
    points = points[np.unique(keys, return_index=True)[1]]
    small = [m for m in marks if m.radius and m.radius <= LARGE * font]
    circles = np.array([(m.x, m.y, m.radius) for m in small]).reshape(-1, 3)
    gaps = np.hypot(*(points[:, None] - circles[None, :, :2]).transpose(2, 0, 1))
    on_circle = (np.abs(gaps - circles[:, 2]) < pitch / 2).any(axis=1)
    return np.asarray(points[~on_circle])


def _path(rings: Sequence[NDArray[np.float64]]) -> str:
    """Write rings as the data of an SVG path, to a tenth of a micrometre."""
    parts = []
    for ring in rings:
        if len(ring):
            flat = (np.asarray(ring) * (1.0, -1.0)).ravel().tolist()
            parts.append(("M" + "%.4f %.4f " * len(ring) + "Z") % tuple(flat))
    return "".join(parts)


def _wish(row: Row, mark: Mark, *, is_dense: bool) -> Wish:
    return Wish(
        id=mark.id,
        texts=((mark.id,),) if is_dense else _texts(row),
        x=mark.x,
        y=mark.y,
        radius=mark.radius or 0.0,
        line=mark.line,
    )


def _texts(row: Row) -> tuple[tuple[str, ...], ...]:
    """Return the label's texts, the shorter one for want of room."""
    name = row.correction.feature_id
    return ((name, _size_words(row)), (name,)) if row.is_changed else ((name,),)


def _size_words(row: Row) -> str:
    """Write the size before and after, or the offset of what has no size.

    The size after is the one measured, where there is one: that is what the picture shows.
    """
    nominal = row.correction.nominal_size
    if nominal is None or row.planned is None:
        return f"{numbers.signed(row.correction.offset)} per side"
    planned, achieved = numbers.planned_and_achieved(
        row.planned, row.achieved, conforms=row.conforms is not False
    )
    after = planned if row.achieved is None else achieved
    sign = _DIAMETER if isinstance(row.feature, Cylinder) else ""
    return f"{sign}{numbers.size(nominal)} {_ARROW} {after}"


def _sizes(rows: Sequence[Row]) -> tuple[tuple[str, str], ...]:
    """Return the sizes of changed features, those alike together."""
    changed = [row for row in rows if row.is_changed]
    return tuple(grouped((_size_words(row), row.correction.feature_id) for row in changed))


def _words(rows: Sequence[Row]) -> str:
    """Describe a picture for those who do not see it."""
    changed = [row.correction.feature_id for row in rows if row.is_changed]
    others = [row.correction.feature_id for row in rows if not row.is_changed]
    words = "The outline before is a thin dashed line, the outline after a solid one."
    if changed:
        words += f" Changed here: {ids_in_words(changed)}."
    if others:
        words += f" Left alone here: {ids_in_words(others)}."
    return words
