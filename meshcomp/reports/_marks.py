"""Marks of features in a plan view: crosses in bores, lines across walls.

Lengths are in mm, y points downwards.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from meshcomp.features import Cylinder, Wall
from meshcomp.reports._dimensions import dimension_line, lines_of
from meshcomp.reports._rows import Row
from meshcomp.results import PlanView

__all__ = ["Mark", "mark_of", "off_circles", "tone_of"]

_STANDING = 1.0  # degrees: a bore leaning more is no circle in a plan view


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """The middle of a feature, with its planned circle or the line across its walls."""

    id: str
    x: float
    y: float
    tone: str  # "added", "removed" or "kept"
    shape: str  # "cross" or "across"
    path: str  # SVG path of the shape
    radius: float | None = None
    line: tuple[float, float, float, float] | None = None


def tone_of(offset: float) -> str:
    """Name what an offset does to the material.

    Examples
    --------
    >>> tone_of(-0.115), tone_of(0.06), tone_of(0.0)
    ('removed', 'added', 'kept')
    """
    if offset == 0:
        return "kept"
    return "added" if offset > 0 else "removed"


def mark_of(row: Row, middle: tuple[float, float], font: float) -> Mark:
    """Return a cross in the middle of a feature, or a line from wall to wall."""
    name, tone = row.correction.feature_id, tone_of(row.correction.offset)
    feature = row.feature
    size = row.planned if row.achieved is None else row.achieved
    x, y = middle
    mark = Mark(id=name, x=x, y=y, tone=tone, shape="cross", path=_cross(x, y, 0.45 * font))
    if isinstance(feature, Cylinder) and feature.build_angle <= _STANDING and size:
        return replace(mark, radius=size / 2)
    if isinstance(feature, Wall) and feature.nominal_size is not None:
        line = _line_across(feature, x, y)
        return replace(mark, shape="across", path=_ended_line(line, 0.6 * font), line=line)
    return mark


def _cross(x: float, y: float, r: float) -> str:
    return f"M{x - r:.3f} {y:.3f}h{2 * r:.3f}M{x:.3f} {y - r:.3f}v{2 * r:.3f}"


def _ended_line(line: tuple[float, float, float, float], r: float) -> str:
    """Return a line with an arrow head at both ends, as an SVG path."""
    start, end = np.array(line).reshape(2, 2)
    way = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
    aside = np.array([-way[1], way[0]]) * 0.3
    path = f"M{start[0]:.3f} {start[1]:.3f}L{end[0]:.3f} {end[1]:.3f}"
    for tip, inwards in ((start, way), (end, -way)):
        (a, b), (c, d) = (tip + r * (inwards + side) for side in (aside, -aside))
        path += f"M{a:.3f} {b:.3f}L{tip[0]:.3f} {tip[1]:.3f}L{c:.3f} {d:.3f}"
    return path


def _line_across(wall: Wall, x: float, y: float) -> tuple[float, float, float, float]:
    """Return the line from plane to plane through a mark."""
    way = wall.direction[:2] * (1.0, -1.0)
    middle = np.array([x, y])
    at = float(middle @ way)
    (a, b), (c, d) = (middle + (end - at) * way for end in (wall.start, wall.end))
    return float(a), float(b), float(c), float(d)


def off_circles(
    view: PlanView, rows: Sequence[Row], marks: Sequence[Mark], font: float
) -> tuple[Mark, ...]:
    """Move the lines across walls to where both walls are and no circle is in the way."""
    taken = [(m.x, -m.y, m.radius) for m in marks if m.radius]
    moved = dict(enumerate(marks))
    lengths = {k: math.dist(m.line[:2], m.line[2:]) for k, m in moved.items() if m.line}
    lines = lines_of(view.before)
    # The shortest has the first choice; long ones keep off its line too.
    for k in sorted(lengths, key=lengths.__getitem__):
        wall = rows[k].feature
        circles = np.array(taken).reshape(-1, 3)
        line = (
            dimension_line(wall, lines, circles, 0.8 * font)
            if isinstance(wall, Wall)
            else None
        )
        if line is not None:
            moved[k] = _across(marks[k], line, font)
        taken.append((moved[k].x, -moved[k].y, 0.3 * font))
    return tuple(moved.values())


def _across(mark: Mark, line: tuple[float, float, float, float], font: float) -> Mark:
    """Put a mark on a line across its walls, (x, y, x, y) with y upwards."""
    a, b, c, d = line
    down = (a, -b, c, -d)
    return replace(
        mark,
        x=(a + c) / 2,
        y=-(b + d) / 2,
        line=down,
        path=_ended_line(down, 0.6 * font),
    )
