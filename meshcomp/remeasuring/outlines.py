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

    @cached_property
    def following(self) -> NDArray[np.int64]:
        """Next point of its ring, (p,)."""
        following = np.arange(1, len(self.points) + 1)
        first = np.flatnonzero(np.diff(self.ring, prepend=-1))
        following[np.append(first[1:], len(self.points))[: len(first)] - 1] = first
        return following

    @cached_property
    def lengths(self) -> NDArray[np.float64]:
        """Length of each line, (p,) mm."""
        return np.asarray(np.linalg.norm(self.points[self.following] - self.points, axis=1))

    @cached_property
    def bends(self) -> Outline:
        """The outline without points amid its straight lines.

        Sections meet the diagonals of facets there, which says nothing about a circle.
        """
        # Of two points that all but coincide, neither bends much by itself.
        left = _only(self, self.lengths > _SAME)
        for _ in range(_MOST_PASSES):
            straight = left.are_straight
            if not straight.any():
                break
            # Two neighbours never go at once: without the one, the other may bend.
            even = left.places % 2 == 0
            going = straight & (even if (straight & even).any() else ~even)
            left = _only(left, ~(going & ~going[left.following]))
        return left

    @property
    def are_straight(self) -> NDArray[np.bool_]:
        """Mark points that all but lie on the line between their neighbours, (p,)."""
        before = np.zeros_like(self.following)
        before[self.following] = np.arange(len(self.points))
        back = self.points - self.points[before]
        ahead = self.points[self.following] - self.points
        cross = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
        chord = np.linalg.norm(back + ahead, axis=1)
        return np.asarray(np.abs(cross) <= _BEND * np.maximum(chord, 1e-12))

    @property
    def places(self) -> NDArray[np.int64]:
        """Which point of its ring each one is, (p,)."""
        first = np.flatnonzero(np.diff(self.ring, prepend=-1))
        sizes = np.diff(np.append(first, len(self.points)))
        return np.arange(len(self.points)) - np.repeat(first, sizes)


def _only(outline: Outline, kept: NDArray[np.bool_]) -> Outline:
    return Outline(outline.points[kept], outline.ring[kept])


def outline_of(rings: list[NDArray[np.float64]]) -> Outline:
    """Put rings, (n, 2) each, end to end."""
    sizes = [len(ring) for ring in rings]
    return Outline(
        np.concatenate([np.zeros((0, 2)), *rings]),
        np.repeat(np.arange(len(rings)), sizes).astype(np.int64),
    )
