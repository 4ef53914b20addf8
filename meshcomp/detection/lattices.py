"""Places in rows and columns at an even pitch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.neighbours import nearest, neighbours

__all__ = ["Lattice", "best_lattice"]

_NEIGHBOURS = 6
_MOST_STEPS = 24  # different ways from a place to its neighbours
_LEAST_ROW = 3
_SQUARE = 1e-3  # cosine


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Lattice:
    """Places at an even pitch, row by row."""

    rows: NDArray[np.int64]
    pitch: tuple[float, ...]  # mm, the shorter first; one if there is one row
    counts: tuple[int, ...]  # along each pitch


def best_lattice(
    places: NDArray[np.float64], free: NDArray[np.bool_], limit: float
) -> Lattice | None:
    """Find the grid, or the row of three or more, with most places.

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
    if not options:
        return None
    best = max(options, key=lambda o: (len(o.rows), len(o.counts), -sum(o.pitch)))
    return Lattice(rows=mine[best.rows], pitch=best.pitch, counts=best.counts)


def _steps(places: NDArray[np.float64], limit: float) -> list[NDArray[np.float64]]:
    """Ways from places to their neighbours, those met most often first, (2,) each."""
    near = neighbours(places, _NEIGHBOURS)
    ways = (places[near] - places[:, None]).reshape(-1, 2)
    # One of two opposite ways: to the right, or straight up.
    flip = (ways[:, 0] < -limit) | ((np.abs(ways[:, 0]) <= limit) & (ways[:, 1] < 0))
    ways = np.where(flip[:, None], -ways, ways)
    cells, index, counts = np.unique(
        np.round(ways / limit), axis=0, return_inverse=True, return_counts=True
    )
    index = index.ravel()
    order = np.lexsort([cells[:, 1], cells[:, 0], (cells**2).sum(axis=1), -counts])
    return [np.median(ways[index == k], axis=0) for k in order[:_MOST_STEPS]]


def _next(
    places: NDArray[np.float64], step: NDArray[np.float64], limit: float
) -> NDArray[np.int64]:
    """Row of the place one step on from each, -1 if there is none."""
    return nearest(places, places + step, limit)


def _runs(following: NDArray[np.int64]) -> list[list[int]]:
    """Places that follow on each other, (2 or more) each."""
    starts = np.setdiff1d(np.flatnonzero(following >= 0), following)
    runs = []
    for start in starts.tolist():
        run = [start]
        while following[run[-1]] >= 0:
            run.append(int(following[run[-1]]))
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
        wide = float(np.linalg.norm(other))
        if abs(float(other @ step)) > _SQUARE * pitch * wide or wide < pitch:
            continue
        found += [
            Lattice(
                rows=np.concatenate([np.array(run) for run in rows]),
                pitch=(pitch, wide),
                counts=(len(rows[0]), len(rows)),
            )
            for rows in _side_by_side(of_start, following)
        ]
    return found


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
