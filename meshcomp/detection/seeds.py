"""Arcs of one circle, seen in any number of sections, linked into one proposal."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import different, runs
from meshcomp.arcs import Arcs
from meshcomp.detection.turns import LEAST_SPAN, coverage
from meshcomp.sections import Outlines
from meshcomp.topology import components

__all__ = ["Seed", "linked"]

_SAME_CIRCLE = 0.02  # mm, between centres and between radii
_FEW = 500
_ONE_CIRCLE = 0.002  # mm: circles nearer than this need not be compared


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Seed:
    """A circle proposed by sections or by a patch, and the faces it was seen on."""

    centre: NDArray[np.float64]  # (2,) mm
    radius: float
    is_internal: bool
    count: int  # panels of its longest arc, or faces
    faces: NDArray[np.int64]


def linked(arcs: Arcs, outlines: Outlines) -> list[Seed]:
    """Link arcs of equal circles; drop those that together cover too small an angle.

    Returns
    -------
    seeds : list of Seed
        Those with most panels first.
    """
    if len(arcs.radii) == 0:
        return []
    groups = _equal_circles(arcs)[arcs.arc_of_panel]
    order = np.argsort(groups, kind="stable")
    bounds = np.flatnonzero(np.diff(groups[order], prepend=-1, append=-1))
    # Arcs of less than a full turn are only worth linking if their sum is large enough.
    total = np.degrees(np.bincount(groups, arcs.width))
    seeds = [
        seed
        for begin, end in pairwise(bounds.tolist())
        if total[groups[order[begin]]] >= LEAST_SPAN
        and (seed := _seed_of(arcs, outlines, order[begin:end])) is not None
    ]
    return sorted(seeds, key=lambda seed: -seed.count)


def _equal_circles(arcs: Arcs) -> NDArray[np.int64]:
    """Label arcs on the same circle and the same side of it, (a,)."""
    apart = np.where(arcs.is_internal, 1e6, 0.0)
    rows = np.column_stack([arcs.centres, arcs.radii, apart])
    steps = np.round(rows / _ONE_CIRCLE).astype(np.int64)
    _, first, index = np.unique(steps, axis=0, return_index=True, return_inverse=True)
    return components(len(first), _near(rows[first]))[index.ravel()]


def _near(rows: NDArray[np.float64]) -> NDArray[np.int64]:
    """Pairs of rows, (n, 4), that are nearer than `_SAME_CIRCLE`."""
    if len(rows) > _FEW:
        from scipy.spatial import cKDTree  # costs too much at start to be had for few

        pairs = cKDTree(rows).query_pairs(_SAME_CIRCLE, output_type="ndarray")
        return np.asarray(pairs, dtype=np.int64)
    squares = ((rows[:, None] - rows[None]) ** 2).sum(axis=2)
    return np.column_stack(np.nonzero(np.triu(squares <= _SAME_CIRCLE**2, 1)))


def _seed_of(arcs: Arcs, outlines: Outlines, rows: NDArray[np.int64]) -> Seed | None:
    if coverage(arcs.start[rows], arcs.width[rows]) < LEAST_SPAN:
        return None
    starts, counts = runs(arcs.arc_of_panel[rows])
    best = int(arcs.arc_of_panel[rows[starts[np.argmax(counts)]]])
    return Seed(
        centre=arcs.centres[best],
        radius=float(arcs.radii[best]),
        is_internal=bool(arcs.is_internal[best]),
        count=int(counts.max()),
        faces=different(outlines.faces_of(arcs.panel[rows])),
    )
