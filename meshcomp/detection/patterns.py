"""Bolt circles, grids and rows: cylinders of one size and length at an even pitch.

Places are compared in the plane across the axes. Larger patterns are told first; a
cylinder belongs to one pattern only.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.lattices import Lattice, best_lattice
from meshcomp.detection.rings import Ring, even_circles
from meshcomp.detection.scenes import frame_along
from meshcomp.features import Cylinder, Feature, Pattern

__all__ = ["patterns"]

_SAME = 0.02  # mm, between sizes, lengths and ends
_PLACE = 0.03  # mm, a place to where an even pitch has it
_PARALLEL = 1e-3  # of a direction's parts
_LEAST = 3  # members


def patterns(features: Iterable[Feature]) -> tuple[Pattern, ...]:
    """Find bores, or bosses, of one size and length at an even pitch.

    A circle or a grid may have an empty place, see `rings` and `lattices`.

    Parameters
    ----------
    features : iterable of Feature
        With ids; patterns are numbered by kind in the order of their first members.
    """
    cylinders = [f for f in features if isinstance(f, Cylinder)]
    found: list[Pattern] = []
    for alike in _alike(cylinders):
        found += _in_one_plane(alike, cylinders)
    named = []
    for kind in ("circle", "grid", "row"):
        mine = sorted((p for p in found if p.kind == kind), key=lambda p: p.members[0])
        digits = max(2, len(str(len(mine))))
        named += [
            replace(pattern, id=f"{kind}-{number:0{digits}d}")
            for number, pattern in enumerate(mine, 1)
        ]
    return tuple(named)


def _alike(cylinders: Sequence[Cylinder]) -> list[list[Cylinder]]:
    """Part off three and more cylinders of one kind, size, direction and ends."""
    ordered = sorted(cylinders, key=_key)
    sets = [list(members) for _, members in groupby(ordered, key=_key)]
    return [part for members in sets for part in _split(members) if len(part) >= _LEAST]


def _key(cylinder: Cylinder) -> tuple[str, ...]:
    """Kind and direction."""
    way = np.round(_one_way(cylinder) / _PARALLEL).astype(int) + 0
    return (cylinder.kind, *(f"{int(x):+06d}" for x in way))


def _one_way(cylinder: Cylinder) -> NDArray[np.float64]:
    """Direction whose first part that is not small is positive."""
    way = cylinder.direction
    first = int(np.argmax(np.abs(way) > 10 * _PARALLEL))
    return np.asarray(way * np.sign(way[first]))


def _split(members: list[Cylinder]) -> list[list[Cylinder]]:
    """Part cylinders about one direction by size and ends, those nearer than `_SAME`."""
    way = _one_way(members[0])
    rows = np.array(
        [(c.nominal_size, float(c.point @ way), c.end - c.start) for c in members]
    )
    labels = np.zeros(len(members), dtype=int)
    for column in rows.T:
        order = np.argsort(column, kind="stable")
        step = np.zeros(len(members), dtype=int)
        step[order] = np.cumsum(np.diff(column[order], prepend=column[order[0]]) > _SAME)
        labels = labels * (int(step.max()) + 1) + step
    return [
        [members[i] for i in np.flatnonzero(labels == label)] for label in np.unique(labels)
    ]


def _in_one_plane(alike: list[Cylinder], others: Sequence[Cylinder]) -> list[Pattern]:
    """Patterns among cylinders that differ in place only, the largest first."""
    mine = sorted(alike, key=lambda c: c.id)
    ids = {c.id for c in mine}
    across = frame_along(_one_way(mine[0]))[:2]
    places = np.array([c.point for c in mine]) @ across.T
    middles = np.array([c.point for c in others if c.id not in ids]).reshape(-1, 3)
    circles = even_circles(places, middles @ across.T, _PLACE)
    free = np.ones(len(mine), dtype=bool)
    found: list[Pattern] = []
    while True:
        whole = [c for c in circles if free[c.rows].all()]
        lattice = best_lattice(places, free, _PLACE)
        options: list[Ring | Lattice] = [*whole[:1], *([lattice] if lattice else [])]
        if not options:
            return found
        best = max(options, key=lambda option: (len(option.rows), -len(option.empty)))
        free[best.rows] = False
        found.append(_told(mine, best, across))


def _told(
    cylinders: list[Cylinder], ring: Ring | Lattice, across: NDArray[np.float64]
) -> Pattern:
    members = [cylinders[i] for i in ring.rows.tolist()]
    is_ring = isinstance(ring, Ring)
    kind = "circle" if is_ring else "row" if len(ring.counts) == 1 else "grid"
    way = np.cross(*across)
    level = float(np.median([c.point @ way for c in members]))
    empty = ring.empty @ across + level * way
    return Pattern(
        id="",
        kind=kind,
        members=tuple(sorted(c.id for c in members)),
        nominal_size=float(np.median([c.nominal_size for c in members])),
        pitch=ring.pitch,
        counts=ring.counts,
        circle_size=ring.size if isinstance(ring, Ring) else None,
        empty=tuple((float(x), float(y), float(z)) for x, y, z in empty),
    )
