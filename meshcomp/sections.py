"""Cross-sections that know which face each piece of outline came from.

All sections across one direction are cut at once and kept in flat arrays. Seen against
the cutting direction, material lies to the left of an outline: a ring that runs
counter-clockwise bounds material from outside, a clockwise one bounds a hole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import runs
from meshcomp._vectors import along, turned
from meshcomp.meshes import Mesh
from meshcomp.topology import Topology, cycles, next_half_edge

__all__ = ["Outlines", "cut", "heights_through", "rings_at"]

_LEAST_EXTENT = 0.005  # mm: lower walls are not looked for
_SAME_LEVEL = 1e-5  # mm between heights that count as one
_MOST_TICKS = 1 << 25  # 335 mm
_SPARSE = 50  # ticks to a corner: with more, sorting is quicker


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Outlines:
    """Closed outlines of sections, as straight panels between corners.

    Panel j runs from `points[j]` to `points[following[j]]` and lies in planar region
    `regions[j]`. The panels of a ring are consecutive, in the order of its outline.
    """

    points: NDArray[np.float64]  # (p, 2) mm
    regions: NDArray[np.int64]  # (p,)
    firsts: NDArray[np.int64]  # (r + 1,) first panel of each ring, and the end
    heights: NDArray[np.float64]  # (r,) of each ring, mm
    faces: NDArray[np.int64]  # (k,) every face cut, ordered by panel
    panel_of_face: NDArray[np.int64]  # (k,)

    @property
    def ring(self) -> NDArray[np.int64]:
        """Ring of each panel, (p,)."""
        return np.repeat(np.arange(len(self.heights)), np.diff(self.firsts))

    @property
    def following(self) -> NDArray[np.int64]:
        """Panel after each panel of its ring, (p,)."""
        following = np.arange(1, len(self.points) + 1)
        following[self.firsts[1:] - 1] = self.firsts[:-1]
        return following

    @property
    def before(self) -> NDArray[np.int64]:
        """Panel before each panel of its ring, (p,)."""
        before = np.arange(-1, len(self.points) - 1)
        before[self.firsts[:-1]] = self.firsts[1:] - 1
        return before

    @property
    def lengths(self) -> NDArray[np.float64]:
        """Length of each panel, (p,) mm."""
        return np.asarray(np.hypot(*(self.points[self.following] - self.points).T))

    @property
    def areas(self) -> NDArray[np.float64]:
        """Signed area of each ring by the shoelace formula, (r,) mm²: a hole's is < 0."""
        ring = self.ring
        local = self.points - self.points[self.firsts[:-1]][ring]
        x, y = local.T
        next_x, next_y = local[self.following].T
        doubled = np.bincount(ring, x * next_y - y * next_x, len(self.heights))
        return np.asarray(doubled / 2)

    def faces_of(self, panels: NDArray[np.int64]) -> NDArray[np.int64]:
        """Faces cut along some panels, (n,), with repetition."""
        low = np.searchsorted(self.panel_of_face, panels, "left")
        counts = np.searchsorted(self.panel_of_face, panels, "right") - low
        return self.faces[_ranges(low, counts)]


def _ranges(starts: NDArray[np.int64], counts: NDArray[np.int64]) -> NDArray[np.int64]:
    """Concatenate start, start + 1, ... for each pair of start and count."""
    ends = np.cumsum(counts)
    total = int(ends[-1]) if len(ends) else 0
    return np.repeat(starts - ends + counts, counts) + np.arange(total)


def heights_through(
    lows: NDArray[np.float64],
    highs: NDArray[np.float64],
    corners: NDArray[np.float64],
    *,
    most: int,
) -> NDArray[np.float64]:
    """Choose few heights to cut, so that every wall is cut.

    The least number of heights that meet all intervals is found by taking them in the
    order of their upper ends; each height then goes to the middle of the widest gap
    between corners that the intervals it stands for have in common.

    Parameters
    ----------
    lows, highs : (n,) float
        Heights between which each wall reaches, mm.
    corners : (k,) float
        Heights of all corners, mm: none may be cut.
    most : int
        Largest number of heights; those that meet the highest walls are kept.

    Returns
    -------
    heights : (h,) float
        In mm, ascending.

    Examples
    --------
    >>> lows, highs = np.array([0.0, 0, 4]), np.array([3.0, 10, 10])
    >>> heights_through(lows, highs, np.arange(11.0), most=9)
    array([0.5, 4.5])
    """
    tall = highs - lows > _LEAST_EXTENT
    lows, highs = lows[tall], highs[tall]
    windows = _common_windows(lows, highs)
    if len(windows) > most:
        kept = np.argsort(windows[:, 0] - windows[:, 1], kind="stable")[:most]
        windows = windows[np.sort(kept)]
    levels = _distinct(np.round(corners / _SAME_LEVEL)) * _SAME_LEVEL
    return _widest_gaps(levels, windows)


def _distinct(steps: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distinct whole numbers, ascending; by ticking them off where they lie close."""
    least = float(steps.min(initial=0.0))
    reach = float(steps.max(initial=0.0)) - least
    if reach > min(_MOST_TICKS, _SPARSE * len(steps)):
        return np.unique(steps)
    seen = np.zeros(int(reach) + 1, dtype=bool)
    seen[(steps - least).astype(np.int64)] = True
    return np.asarray(np.flatnonzero(seen) + least)


def _common_windows(
    lows: NDArray[np.float64], highs: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Greedy stabbing of intervals: the window that each group has in common, (g, 2)."""
    lows, highs = np.round(lows, 4), np.round(highs, 4)
    order = np.lexsort([lows, highs])
    lows, highs = lows[order], highs[order]
    windows = []
    begin = 0
    while begin < len(lows):
        # A group keeps a window wide enough to be cut beside its corners.
        end = _first_from(lows, highs[begin] - _LEAST_EXTENT / 2, begin + 1)
        windows.append((float(lows[begin:end].max()), float(highs[begin])))
        begin = end
    return np.array(windows).reshape(-1, 2)


def _first_from(values: NDArray[np.float64], least: float, begin: int) -> int:
    """First place from `begin` on of a value no less than `least`; the end if none is."""
    step = 16
    while begin < len(values):
        found = np.flatnonzero(values[begin : begin + step] >= least)
        if len(found):
            return begin + int(found[0])
        begin, step = begin + step, 2 * step
    return len(values)


def _widest_gaps(
    levels: NDArray[np.float64], windows: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Middle of the widest gap between levels in each window, (g, 2), or the first such."""
    first, last = np.searchsorted(levels, windows).T
    # A level before each window stands for its low end, and one after it for its high one.
    counts = last - first + 1
    group = np.repeat(np.arange(len(windows)), counts)
    at = _ranges(first, counts)
    ends, starts = np.cumsum(counts), np.cumsum(counts) - counts
    below, above = np.append(levels, 0.0)[at - 1], np.append(levels, 0.0)[at]
    below[starts], above[ends - 1] = windows.T
    gaps = above - below
    widths = np.round(gaps, 4)
    widest = np.flatnonzero(widths == np.maximum.reduceat(widths, starts)[group])
    best = widest[runs(group[widest])[0]]
    return np.asarray(below[best] + gaps[best] / 2)


def cut(
    mesh: Mesh,
    topology: Topology,
    regions: NDArray[np.int64],
    frame: NDArray[np.float64],
    heights: NDArray[np.float64],
) -> Outlines:
    """Cut a closed mesh across a direction.

    Parameters
    ----------
    mesh, topology
        The solid and its half-edges.
    regions : (m,) int
        Planar region of each face; neighbouring pieces of one region become one panel.
    frame : (3, 3) float
        Right-handed unit rows: two directions of the section's plane, and the direction
        across it.
    heights : (h,) float
        Positions along `frame[2]`, mm, ascending.
    """
    # Heights below each corner; one that lies on a height counts as below it.
    below = np.searchsorted(heights, along(mesh.vertices, frame[2]), "left")
    below = below.astype(np.int32)
    passed = [np.take(below, corner) for corner in mesh.faces.T]
    lowest = np.minimum(np.minimum(passed[0], passed[1]), passed[2])
    counts = np.maximum(np.maximum(passed[0], passed[1]), passed[2]) - lowest
    crossed = np.flatnonzero(counts)
    face = np.repeat(crossed, counts[crossed])
    height = _ranges(lowest[crossed], counts[crossed])

    # Each crossed face is entered over its falling edge and left over its rising one.
    above = [corner[face] > height for corner in passed]
    rising = np.where(~above[0] & above[1], 0, np.where(~above[1] & above[2], 1, 2))
    half_edge = 3 * face + rising
    across = topology.twins[half_edge] // 3
    piece = (np.cumsum(counts) - counts)[across] + height - lowest[across]
    ends = _points_on_edges(heights[height], mesh, frame, half_edge)
    order, ring = cycles(piece)
    return _joined(order, ring, (ends, regions[face], face, heights[height]))


def rings_at(
    mesh: Mesh,
    topology: Topology,
    frame: NDArray[np.float64],
    heights: Sequence[float],
) -> list[list[NDArray[np.float64]]]:
    """Cut a closed mesh at some heights, in any order; each face has a line of its own.

    Parameters
    ----------
    mesh, topology, frame
        As for `cut`.
    heights : sequence of float
        Positions along `frame[2]`, mm.

    Returns
    -------
    sections : list of list of (n, 2) float
        Rings at each height, mm; material to the left.

    Examples
    --------
    >>> from meshcomp.topology import topology_of
    >>> tetrahedron = Mesh(
    ...     [(0, 0, 0), (2, 0, 0), (0, 2, 0), (0, 0, 2)],
    ...     [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)],
    ... )
    >>> sections = rings_at(tetrahedron, topology_of(tetrahedron), np.eye(3), [0.5, 1.0])
    >>> [len(rings) for rings in sections]
    [1, 1]
    """
    if not len(heights):
        return []
    levels = np.unique(np.asarray(heights, dtype=np.float64))
    outlines = cut(mesh, topology, np.arange(len(mesh.faces)), frame, levels)
    rings = np.split(outlines.points, outlines.firsts[1:])[:-1]
    found: dict[float, list[NDArray[np.float64]]] = {z: [] for z in levels.tolist()}
    for ring, at in zip(rings, outlines.heights.tolist(), strict=True):
        found[at].append(ring)
    return [found[float(z)] for z in heights]


def _points_on_edges(
    heights: NDArray[np.float64],
    mesh: Mesh,
    frame: NDArray[np.float64],
    half_edges: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Where rising edges pass their heights, (k, 2)."""
    corners, onward = mesh.faces.ravel(), next_half_edge(half_edges)
    below = turned(np.take(mesh.vertices, corners[half_edges], axis=0), frame)
    above = turned(np.take(mesh.vertices, corners[onward], axis=0), frame)
    share = (heights - below[:, 2]) / (above[:, 2] - below[:, 2])
    return np.asarray(below[:, :2] + share[:, None] * (above[:, :2] - below[:, :2]))


def _joined(
    order: NDArray[np.int64],
    ring: NDArray[np.int64],
    pieces: tuple[
        NDArray[np.float64], NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]
    ],
) -> Outlines:
    """Join pieces of one planar region into panels; a piece is known by its end."""
    ends, regions, faces, heights = pieces
    ends, regions, faces, heights = (
        ends[order],
        regions[order],
        faces[order],
        heights[order],
    )
    first = runs(ring)[0]
    last = np.append(first[1:], len(ring)) - 1
    before = np.arange(-1, len(ring) - 1)
    before[first] = last
    begins = regions != regions[before]
    corners = np.add.reduceat(begins, first) if len(first) else np.zeros(0, np.int64)
    real = (corners >= 3)[ring]  # noqa: PLR2004 - fewer enclose no area
    begins &= real
    begin = np.flatnonzero(begins)
    panel = np.cumsum(begins) - 1
    # Pieces before the first corner of their ring end its last panel.
    of_ring = np.where(corners >= 3, corners, 0)  # noqa: PLR2004
    early = panel < (np.cumsum(of_ring) - of_ring)[ring]
    panel = np.where(early, panel[last[ring]], panel)
    kept = np.flatnonzero(real)
    by_panel = kept[np.argsort(panel[kept], kind="stable")]
    return Outlines(
        points=ends[before[begin]],
        regions=regions[begin],
        firsts=np.concatenate([[0], np.cumsum(of_ring[of_ring > 0])]).astype(np.int64),
        heights=heights[first[of_ring > 0]],
        faces=faces[by_panel],
        panel_of_face=panel[by_panel],
    )
