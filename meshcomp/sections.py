"""Cross-sections that know which face each piece of outline came from, and arcs in them.

Seen against the cutting direction, material lies to the left of an outline: a ring that
runs counter-clockwise bounds material from outside, a clockwise one bounds a hole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh
from meshcomp.topology import Topology

__all__ = ["Arc", "Ring", "arcs", "cut", "heights_between"]


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """One closed outline of a section, as straight panels between corners.

    Panel j runs from `points[j]` to the next point and lies in planar region
    `regions[j]`; `faces` lists every face cut, `panel_of_face` their panels.
    """

    height: float
    points: NDArray[np.float64]  # (n, 2) mm
    regions: NDArray[np.int64]  # (n,)
    faces: NDArray[np.int64]  # (k,)
    panel_of_face: NDArray[np.int64]  # (k,)

    @property
    def area(self) -> float:
        """Signed area by the shoelace formula, mm²: negative for a hole."""
        x, y = (self.points - self.points.mean(axis=0)).T
        return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Arc:
    """Panels of a ring whose corners lie on one circle."""

    centre: NDArray[np.float64]  # (2,) mm
    radius: float  # mm
    is_internal: bool  # material lies outside the circle
    angles: NDArray[np.float64]  # (panels + 1,) of the corners about the centre, radians
    faces: NDArray[np.int64]


def heights_between(
    lows: NDArray[np.float64], highs: NDArray[np.float64], *, most: int = 160
) -> NDArray[np.float64]:
    """Choose heights to cut, midway between those at which walls begin and end.

    Parameters
    ----------
    lows, highs : (n,) float
        Heights between which each wall face reaches, mm.
    most : int
        Largest number of heights; the widest gaps and an even choice of the rest are
        kept where there are more.

    Returns
    -------
    heights : (k,) float
        In mm, ascending.
    """
    levels = np.unique(np.round(np.concatenate([lows, highs]), 3))
    gaps = np.diff(levels)
    middles = (levels[1:] + levels[:-1])[gaps > 0.01] / 2  # noqa: PLR2004 - mm
    gaps = gaps[gaps > 0.01]  # noqa: PLR2004
    if len(middles) <= most:
        return np.asarray(middles)
    widest = np.argsort(-gaps, kind="stable")[: most // 2]
    even = np.linspace(0, len(middles) - 1, most // 2).astype(int)
    return np.asarray(middles[np.union1d(widest, even)])


def cut(
    mesh: Mesh,
    topology: Topology,
    regions: NDArray[np.int64],
    frame: NDArray[np.float64],
    heights: NDArray[np.float64],
) -> list[Ring]:
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
    heights : (k,) float
        Positions along `frame[2]`, mm; none may be that of a vertex.
    """
    local = mesh.vertices @ frame.T
    levels = local[:, 2][mesh.faces]
    lows, highs = levels.min(axis=1), levels.max(axis=1)
    rings = []
    for height in heights:
        crossed = np.flatnonzero((lows < height) & (highs > height))
        if len(crossed):
            above = levels[crossed] > height
            rings += _rings_at(
                float(height), local, mesh, topology, regions, (crossed, above)
            )
    return rings


def _rings_at(
    height: float,
    local: NDArray[np.float64],
    mesh: Mesh,
    topology: Topology,
    regions: NDArray[np.int64],
    crossing: tuple[NDArray[np.int64], NDArray[np.bool_]],
) -> list[Ring]:
    crossed, above = crossing
    # Each crossed face is entered over its falling edge and left over its rising one.
    rising = ~above & np.roll(above, -1, axis=1)
    half_edges = 3 * crossed + np.argmax(rising, axis=1)
    following = topology.twins[half_edges] // 3
    position = np.searchsorted(crossed, following)
    points = _points_on_edges(height, local, mesh, half_edges)
    rings = []
    for cycle in _cycles(position):
        ring = _ring_of(height, points[cycle], crossed[cycle], regions)
        if ring is not None:
            rings.append(ring)
    return rings


def _points_on_edges(
    height: float, local: NDArray[np.float64], mesh: Mesh, half_edges: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Where rising edges pass the height, (k, 2)."""
    faces, corners = half_edges // 3, half_edges % 3
    below = local[mesh.faces[faces, corners]]
    above = local[mesh.faces[faces, (corners + 1) % 3]]
    share = (height - below[:, 2]) / (above[:, 2] - below[:, 2])
    return np.asarray(below[:, :2] + share[:, None] * (above[:, :2] - below[:, :2]))


def _cycles(following: NDArray[np.int64]) -> list[list[int]]:
    """Split a permutation into its cycles."""
    successor = following.tolist()
    seen = [False] * len(successor)
    cycles = []
    for start in range(len(successor)):
        cycle = []
        here = start
        while not seen[here]:
            seen[here] = True
            cycle.append(here)
            here = successor[here]
        if cycle:
            cycles.append(cycle)
    return cycles


def _ring_of(
    height: float,
    ends: NDArray[np.float64],
    faces: NDArray[np.int64],
    regions: NDArray[np.int64],
) -> Ring | None:
    """Join pieces of one planar region into panels; `ends[j]` is where face j is left."""
    of_piece = regions[faces]
    begins = np.flatnonzero(of_piece != np.roll(of_piece, 1))
    if len(begins) < 3:  # noqa: PLR2004 - no area
        return None
    ends, faces = np.roll(ends, -begins[0], axis=0), np.roll(faces, -begins[0])
    of_piece, begins = np.roll(of_piece, -begins[0]), begins - begins[0]
    panel = np.repeat(np.arange(len(begins)), np.diff(np.append(begins, len(faces))))
    # A panel begins where the piece before its first piece was left.
    return Ring(height, ends[begins - 1], of_piece[begins], faces, panel)


def arcs(ring: Ring, upright: NDArray[np.bool_], limit: float) -> list[Arc]:
    """Find the arcs of four or more corners in a ring.

    Parameters
    ----------
    ring : Ring
        An outline.
    upright : (n,) bool
        Which panels stand along the cutting direction; others take part in no arc.
    limit : float
        How far a corner may be off its true place, mm.
    """
    if len(ring.points) < 4 or not upright.any():  # noqa: PLR2004
        return []
    centres, radii, errors, turns = _circles_at_corners(ring.points, limit)
    if np.count_nonzero(turns) < 3:  # noqa: PLR2004
        return []
    following = np.roll(np.arange(len(radii)), -1)
    apart = np.linalg.norm(centres - centres[following], axis=1)
    same = (
        upright
        & (turns * turns[following] > 0)
        & (apart <= errors + errors[following])
        & (np.abs(radii - radii[following]) <= errors + errors[following])
    )
    return [
        arc
        for run in _runs(same)
        if (arc := _arc_of(ring, run, (centres, radii, turns), closed=bool(same.all())))
        is not None
    ]


def _circles_at_corners(
    points: NDArray[np.float64], limit: float
) -> tuple[
    NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]
]:
    """Circle through each corner and its two neighbours, with its error, and the turn."""
    before = np.roll(points, 1, axis=0) - points
    after = np.roll(points, -1, axis=0) - points
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    chord = np.linalg.norm(after - before, axis=1)
    height = np.abs(cross) / np.maximum(chord, 1e-12)
    straight = height <= 2 * limit
    safe = np.where(straight, 1.0, 2 * cross)
    squares_b, squares_a = (before**2).sum(axis=1), (after**2).sum(axis=1)
    x = (after[:, 1] * squares_b - before[:, 1] * squares_a) / safe
    y = (before[:, 0] * squares_a - after[:, 0] * squares_b) / safe
    centres = points + np.column_stack([x, y])
    radii = np.where(straight, 0.0, np.hypot(x, y))
    # The centre moves by about R/h for each unit that a corner is off.
    errors = 4 * limit * radii / np.maximum(height, 1e-12) + 2 * limit
    errors = np.minimum(errors, 0.2 * radii)
    return centres, radii, errors, np.where(straight, 0.0, -cross)


def _runs(same: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    """Cyclic runs of panels whose two corners agree."""
    count = len(same)
    if same.all():
        return [np.arange(count)]
    first = int(np.argmin(same))
    rolled = np.roll(same, -first)
    edges = np.flatnonzero(np.diff(rolled.astype(np.int8), prepend=0, append=0))
    return [
        (np.arange(begin, end) + first) % count
        for begin, end in zip(edges[::2], edges[1::2], strict=True)
    ]


def _arc_of(
    ring: Ring,
    run: NDArray[np.int64],
    circles: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    *,
    closed: bool,
) -> Arc | None:
    """Take the median circle of a run's corners, and the panels that end it."""
    count = len(ring.points)
    centres, radii, turns = circles
    own = run if closed else np.append(run, (run[-1] + 1) % count)
    if not closed:
        # The corners at both ends carry one panel more each, whose far corner is on
        # the circle too: that is how their own circle was found.
        length = min(len(run) + 2, count)
        run = (run[0] - 1 + np.arange(length)) % count
    if len(run) < 4:  # noqa: PLR2004 - fewer say nothing of a circle
        return None
    centre = np.median(centres[own], axis=0)
    across = ring.points[np.append(run, (run[-1] + 1) % count)] - centre
    angles = np.arctan2(across[:, 1], across[:, 0])
    steps = (np.diff(angles) + np.pi) % (2 * np.pi) - np.pi
    of_run = np.zeros(count, dtype=bool)
    of_run[run] = True
    return Arc(
        centre=centre,
        radius=float(np.median(radii[own])),
        is_internal=bool(turns[own[0]] < 0),
        angles=angles[0] + np.concatenate([[0.0], np.cumsum(steps)]),
        faces=ring.faces[of_run[ring.panel_of_face]],
    )
