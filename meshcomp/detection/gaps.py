"""Open slots: outside walls that face each other with nothing but void between."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.planes import Couples, Planes, nearest_of, span_along
from meshcomp.sections import Outlines

__all__ = ["gaps_of"]

_LEAST_REACH = 0.5  # of the width: an open slot is at least so long, or so high
_LEAST_SIDE = 1.0  # mm, of the stretch that both walls have
_SHALLOW = (1.2, 20.0)  # mm: no higher and no longer, a gap is one of text
_EDGE = 0.02  # mm, beside the void: what touches it there is no obstacle


@dataclass(frozen=True, slots=True, eq=False)
class _Levels:
    """The sections of a part, by height; what was put in order is kept."""

    outlines: Outlines
    heights: NDArray[np.float64]  # distinct, mm, ascending
    panels: NDArray[np.int64]  # by height
    bounds: NDArray[np.int64]  # of the panels of each height, and the end
    following: NDArray[np.int64]
    before: NDArray[np.int64]
    sorted: dict[tuple[int, float, float], tuple[NDArray[np.int64], NDArray[np.float64]]]

    def between(self, low: float, high: float) -> int | None:
        """Return the number of the height nearest the middle of two; None if none is."""
        first, last = np.searchsorted(self.heights, [low, high]).tolist()
        if first == last:
            return None
        off = np.abs(self.heights[first:last] - (low + high) / 2)
        return int(first + np.argmin(off))

    def near(
        self, height: int, normal: NDArray[np.float64], stretch: tuple[float, float]
    ) -> NDArray[np.int64]:
        """Lines at a height with an end in a stretch along a direction."""
        key = (height, *np.round(normal, 6).tolist())
        if key not in self.sorted:
            mine = self.panels[self.bounds[height] : self.bounds[height + 1]]
            at = self.outlines.points[mine] @ normal
            order = np.argsort(at, kind="stable")
            self.sorted[key] = mine[order], at[order]
        panels, at = self.sorted[key]
        starting = panels[slice(*np.searchsorted(at, stretch).tolist())]
        return np.union1d(starting, self.before[starting])


def _levels(outlines: Outlines) -> _Levels:
    heights, at = np.unique(outlines.heights, return_inverse=True)
    of_panel = at.ravel()[outlines.ring]
    order = np.argsort(of_panel, kind="stable")
    bounds = np.searchsorted(of_panel[order], np.arange(len(heights) + 1))
    ways = outlines.following, outlines.before
    return _Levels(outlines, heights, order, bounds, *ways, {})


def gaps_of(planes: Planes, couples: Couples, outlines: Outlines) -> Couples:
    """Find the outside walls that bound an open slot.

    Two walls do that face each other, each the nearest that the other faces, with no
    outline of the part's sections between them; the stretch that both have is at least
    half as long, or as high, as they are apart.
    """
    outside = ~planes.is_internal[couples.first]
    facing = couples.where(outside & (couples.distance < 0))
    mutual = facing.where(nearest_of(facing, len(planes.faces)))
    reach = np.maximum(mutual.width, mutual.height)
    width = np.abs(mutual.distance)
    shallow, short = _SHALLOW
    large = np.minimum(mutual.width, mutual.height) >= _LEAST_SIDE
    large &= (mutual.height > shallow) | (mutual.width > short)
    likely = mutual.where(large & (reach >= _LEAST_REACH * width))
    levels = _levels(outlines)
    clear = [
        _is_clear(planes, pair, levels)
        for pair in zip(likely.first.tolist(), likely.second.tolist(), strict=True)
    ]
    return likely.where(np.array(clear, dtype=bool))


def _is_clear(planes: Planes, couple: tuple[int, int], levels: _Levels) -> bool:
    """Whether no outline is between two walls, at the middle of their common height."""
    boxes = planes.boxes[list(couple)]
    height = levels.between(float(boxes[:, 0, 2].max()), float(boxes[:, 1, 2].min()))
    if height is None:
        return False
    normal = planes.normals[couple[0], :2]
    along = np.array([-normal[1], normal[0]])
    spans = span_along(boxes, np.tile(along, (2, 1)))
    reach = (float(spans[:, 0].max()) + _EDGE, float(spans[:, 1].min()) - _EDGE)
    ends = boxes.mean(axis=1)[:, :2] @ normal
    void = (float(ends.min()) + _EDGE, float(ends.max()) - _EDGE)
    outlines, mine = levels.outlines, levels.near(height, normal, void)
    frame = np.array([normal, along])
    starts = outlines.points[mine] @ frame.T
    stops = outlines.points[levels.following[mine]] @ frame.T
    return not _meets(starts, stops, void, reach)


def _meets(
    starts: NDArray[np.float64],
    stops: NDArray[np.float64],
    first: tuple[float, float],
    second: tuple[float, float],
) -> bool:
    """Whether any line, (n, 2) from and to, passes through a box open at its sides."""
    low, high = np.minimum(starts, stops), np.maximum(starts, stops)
    near = (high[:, 0] > first[0]) & (low[:, 0] < first[1])
    near &= (high[:, 1] > second[0]) & (low[:, 1] < second[1])
    starts, ways = starts[near], (stops - starts)[near]
    # The share of each line that lies in the first stretch, and where it is then.
    still = np.abs(ways[:, 0]) < 1e-12  # noqa: PLR2004 - mm
    way = np.where(still, 1.0, ways[:, 0])
    shares = [np.where(still, s, (e - starts[:, 0]) / way) for s, e in enumerate(first)]
    begin = np.clip(np.minimum(*shares), 0, 1)
    end = np.clip(np.maximum(*shares), 0, 1)
    at = [starts[:, 1] + share * ways[:, 1] for share in (begin, end)]
    return bool(
        (
            (np.maximum(*at) > second[0]) & (np.minimum(*at) < second[1]) & (begin < end)
        ).any()
    )
