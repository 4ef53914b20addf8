"""The outline of one section of the written file, as flat arrays."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

__all__ = ["Outline", "outline_of"]

_BEND = 2e-5  # mm: a point nearer to the line between its neighbours is no corner
_MOST_PASSES = 40
_SAME = 1e-4  # mm: points nearer to each other are one corner


@dataclass(frozen=True, eq=False)  # no slots: properties are cached
class Outline:
    """Closed rings of lines from each point to `points[following]`; material is left."""

    points: NDArray[np.float64]  # (p, 2) mm
    ring: NDArray[np.int64]  # (p,)
    known: Outline | None = None  # its bends, where they were found with those of others

    @cached_property
    def following(self) -> NDArray[np.int64]:
        """Next point of its ring, (p,)."""
        return _following(self.ring)

    @cached_property
    def ends(self) -> NDArray[np.float64]:
        """Where each line ends, (p, 2) mm."""
        return np.take(self.points, self.following, axis=0)

    @cached_property
    def doubled_middles(self) -> NDArray[np.float64]:
        """Sum of the ends of each line, (p, 2) mm."""
        return self.points + self.ends

    @cached_property
    def lengths(self) -> NDArray[np.float64]:
        """Length of each line, (p,) mm."""
        return _lengths(self.ends - self.points)

    @cached_property
    def bends(self) -> Outline:
        """The outline without points amid its straight lines.

        Sections meet the diagonals of facets there, which says nothing about a circle.
        """
        if self.known is not None:
            return self.known
        left = _bending(self, np.zeros(len(self.points), dtype=np.int64))
        return Outline(self.points[left], self.ring[left])


def outline_of(rings: list[NDArray[np.float64]]) -> Outline:
    """Put rings, (n, 2) each, end to end."""
    sizes = [len(ring) for ring in rings]
    return Outline(
        np.concatenate([np.zeros((0, 2)), *rings]),
        np.repeat(np.arange(len(rings)), sizes).astype(np.int64),
    )


def outlines_of(sections: list[list[NDArray[np.float64]]]) -> list[Outline]:
    """Return the outline of each section; the bends of all are found together."""
    if not sections:
        return []
    every = outline_of([ring for rings in sections for ring in rings])
    counts = [len(rings) for rings in sections]
    section = np.repeat(np.arange(len(sections)), counts)[every.ring]
    left = _bending(every, section)
    ends = [
        np.searchsorted(of, np.arange(1, len(sections))) for of in (section, section[left])
    ]
    rows = zip(
        np.split(every.points, ends[0]),
        np.split(every.ring, ends[0]),
        np.split(every.points[left], ends[1]),
        np.split(every.ring[left], ends[1]),
        strict=True,
    )
    return [Outline(a, b, Outline(c, d)) for a, b, c, d in rows]


def _following(ring: NDArray[np.int64]) -> NDArray[np.int64]:
    following = np.arange(1, len(ring) + 1)
    first = np.flatnonzero(np.diff(ring, prepend=-1))
    following[np.append(first[1:], len(ring))[: len(first)] - 1] = first
    return following


def _lengths(ways: NDArray[np.float64]) -> NDArray[np.float64]:
    x, y = ways.T
    return np.asarray(np.sqrt(x * x + y * y))


def _bending(outline: Outline, section: NDArray[np.int64]) -> NDArray[np.int64]:
    """Points of an outline that are left once those amid straight lines have gone.

    `section` has the number of the section of each point, (p,), ascending.
    """
    # Of two points that all but coincide, neither bends much by itself.
    left = np.flatnonzero(outline.lengths > _SAME)
    chain = _Chain.of(outline.points[left], outline.ring[left], section[left])
    straight = chain.straight(np.arange(len(left)))
    for _ in range(_MOST_PASSES):
        rows = np.flatnonzero(straight)
        if len(rows) == 0:
            break
        going = chain.going(rows)
        straight[going] = False
        # A point bends as it did while its neighbours stay.
        beside = chain.dropped(going)
        straight[beside] = chain.straight(beside)
    return left[chain.here]


@dataclass(frozen=True, slots=True, eq=False)
class _Chain:
    """Points in closed chains, from which some are dropped."""

    axes: tuple[NDArray[np.float64], NDArray[np.float64]]  # x and y of points, (p,) mm
    section: NDArray[np.int64]  # (p,)
    first: NDArray[np.int64]  # (p,) first point of the chain
    after: NDArray[np.int64]  # (p,) next point that is still there
    before: NDArray[np.int64]  # (p,)
    here: NDArray[np.bool_]  # (p,)

    @classmethod
    def of(
        cls,
        points: NDArray[np.float64],
        ring: NDArray[np.int64],
        section: NDArray[np.int64],
    ) -> _Chain:
        """Chain the points of each ring."""
        after = _following(ring)
        before = np.zeros_like(after)
        before[after] = np.arange(len(after))
        firsts = np.flatnonzero(np.diff(ring, prepend=-1))
        first = np.repeat(firsts, np.diff(np.append(firsts, len(ring))))
        x, y = np.ascontiguousarray(points.T)
        here = np.ones(len(ring), dtype=bool)
        return cls((x, y), section, first, after, before, here)

    def straight(self, rows: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Mark points that all but lie on the line between their neighbours."""
        before, after = self.before.take(rows), self.after.take(rows)
        (back_x, ahead_x), (back_y, ahead_y) = (
            (own - axis.take(before), axis.take(after) - own)
            for axis, own in ((axis, axis.take(rows)) for axis in self.axes)
        )
        cross = back_x * ahead_y - back_y * ahead_x
        x, y = back_x + ahead_x, back_y + ahead_y
        return np.asarray(
            np.abs(cross) <= _BEND * np.maximum(np.sqrt(x * x + y * y), 1e-12)
        )

    def going(self, rows: NDArray[np.int64]) -> NDArray[np.int64]:
        """Pick points of which no two are neighbours: without one, the other may bend.

        In each section those at even places go before the others.
        """
        earlier: NDArray[np.int64] = np.cumsum(self.here) - self.here
        even = (earlier[rows] - earlier[self.first[rows]]) % 2 == 0
        has_even = np.zeros(int(self.section[-1]) + 1, dtype=bool)
        has_even[self.section[rows[even]]] = True
        picked = rows[even | ~has_even[self.section[rows]]]
        marked = np.zeros(len(self.here), dtype=bool)
        marked[picked] = True
        return np.asarray(picked[~marked[self.after[picked]]])

    def dropped(self, rows: NDArray[np.int64]) -> NDArray[np.int64]:
        """Drop points of which no two are neighbours, and return the neighbours."""
        self.here[rows] = False
        self.after[self.before[rows]] = self.after[rows]
        self.before[self.after[rows]] = self.before[rows]
        beside = np.zeros(len(self.here), dtype=bool)
        beside[self.before[rows]] = beside[self.after[rows]] = True
        return np.flatnonzero(beside)
