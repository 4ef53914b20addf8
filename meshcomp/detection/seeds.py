"""Arcs of one circle, seen in any number of sections, linked into one proposal."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from meshcomp.sections import Arc
from meshcomp.topology import components

__all__ = ["LEAST_SPAN", "Seed", "coverage", "linked"]

LEAST_SPAN = 200.0  # degrees: less is a fillet or the end of a slot
_SAME_CIRCLE = 0.02  # mm, between centres and between radii


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Seed:
    """A circle proposed by sections, and the faces it was seen on."""

    centre: NDArray[np.float64]  # (2,) mm
    radius: float
    is_internal: bool
    panels: int
    faces: NDArray[np.int64]


def linked(arcs: list[Arc]) -> list[Seed]:
    """Link arcs of equal circles; drop those that together cover too small an angle.

    Returns
    -------
    seeds : list of Seed
        Those with most panels first.
    """
    if not arcs:
        return []
    circles = np.array([(*arc.centre, arc.radius) for arc in arcs])
    internal = np.array([arc.is_internal for arc in arcs])
    groups = components(len(arcs), _equal_circles(circles, internal))
    order = np.argsort(groups, kind="stable")
    bounds = np.flatnonzero(np.diff(groups[order], prepend=-1, append=-1))
    seeds = [
        seed
        for begin, end in pairwise(bounds)
        if (seed := _seed_of([arcs[i] for i in order[begin:end]])) is not None
    ]
    return sorted(seeds, key=lambda seed: -seed.panels)


def _equal_circles(
    circles: NDArray[np.float64], internal: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Pairs of arcs on the same circle and the same side of it."""
    from scipy.spatial import cKDTree

    apart = np.where(internal, 1e6, 0.0)
    tree = cKDTree(np.column_stack([circles, apart]))
    return np.asarray(tree.query_pairs(_SAME_CIRCLE, output_type="ndarray"), dtype=np.int64)


def _seed_of(arcs: list[Arc]) -> Seed | None:
    starts = np.concatenate([np.minimum(arc.angles[:-1], arc.angles[1:]) for arc in arcs])
    widths = np.concatenate([np.abs(np.diff(arc.angles)) for arc in arcs])
    if coverage(starts, widths) < LEAST_SPAN:
        return None
    best = max(arcs, key=lambda arc: len(arc.angles))
    return Seed(
        centre=best.centre,
        radius=best.radius,
        is_internal=best.is_internal,
        panels=len(best.angles) - 1,
        faces=np.unique(np.concatenate([arc.faces for arc in arcs])),
    )


def coverage(starts: NDArray[np.float64], widths: NDArray[np.float64]) -> float:
    """Return the angle that faces cover, degrees."""
    turn = 2 * np.pi
    steps = 1e-4  # radians: corners nearer than this are one
    edges = np.unique(np.round(np.concatenate([starts, starts + widths]) % turn / steps))
    edges = np.unique(edges * steps % turn)
    first = np.searchsorted(edges, starts % turn - 2 * steps) % len(edges)
    last = np.searchsorted(edges, (starts + widths) % turn - 2 * steps) % len(edges)
    change = np.zeros(len(edges) + 1)
    np.add.at(change, first, 1)
    np.add.at(change, last, -1)
    wrapped = int((last < first).sum())
    covered = np.cumsum(change[:-1]) + wrapped > 0
    gaps = np.diff(np.append(edges, edges[0] + turn))
    return float(np.degrees(gaps[covered].sum()))
