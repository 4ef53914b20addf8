"""The outline of one section of the written file, as flat arrays."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

__all__ = ["Outline", "outline_of"]

_BEND = 2e-5  # mm: a point nearer to the line between its neighbours is no corner
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
        apart = _only(self, self.lengths > _SAME)
        following = apart.following
        before = np.zeros_like(following)
        before[following] = np.arange(len(following))
        back = apart.points - apart.points[before]
        ahead = apart.points[following] - apart.points
        cross = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
        chord = np.linalg.norm(back + ahead, axis=1)
        return _only(apart, np.abs(cross) > _BEND * np.maximum(chord, 1e-12))


def _only(outline: Outline, kept: NDArray[np.bool_]) -> Outline:
    return Outline(outline.points[kept], outline.ring[kept])


def outline_of(rings: list[NDArray[np.float64]]) -> Outline:
    """Put rings, (n, 2) each, end to end."""
    sizes = [len(ring) for ring in rings]
    return Outline(
        np.concatenate([np.zeros((0, 2)), *rings]),
        np.repeat(np.arange(len(rings)), sizes).astype(np.int64),
    )
