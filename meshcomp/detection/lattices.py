"""Places in rows and columns at an even pitch."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import medians
from meshcomp.detection.neighbours import nearest, neighbours
from meshcomp.topology import components

__all__ = ["Lattice", "best_lattice"]

_NEIGHBOURS = 6
_MOST_STEPS = 24  # different ways from a place to its neighbours
_LEAST_ROW = 3
_LEAST_BUT_ONE = 5  # of a grid with an empty place
_SQUARE = 1e-3  # cosine
_LEAST_STEP = 3.0  # limits: shorter ways may end where they began


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Lattice:
    """Places at an even pitch, row by row."""

    rows: NDArray[np.int64]
    pitch: tuple[float, ...]  # mm, the shorter first; one if there is one row
    counts: tuple[int, ...]  # along each pitch, with the one that is missing
    empty: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 2)))  # mm


def best_lattice(
    places: NDArray[np.float64], free: NDArray[np.bool_], limit: float
) -> Lattice | None:
    """Find the grid, or the row of three or more, with most places.

    Of a grid of six and more one place may be empty.

    Parameters
    ----------
    places : (n, 2) float
        In mm.
    free : (n,) bool
        Which of them may be used.
    limit : float
        How far a place may be off, mm.
    """
    mine = np.flatnonzero(free)
    if len(mine) < _LEAST_ROW:
        return None
    steps = _steps(places[mine], limit)
    nexts = [_next(places[mine], step, limit) for step in steps]
    options = [
        option
        for number, step in enumerate(steps)
        for option in _along(steps, nexts, _runs(nexts[number]), step)
    ]
    options += _with_one_missing(places[mine], steps, nexts, limit)
    if not options:
        return None
    best = max(
        options,
        key=lambda o: (len(o.rows), -len(o.empty), len(o.counts), -sum(o.pitch)),
    )
    return replace(best, rows=mine[best.rows])


def _steps(places: NDArray[np.float64], limit: float) -> list[NDArray[np.float64]]:
    """Ways from places to their neighbours, those met most often first, (2,) each."""
    near = neighbours(places, _NEIGHBOURS)
    ways = (places[near] - places[:, None]).reshape(-1, 2)
    ways = ways[np.hypot(*ways.T) > _LEAST_STEP * limit]
    # One of two opposite ways: to the right, or straight up.
    flip = (ways[:, 0] < -limit) | ((np.abs(ways[:, 0]) <= limit) & (ways[:, 1] < 0))
    ways = np.where(flip[:, None], -ways, ways)
    cells, index, counts = np.unique(
        np.round(ways / limit), axis=0, return_inverse=True, return_counts=True
    )
    index = index.ravel()
    order = np.lexsort([cells[:, 1], cells[:, 0], (cells**2).sum(axis=1), -counts])
    return [medians(ways[index == k]) for k in order[:_MOST_STEPS]]


def _next(
    places: NDArray[np.float64], step: NDArray[np.float64], limit: float
) -> NDArray[np.int64]:
    """Row of the place one step on from each, -1 if there is none."""
    return nearest(places, places + step, limit)


def _runs(following: NDArray[np.int64]) -> list[list[int]]:
    """Places that follow on each other, (2 or more) each."""
    onward = following.tolist()
    preceded = set(onward)
    runs = []
    for start, second in enumerate(onward):
        if second < 0 or start in preceded:
            continue
        run = [start, second]
        while onward[run[-1]] >= 0:
            run.append(onward[run[-1]])
        runs.append(run)
    return runs


def _along(
    steps: list[NDArray[np.float64]],
    nexts: list[NDArray[np.int64]],
    runs: list[list[int]],
    step: NDArray[np.float64],
) -> list[Lattice]:
    """Rows along one step, and grids of equally long rows side by side."""
    pitch = float(np.linalg.norm(step))
    found = [
        Lattice(rows=np.array(run), pitch=(pitch,), counts=(len(run),))
        for run in runs
        if len(run) >= _LEAST_ROW
    ]
    of_start = {run[0]: run for run in runs}
    for other, following in zip(steps, nexts, strict=True):
        if not _are_square(step, other):
            continue
        wide = float(np.linalg.norm(other))
        found += [
            Lattice(
                rows=np.concatenate([np.array(run) for run in rows]),
                pitch=(pitch, wide),
                counts=(len(rows[0]), len(rows)),
            )
            for rows in _side_by_side(of_start, following)
        ]
    return found


def _are_square(step: NDArray[np.float64], other: NDArray[np.float64]) -> bool:
    """Whether a step is square to a shorter or equal one."""
    (a, b), (x, y) = step.tolist(), other.tolist()  # asked often: no arrays of two
    pitch, wide = math.hypot(a, b), math.hypot(x, y)
    return wide >= pitch and abs(a * x + b * y) <= _SQUARE * pitch * wide


def _with_one_missing(
    places: NDArray[np.float64],
    steps: list[NDArray[np.float64]],
    nexts: list[NDArray[np.int64]],
    limit: float,
) -> list[Lattice]:
    """Grids of which all places but one are there, and hang together by single steps."""
    found = []
    for i, step in enumerate(steps):
        for j, other in enumerate(steps):
            if not _are_square(step, other):
                continue
            rows = np.arange(len(places))
            joined = [np.column_stack([rows, nexts[k]])[nexts[k] >= 0] for k in (i, j)]
            labels = components(len(places), np.concatenate(joined))
            order = np.argsort(labels, kind="stable")
            for mine in np.split(order, np.flatnonzero(np.diff(labels[order])) + 1):
                if len(mine) >= _LEAST_BUT_ONE:
                    found += _but_one(places, mine, (step, other), limit)
    return found


def _but_one(
    places: NDArray[np.float64],
    rows: NDArray[np.int64],
    steps: tuple[NDArray[np.float64], NDArray[np.float64]],
    limit: float,
) -> list[Lattice]:
    """Return the grid that some places are but for one of it."""
    away = places[rows] - places[rows[0]]
    basis = np.array(steps)
    at = np.round(away @ np.linalg.inv(basis)).astype(int)
    at -= at.min(axis=0)
    counts = at.max(axis=0) + 1
    if counts.min() < 2 or counts.prod() != len(rows) + 1:  # noqa: PLR2004 - rows
        return []
    origin = (places[rows] - at @ basis).mean(axis=0)
    if np.linalg.norm(origin + at @ basis - places[rows], axis=1).max() > 2 * limit:
        return []
    is_there = np.zeros(counts, dtype=bool)
    is_there[at[:, 0], at[:, 1]] = True
    inside = (places - origin) @ np.linalg.inv(basis)
    amid = (np.abs(inside - (counts - 1) / 2) < counts / 2).all(axis=1)
    # Others amid the rows: a wider pitch than the real one leaves them out.
    if is_there.sum() != len(rows) or amid.sum() != len(rows):
        return []
    return [
        Lattice(
            rows=rows[np.lexsort([at[:, 0], at[:, 1]])],
            pitch=(float(np.linalg.norm(steps[0])), float(np.linalg.norm(steps[1]))),
            counts=(int(counts[0]), int(counts[1])),
            empty=origin + np.argwhere(~is_there) @ basis,
        )
    ]


def _side_by_side(
    of_start: dict[int, list[int]], following: NDArray[np.int64]
) -> list[list[list[int]]]:
    """Stack runs of one length whose first places follow on each other, two or more."""
    onward = {
        start: int(following[start])
        for start, run in of_start.items()
        if int(following[start]) in of_start
        and len(of_start[int(following[start])]) == len(run)
    }
    first = sorted(set(onward) - set(onward.values()))
    found = []
    for start in first:
        chain = [start]
        while chain[-1] in onward:
            chain.append(onward[chain[-1]])
        found.append([of_start[k] for k in chain])
    return found
