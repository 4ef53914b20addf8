"""Faces about edges that more than two share: their order, and which are neighbours."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.meshes import Mesh

__all__ = ["Around", "directions_about_edges", "next_half_edge", "pair_wedges"]

_SAME_WAY = 1e-4  # rad: bodies that touch may overlap by a film, no wedge is so sharp
_LAST_BITS = 2.0**-22  # of the largest coordinate: twice what rounding to 32 bits may turn
_LOOKS = 6  # faces looked past at the most


@dataclass(frozen=True, slots=True, eq=False)
class Around:
    """Half-edges of crowded edges, (k,), and whether each runs to a lower vertex."""

    mesh: Mesh
    twins: NDArray[np.int64]  # (3 m,) at least those of plain edges
    order: NDArray[np.int64]
    backward: NDArray[np.bool_]


_Ways = tuple[NDArray[np.float64], NDArray[np.float64]]  # angles, and how far off: (k,) mm


def next_half_edge(half_edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the half-edge that follows each one around its face.

    Examples
    --------
    >>> next_half_edge(np.array([3, 4, 5])).tolist()
    [4, 5, 3]
    """
    following = half_edges + 1
    following[following % 3 == 0] -= 3
    return following


def pair_wedges(
    half_edges: Around, keys: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Reorder so that the half-edges to be paired stand next to each other.

    Seen along an edge, material lies on the side of rising angle of a face whose own
    half-edge runs backward, and ends at the next face whose half-edge runs forward.
    """
    # Of faces that lie on each other, the one that ends material comes first.
    backward, order = half_edges.backward, half_edges.order
    ways = directions_about_edges(half_edges, keys)
    around = np.lexsort([backward, ways, keys])
    first = np.flatnonzero(np.diff(keys[around], prepend=-1))
    around = around[_rounds(backward[around], first)]
    key, side = keys[around], backward[around]
    # Wedges within wedges: pair those of one depth, in turn.
    running = np.cumsum(np.where(side, 1, -1))
    depth = running + ~side
    paired = np.lexsort([depth, key])
    key, side, depth = key[paired], side[paired], depth[paired]
    same = (key[1:] == key[:-1]) & (depth[1:] == depth[:-1]) & side[:-1] & ~side[1:]
    return np.flatnonzero(same), order[around][paired]


def directions_about_edges(around: Around, keys: NDArray[np.int64]) -> NDArray[np.int64]:
    """Give directions about edges rising numbers, and those that hardly differ the same.

    The directions are those in which faces go off their edges, which have keys, (k,).
    """
    angles = _angles_about_edges(around)
    # Half a turn either way is one direction.
    angles = np.where(angles < _SAME_WAY - np.pi, angles + 2 * np.pi, angles)
    order = np.lexsort([angles, keys])
    steps = np.diff(angles[order], prepend=0.0) > _SAME_WAY
    steps |= np.diff(keys[order], prepend=-1) != 0
    numbers = np.zeros(len(angles), dtype=np.int64)
    numbers[order] = np.cumsum(steps)
    return numbers


def _angles_about_edges(around: Around) -> NDArray[np.float64]:
    """Angle of each half-edge's face about its edge, from its lower vertex on."""
    faces, points = around.mesh.faces.ravel(), around.mesh.vertices
    start, end = faces[around.order], faces[next_half_edge(around.order)]
    low = points[np.where(around.backward, end, start)]
    axis = unit(points[np.where(around.backward, start, end)] - low)
    helper = np.eye(3)[np.argmin(np.abs(axis), axis=1)]
    x = unit(np.cross(axis, helper))
    y = np.cross(axis, x)

    def seen(half_edges: NDArray[np.int64], rows: NDArray[np.int64]) -> _Ways:
        apex = points[faces[next_half_edge(next_half_edge(half_edges))]] - low[rows]
        across, along = dot(apex, x[rows]), dot(apex, y[rows])
        return np.arctan2(along, across), np.hypot(along, across)

    return _looking_further(around, seen)


def _looking_further(
    around: Around, seen: Callable[[NDArray[np.int64], NDArray[np.int64]], _Ways]
) -> NDArray[np.float64]:
    """Angles of faces; of those too low to tell, of the next faces of the same surface.

    Which way a low face goes off its edge is known only as far as coordinates are; the
    first face beyond it that is higher, and goes off within that, tells it better.
    """
    angles, heights = seen(around.order, np.arange(len(around.order)))
    points = around.mesh.vertices
    blur = _LAST_BITS * float(np.abs(points).max(initial=0.0))
    rows = np.flatnonzero(heights * _SAME_WAY < blur)
    at = around.order[rows]
    for _ in range(_LOOKS):
        at = around.twins[_longer_of_others(around.mesh, at)]
        rows, at = rows[at >= 0], at[at >= 0]
        if len(rows) == 0:
            break
        found, further = seen(at, rows)
        bend = np.abs(np.remainder(found - angles[rows] + np.pi, 2 * np.pi) - np.pi)
        good = (further > heights[rows]) & (bend * heights[rows] <= blur)
        angles[rows[good]] = found[good]
        left = ~good | (further * _SAME_WAY < blur)
        rows, at = rows[left], at[left]
    return angles


def _longer_of_others(mesh: Mesh, half_edges: NDArray[np.int64]) -> NDArray[np.int64]:
    """Of the other two edges of the faces of half-edges, the longer."""
    one, two = next_half_edge(half_edges), next_half_edge(next_half_edge(half_edges))
    a, b, c = (mesh.vertices[mesh.faces.ravel()[k]] for k in (half_edges, one, two))
    return np.where(dot(c - b, c - b) >= dot(a - c, a - c), one, two)


def _rounds(side: NDArray[np.bool_], first: NDArray[np.int64]) -> NDArray[np.int64]:
    """Turn each edge's round so that no wedge ends before it began."""
    sizes = np.diff(np.append(first, len(side)))
    running = np.cumsum(np.where(side, 1, -1))
    height = running - np.repeat(np.append(0, running)[first], sizes)
    place = np.arange(len(side)) - np.repeat(first, sizes)
    lowest = np.repeat(np.minimum.reduceat(height, first), sizes)
    after = np.where((height == lowest) & (height < 0), place + 1, 0)
    start = np.maximum.reduceat(after, first)
    turned = (place + np.repeat(start, sizes)) % np.repeat(sizes, sizes)
    return np.asarray(np.repeat(first, sizes) + turned)
