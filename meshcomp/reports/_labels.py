"""Places for the labels of a plan view, so that none lies on another or on a feature.

Boxes are (left, top, right, bottom) in the picture's units, y downwards.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["LARGE", "Label", "Wish", "placed"]

LARGE = 4.0  # radius of a circle that labels may lie in, in font heights
_TINY = 1e-9
_CHARACTER = 0.6  # width of a digit in a sans-serif font, of its height
_LINE = 1.15  # distance of two lines, of the font's height
_BASE = 0.76  # of a line, from its top to the foot of its letters
_ANGLES = np.radians([0, 180, 90, 270, 30, 150, 330, 210, 60, 120, 240, 300])
_WAYS = np.column_stack([np.cos(_ANGLES), -np.sin(_ANGLES)])
_WAYS_ABSOLUTE = np.abs(_WAYS)
# Gaps between feature and label, in font heights.
_STEPS = (0.5, 1.6, 3.0, 5.0)
# Places on a line, of its length, the best first.
_SHARES = np.array([0.22, 0.78, 0.28, 0.72, 0.16, 0.84, 0.36, 0.64, 0.1, 0.9, 0.44, 0.5])


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What to write beside a feature: the fuller texts first, each of some lines."""

    id: str
    texts: tuple[tuple[str, ...], ...]
    x: float
    y: float
    radius: float
    line: tuple[float, float, float, float] | None = None  # to write on, if it is long


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """Lines of text, with a leader to the feature where it is far."""

    id: str
    lines: tuple[str, ...]
    x: float  # middle
    top: float  # base line of the first line
    leader_ends: tuple[float, float, float, float] | None

    @property
    def leader(self) -> str | None:
        """The leader as an SVG path."""
        if self.leader_ends is None:
            return None
        a, b, c, d = self.leader_ends
        return f"M{a:.3f} {b:.3f}L{c:.3f} {d:.3f}"


def placed(
    wishes: Sequence[Wish],
    font: float,
    *,
    frame: tuple[float, float, float, float],
    outline: NDArray[np.float64],
) -> tuple[list[Label], list[str]]:
    """Find a free place for each label.

    Parameters
    ----------
    wishes : sequence of Wish
        The first are served first.
    font : float
        Height of the font, in the picture's units.
    frame : (left, top, right, bottom)
        Labels stay inside.
    outline : (n, 2) float
        Points that no label may cover; small circles are covered by none anyway.

    Returns
    -------
    labels : list of Label
    without : list of str
        Ids for which there was no room.
    """
    dots = [(x, y, 0.15 * font) for x, y in outline.tolist()]
    # Lines and large circles of others are kept clear only where there is room.
    strokes = {wish.id: _dots_on(wish.line, font) for wish in wishes if wish.line}
    # Of a large circle only the line is in the way, which the outline has.
    rounds = [(w.x, w.y, w.radius if w.radius <= LARGE * font else 0.0) for w in wishes]
    circles = np.array([*rounds, *dots]).reshape(-1, 3)
    boxes, leaders = np.zeros((0, 4)), np.zeros((0, 3))
    labels: list[Label] = []
    without: list[str] = []
    for number, wish in enumerate(wishes):
        circles[number, 2] = -1.0  # a label may touch its own feature
        others = [dots for name, dots in strokes.items() if name != wish.id]
        strict = np.concatenate([circles, leaders, *others])
        found = _first_free(
            wish, font, frame, (strict, boxes, _foreign(wish, wishes, font))
        ) or _first_free(wish, font, frame, (circles, boxes, np.zeros((0, 3))))
        circles[number, 2] = rounds[number][2]
        if found is None:
            without.append(wish.id)
            continue
        label, box = found
        labels.append(label)
        boxes = np.vstack([boxes, box])
        leaders = np.vstack([leaders, _dots_on(label.leader_ends, font)])
    return labels, without


def _dots_on(
    line: tuple[float, float, float, float] | None, font: float
) -> NDArray[np.float64]:
    """Small circles closely along a line, (n, 3)."""
    if line is None:
        return np.zeros((0, 3))
    start, end = np.array(line).reshape(2, 2)
    count = int(np.ceil(np.hypot(*(end - start)) / (font / 2))) + 1
    points = start + np.linspace(0.0, 1.0, count)[:, None] * (end - start)
    return np.column_stack([points, np.full(count, 0.15 * font)])


def _foreign(wish: Wish, wishes: Sequence[Wish], font: float) -> NDArray[np.float64]:
    """Large circles in which a label would be taken for another feature's, (k, 3)."""
    return np.array(
        [
            (w.x, w.y, w.radius)
            for w in wishes
            if w.radius > LARGE * font
            and w is not wish
            and (
                w.radius < wish.radius
                or np.hypot(w.x - wish.x, w.y - wish.y) > w.radius - _TINY
            )
        ]
    ).reshape(-1, 3)


def _first_free(
    wish: Wish,
    font: float,
    frame: tuple[float, float, float, float],
    obstacles: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
) -> tuple[Label, NDArray[np.float64]] | None:
    """Return the fullest text that finds room, at the nearest place."""
    for lines in wish.texts:
        half = _half_size(lines, font)
        # Only the shortest text may go far: a long leader is worth less than a size.
        steps = _STEPS if lines is wish.texts[-1] else _STEPS[:3]
        middles = np.concatenate(list(_middles(wish, half, font, steps)))
        boxes = np.hstack([middles - half, middles + half])
        boxes = boxes[_inside(boxes, frame)]
        for box in boxes[_is_free(boxes, *obstacles)]:
            label = _label(wish, lines, half, font, box)
            if not _runs_over(label, obstacles[1], font):
                return label, box
    return None


def _label(
    wish: Wish,
    lines: tuple[str, ...],
    half: NDArray[np.float64],
    font: float,
    box: NDArray[np.float64],
) -> Label:
    x, y = ((box[:2] + box[2:]) / 2).tolist()
    return Label(
        id=wish.id,
        lines=lines,
        x=x,
        top=y - (len(lines) / 2 - _BASE) * _LINE * font,
        leader_ends=_leader(wish, (x, y), half, font),
    )


def _runs_over(label: Label, boxes: NDArray[np.float64], font: float) -> bool:
    """Whether a label's leader meets another label."""
    dots = _dots_on(label.leader_ends, font)
    return bool(len(boxes) and len(dots) and _touch(boxes, dots).any())


def _half_size(lines: Sequence[str], font: float) -> NDArray[np.float64]:
    longest = max(len(line) for line in lines)
    return np.array([_CHARACTER * longest + 0.3, _LINE * len(lines) + 0.1]) * font / 2


def _middles(
    wish: Wish, half: NDArray[np.float64], font: float, steps: Sequence[float]
) -> Iterator[NDArray[np.float64]]:
    """Yield middles to try: on the line or in a large circle, about it, further off."""
    middle = np.array([wish.x, wish.y])
    widths = _WAYS_ABSOLUTE @ half  # of the box, along each way
    if wish.line is not None:
        yield _along(wish.line, half, font)
    if wish.radius > LARGE * font:
        yield middle - [[0.0, half[1] + 0.6 * font]]
        within = _WAYS * (wish.radius - widths - 0.7 * font)[:, None]
        covers = (np.abs(within) < half + 0.5 * font).all(axis=1)  # the middle's cross
        yield middle + within[~covers]
    for step in steps:
        yield middle + _WAYS * (wish.radius + widths + step * font)[:, None]


def _along(
    line: tuple[float, float, float, float], half: NDArray[np.float64], font: float
) -> NDArray[np.float64]:
    """Return middles beside a line such that the box stays between its ends."""
    start, end = np.array(line).reshape(2, 2)
    length = float(np.hypot(*(end - start)))
    way = (end - start) / max(length, _TINY)
    aside = np.array([-way[1], way[0]])
    # Half of the box along the line, as a share of the line.
    reach = float(np.abs(way) @ half) / max(length, _TINY)
    shares = _SHARES[(reach < _SHARES) & (1 - reach > _SHARES)]
    off = float(np.abs(aside) @ half) + 0.3 * font
    on_line = start + shares[:, None] * (end - start)
    sides = np.stack([on_line + off * aside, on_line - off * aside], axis=1)
    return np.asarray(sides.reshape(-1, 2))


def _inside(
    boxes: NDArray[np.float64], frame: tuple[float, float, float, float]
) -> NDArray[np.bool_]:
    low, high = np.array(frame[:2]), np.array(frame[2:])
    fits = np.hstack([boxes[:, :2] >= low, boxes[:, 2:] <= high])
    return np.asarray(fits.all(axis=1), dtype=np.bool_)


def _is_free(
    boxes: NDArray[np.float64],
    circles: NDArray[np.float64],
    labels: NDArray[np.float64],
    foreign: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Tell for each box whether it meets no circle, no label and lies in no other disc."""
    if not len(boxes):
        return np.zeros(0, dtype=np.bool_)
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    # Most obstacles are far from every box: leave them out first.
    near = circles
    for axis in (0, 1):
        at, reach = near[:, axis], near[:, 2]
        near = near[(at + reach >= low[axis]) & (at - reach <= high[axis])]
    hit = _touch(boxes, near).any(axis=1)
    meets = (labels[:, :2] < high) & (labels[:, 2:] > low)
    close = labels[meets.all(axis=1)]
    a, b = boxes[:, None], close[None]
    overlap = (a[..., :2] < b[..., 2:]) & (a[..., 2:] > b[..., :2])
    hit |= np.logical_and(overlap[..., 0], overlap[..., 1]).any(axis=1)
    middles = (boxes[:, None, :2] + boxes[:, None, 2:]) / 2 - foreign[None, :, :2]
    hit |= (np.hypot(middles[..., 0], middles[..., 1]) < foreign[:, 2]).any(axis=1)
    return np.asarray(~hit, dtype=np.bool_)


def _touch(boxes: NDArray[np.float64], circles: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether each box meets each circle, (b, k); those of negative radius meet nothing."""
    x, y, r = np.ascontiguousarray(circles[circles[:, 2] >= 0].T)
    left, top, right, bottom = boxes.T[:, :, None]
    aside = np.maximum(np.maximum(left - x, x - right), 0.0)
    above = np.maximum(np.maximum(top - y, y - bottom), 0.0)
    return np.asarray(aside * aside + above * above <= r * r)


def _leader(
    wish: Wish, middle: tuple[float, float], half: NDArray[np.float64], font: float
) -> tuple[float, float, float, float] | None:
    """Return a line from the feature's edge to the label's edge, where it is far."""
    start = _start(wish, np.array(middle))
    way = np.array(middle) - start
    length = max(float(np.hypot(*way)), _TINY)
    # From the label's middle to its edge, along the leader.
    reach = float((half * length / np.maximum(np.abs(way), _TINY)).min())
    if length - wish.radius - reach < 1.2 * font:
        return None
    (a, b), (c, d) = (
        start + along / length * way for along in (wish.radius, length - reach)
    )
    return float(a), float(b), float(c), float(d)


def _start(wish: Wish, middle: NDArray[np.float64]) -> NDArray[np.float64]:
    """Where a leader starts: the middle of a feature, or the nearest point of its line."""
    if wish.line is None:
        return np.array([wish.x, wish.y])
    start, end = np.array(wish.line).reshape(2, 2)
    way = end - start
    share = float((middle - start) @ way) / max(float(way @ way), _TINY)
    return np.asarray(start + min(max(share, 0.0), 1.0) * way)
