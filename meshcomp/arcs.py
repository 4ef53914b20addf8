"""Arcs of circles in the outlines of sections."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, lengths
from meshcomp.sections import Outlines

__all__ = ["Arcs", "arcs"]

_LEAST_PANELS = 4  # fewer say nothing of a circle
_WIDEST_PANEL = np.radians(50.0)  # eight facets make a circle, six make a hexagon


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Arcs:
    """Runs of panels whose corners lie on one circle, as flat arrays.

    Rows of `panel`, `start` and `width` belong to arc `arc_of_panel`; an end panel may
    belong to two arcs.
    """

    centres: NDArray[np.float64]  # (a, 2) mm
    radii: NDArray[np.float64]  # (a,) mm
    is_internal: NDArray[np.bool_]  # (a,) material lies outside the circle
    spans: NDArray[np.float64]  # (a,) radians
    arc_of_panel: NDArray[np.int64]  # (n,) sorted
    panel: NDArray[np.int64]  # (n,)
    start: NDArray[np.float64]  # (n,) lower angle of the panel about the centre, radians
    width: NDArray[np.float64]  # (n,) radians


def arcs(outlines: Outlines, upright: NDArray[np.bool_], limit: float) -> Arcs:
    """Find the arcs of four or more panels.

    Parameters
    ----------
    outlines : Outlines
        Sections across one direction.
    upright : (p,) bool
        Which panels stand along the cutting direction; others take part in no arc.
    limit : float
        How far a corner may be off its true place, mm.
    """
    following, before = outlines.following, outlines.before
    centres, radii, errors, turns = _circles_at_corners(outlines, limit)
    apart = lengths(centres - centres[following])
    same = (
        upright
        & (turns * turns[following] > 0)
        & (apart <= errors + errors[following])
        & (np.abs(radii - radii[following]) <= errors + errors[following])
    )
    runs = _runs(outlines, same, before)
    corner, of_corner = _corners_of(outlines, runs)
    circle = np.column_stack([centres[corner], radii[corner]])
    medians = np.column_stack(
        [_medians(of_corner, circle[:, k], len(runs.first)) for k in range(3)]
    )
    return _described(outlines, runs, medians, turns[runs.first] < 0)


@dataclass(frozen=True, slots=True, eq=False)
class _Runs:
    """Cyclic runs of panels: `count` panels from panel `first` of ring `ring`."""

    first: NDArray[np.int64]
    count: NDArray[np.int64]
    ring: NDArray[np.int64]
    is_closed: NDArray[np.bool_]


def _circles_at_corners(
    outlines: Outlines, limit: float
) -> tuple[
    NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]
]:
    """Circle through each corner and its two neighbours, with its error, and the turn."""
    points = outlines.points
    before = points[outlines.before] - points
    after = points[outlines.following] - points
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    chord = lengths(after - before)
    height = np.abs(cross) / np.maximum(chord, 1e-12)
    straight = height <= 2 * limit
    safe = np.where(straight, 1.0, 2 * cross)
    squares_b, squares_a = dot(before, before), dot(after, after)
    x = (after[:, 1] * squares_b - before[:, 1] * squares_a) / safe
    y = (before[:, 0] * squares_a - after[:, 0] * squares_b) / safe
    radii = np.where(straight, 0.0, np.hypot(x, y))
    # The centre moves by about R/h for each unit that a corner is off.
    errors = 4 * limit * radii / np.maximum(height, 1e-12) + 2 * limit
    errors = np.minimum(errors, 0.2 * radii)
    centres = points + np.column_stack([x, y])
    return centres, radii, errors, np.where(straight, 0.0, -cross)


def _runs(outlines: Outlines, same: NDArray[np.bool_], before: NDArray[np.int64]) -> _Runs:
    """Find the runs of panels whose two corners agree, long enough to be arcs."""
    ring = outlines.ring
    sizes = np.diff(outlines.firsts)
    closed = np.bincount(ring, same, len(sizes)) == sizes
    begins = same & ~same[before]
    begins[outlines.firsts[:-1][closed]] = True
    first = np.flatnonzero(begins)
    # Panels in which a run of the same ring goes on, counted from its first one.
    label = np.cumsum(begins) - 1
    last_run = np.searchsorted(first, outlines.firsts[1:]) - 1
    early = same & (label < np.searchsorted(first, outlines.firsts[:-1])[ring])
    label = np.where(early, last_run[ring], label)
    count = np.bincount(label[same], minlength=len(first))
    runs = _Runs(first, count, ring[first], closed[ring[first]])
    # Both end corners carry a panel more, whose far corner is on the circle too: that is
    # how their own circle was found.
    panels = np.minimum(count + np.where(runs.is_closed, 0, 2), sizes[runs.ring])
    good = panels >= _LEAST_PANELS
    return _Runs(first[good], count[good], runs.ring[good], runs.is_closed[good])


def _corners_of(
    outlines: Outlines, runs: _Runs
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Corners of each run, with the run of each: one more than panels, unless closed."""
    return _steps(outlines, runs, runs.first, runs.count + ~runs.is_closed)


def _steps(
    outlines: Outlines, runs: _Runs, first: NDArray[np.int64], counts: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Panels first, first + 1, ... round the ring of each run, with the run of each."""
    run = np.repeat(np.arange(len(first)), counts)
    step = np.arange(len(run)) - np.repeat(np.cumsum(counts) - counts, counts)
    begin = outlines.firsts[runs.ring]
    size = outlines.firsts[runs.ring + 1] - begin
    return begin[run] + (first[run] - begin[run] + step) % size[run], run


def _medians(
    group: NDArray[np.int64], values: NDArray[np.float64], count: int
) -> NDArray[np.float64]:
    """Median of the values of each group, (count,); no group is empty."""
    ordered = values[np.lexsort([values, group])]
    sizes = np.bincount(group, minlength=count)
    ends = np.cumsum(sizes)
    low = ordered[ends - sizes + (sizes - 1) // 2]
    return np.asarray((low + ordered[ends - sizes + sizes // 2]) / 2)


def _described(
    outlines: Outlines,
    runs: _Runs,
    circles: NDArray[np.float64],
    is_internal: NDArray[np.bool_],
) -> Arcs:
    sizes = np.diff(outlines.firsts)[runs.ring]
    counts = np.minimum(runs.count + np.where(runs.is_closed, 0, 2), sizes)
    first = np.where(runs.is_closed, runs.first, outlines.before[runs.first])
    panel, run = _steps(outlines, runs, first, counts)
    a = outlines.points[panel] - circles[run, :2]
    b = outlines.points[outlines.following[panel]] - circles[run, :2]
    begin = np.arctan2(a[:, 1], a[:, 0])
    step = (np.arctan2(b[:, 1], b[:, 0]) - begin + np.pi) % (2 * np.pi) - np.pi
    # A chord joins two points of a circle too, but is no facet of it.
    facet = np.abs(step) <= _WIDEST_PANEL
    panel, run, begin, step = panel[facet], run[facet], begin[facet], step[facet]
    return Arcs(
        centres=circles[:, :2],
        radii=circles[:, 2],
        is_internal=is_internal,
        spans=np.abs(np.bincount(run, step, len(circles))),
        arc_of_panel=run,
        panel=panel,
        start=begin + np.minimum(step, 0.0),
        width=np.abs(step),
    )
