"""Loops of half-edges around groups of faces, such as the outlines of planar faces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meshcomp.topology import cycles, next_half_edge

__all__ = ["Outlines", "Rim", "rim_of"]

_TRIANGLE = 3  # corners: fewer enclose no area


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
        order, loop = cycles(self.successors)
        ends = np.flatnonzero(np.diff(loop)) + 1
        return [each.tolist() for each in np.split(order, ends) if len(each)]

    def outlines(self, starts: NDArray[np.int64]) -> Outlines:
        """Vertices around each group, ring by ring.

        Parameters
        ----------
        starts : (3 m,) int
            Vertex that each half-edge starts from, as in `Topology`.
        """
        order, ring = cycles(self.successors)
        firsts = np.append(np.flatnonzero(np.diff(ring, prepend=-1)), len(ring))
        vertices = starts[self.half_edges[order]]
        return _by_group(vertices, firsts, self.groups[order[firsts[:-1]]])


@dataclass(frozen=True, slots=True, eq=False)
class Outlines:
    """Vertex loops around groups, in flat arrays: the group to the left of each.

    Those of group `groups[i]` are the rings from `rings[i]` to `rings[i + 1]`, and ring j
    has the vertices from `firsts[j]` to `firsts[j + 1]`.
    """

    groups: NDArray[np.int64]  # (g,) each once
    rings: NDArray[np.int64]  # (g + 1,)
    firsts: NDArray[np.int64]  # (r + 1,)
    vertices: NDArray[np.int64]  # (k,)

    @classmethod
    def of(cls, loops: dict[int, list[list[int]]]) -> Outlines:
        """Take vertex loops by group."""
        every = [loop for own in loops.values() for loop in own]
        sizes = [len(loop) for loop in every]
        return cls(
            groups=np.array(list(loops), dtype=np.int64),
            rings=_ends([len(own) for own in loops.values()]),
            firsts=_ends(sizes),
            vertices=np.array([v for loop in every for v in loop], dtype=np.int64),
        )

    @property
    def of_ring(self) -> NDArray[np.int64]:
        """Place in `groups` of the group that each ring is of, (r,)."""
        return np.repeat(np.arange(len(self.groups)), np.diff(self.rings))

    @property
    def of_vertex(self) -> NDArray[np.int64]:
        """Place in `groups` of the group that each vertex of a ring is of, (k,)."""
        return np.repeat(self.of_ring, np.diff(self.firsts))

    def without(self, dropped: NDArray[np.bool_], of: NDArray[np.bool_]) -> Outlines:
        """Leave out some vertices, (n,), of some groups, (g,).

        Rings of which fewer than three are left go, so that a group may have none.
        """
        ring = np.repeat(np.arange(len(self.firsts) - 1), np.diff(self.firsts))
        shortened = of[self.of_ring]
        left = ~(dropped[self.vertices] & shortened[ring])
        sizes = np.bincount(ring[left], minlength=len(shortened))
        large = (sizes >= _TRIANGLE) | ~shortened
        counts = np.bincount(self.of_ring[large], minlength=len(self.groups))
        kept = left & large[ring]
        return Outlines(
            self.groups, _ends(counts), _ends(sizes[large]), self.vertices[kept]
        )


def _ends(counts: ArrayLike) -> NDArray[np.int64]:
    """Where each of some runs begins, and the last one ends, from their lengths."""
    return np.concatenate([[0], np.cumsum(np.asarray(counts, dtype=np.int64))])


def _by_group(
    vertices: NDArray[np.int64], firsts: NDArray[np.int64], groups: NDArray[np.int64]
) -> Outlines:
    """Bring the rings of each group together; groups in the order of their first ones."""
    names, first, of_ring = np.unique(groups, return_index=True, return_inverse=True)
    place = np.zeros(len(names), dtype=np.int64)
    place[np.argsort(first)] = np.arange(len(names))
    order = np.argsort(place[of_ring], kind="stable")
    sizes = np.diff(firsts)[order]
    at = np.repeat(firsts[:-1][order], sizes)
    at += np.arange(len(vertices)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    return Outlines(
        groups=names[np.argsort(first)],
        rings=_ends(np.bincount(place[of_ring], minlength=len(names))),
        firsts=_ends(sizes),
        vertices=vertices[at],
    )


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
