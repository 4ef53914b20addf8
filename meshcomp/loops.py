"""Loops of half-edges around groups of faces, such as the outlines of planar faces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.topology import next_half_edge

__all__ = ["Rim", "rim_of"]


@dataclass(frozen=True, slots=True, eq=False)
class Rim:
    """Half-edges that have another group, or nothing, on their other side.

    `successors` is the place, in the same arrays, of the one that follows around the group,
    the group to its left.
    """

    half_edges: NDArray[np.int64]  # (r,) ascending
    successors: NDArray[np.int64]  # (r,)
    groups: NDArray[np.int64]  # (r,) of the face that each belongs to

    def without(self, dropped: NDArray[np.bool_]) -> Rim:
        """Pass over some half-edges: the one before is then followed by the one after.

        A loop of which all are dropped is gone.
        """
        following, kept = self.successors, np.flatnonzero(~dropped)
        while (over := dropped[following])[kept].any():
            # Twice as many are passed over at each step.
            following = np.where(over, following[following], following)
        place = np.cumsum(~dropped) - 1
        return Rim(self.half_edges[kept], place[following[kept]], self.groups[kept])

    def loops(self) -> list[list[int]]:
        """Places of the half-edges around each loop, in the order of their first ones."""
        successors = self.successors.tolist()
        seen = [False] * len(successors)
        found = []
        for first in range(len(successors)):
            loop, here = [], first
            while not seen[here]:
                seen[here] = True
                loop.append(here)
                here = successors[here]
            if loop:
                found.append(loop)
        return found

    def outlines(self, starts: NDArray[np.int64]) -> dict[int, list[list[int]]]:
        """Vertices around each group, a list to each of its loops.

        Parameters
        ----------
        starts : (3 m,) int
            Vertex that each half-edge starts from, as in `Topology`.
        """
        vertices, found = starts[self.half_edges], dict[int, list[list[int]]]()
        for loop in self.loops():
            found.setdefault(int(self.groups[loop[0]]), []).append(vertices[loop].tolist())
        return found


def rim_of(twins: NDArray[np.int64], groups: NDArray[np.int64]) -> Rim:
    """Find the rims of groups of faces.

    Parameters
    ----------
    twins : (3 m,) int
        As in `Topology`.
    groups : (m,) int
        Group of each face; faces with -1 are of none.
    """
    own = np.repeat(groups, 3)
    across = np.where(twins >= 0, groups[twins // 3], -2)
    rim = np.flatnonzero((own >= 0) & (own != across))
    following = _next_on_rim(rim, twins, own)
    place = np.zeros(len(twins), dtype=np.int64)
    place[rim] = np.arange(len(rim))
    return Rim(rim, place[following], own[rim])


def _next_on_rim(
    rim: NDArray[np.int64], twins: NDArray[np.int64], own: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Rim half-edge after each one: turn about its end until the group is left."""
    following = next_half_edge(rim)
    turning = np.arange(len(rim))
    while len(turning):
        twin = twins[following[turning]]
        inside = (twin >= 0) & (own[np.maximum(twin, 0)] == own[rim[turning]])
        turning = turning[inside]
        following[turning] = next_half_edge(twin[inside])
    return following
