"""Walls that are a band of a curved surface: straight for a little, and of no size.

A torus, a bent tube or a ball has such bands, as wide as its facets happen to be.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import distinct, median
from meshcomp._vectors import along, cross, dot
from meshcomp.detection.bends import WIDEST_FACET
from meshcomp.detection.scenes import Scene
from meshcomp.topology import next_half_edge

__all__ = ["is_band_of_a_curve", "runs_on_curving"]

_BOTH_WAYS = 0.2  # of a rim, that bends each way
_ALL_AROUND = 0.9
_FLAT = 1e-4  # sine
# Band over the row of facets next to it, between the bends on both sides of that row, and
# share of its far side that bends the same way.
_EVEN_ROWS, _UNEVEN_ROWS = (1.5, 2.0, _ALL_AROUND), (3.0, 4.0, 0.6)


@dataclass(frozen=True, slots=True, eq=False)
class _Border:
    """Edges between a set of faces and others: how long, and by how much they bend."""

    inner: NDArray[np.int64]  # (e,) half-edges on this side
    outer: NDArray[np.int64]  # (e,) and beyond
    lengths: NDArray[np.float64]  # (e,) mm
    turns: NDArray[np.float64]  # (e,) sine, > 0 where convex; nan where not gentle
    heights: NDArray[np.float64]  # (e,) of an end, along the axis, mm

    def part(self, rows: NDArray[np.bool_]) -> _Border:
        """Return some of the edges."""
        return _Border(
            self.inner[rows],
            self.outer[rows],
            self.lengths[rows],
            self.turns[rows],
            self.heights[rows],
        )

    def share(self, rows: NDArray[np.bool_]) -> float:
        """Share of the length that some edges make up."""
        return float(self.lengths[rows].sum() / max(self.lengths.sum(), 1e-12))

    @property
    def way(self) -> int:
        """1 if convex all around, -1 if concave, 2 for both in turn, else 0."""
        if self.share(~np.isnan(self.turns)) <= _ALL_AROUND:
            return 0
        convex, concave = self.share(self.turns > _FLAT), self.share(self.turns < -_FLAT)
        if min(convex, concave) > _BOTH_WAYS:
            return 2
        if max(convex, concave) > _ALL_AROUND:
            return 1 if convex > concave else -1
        return 0


def is_band_of_a_curve(
    scene: Scene, faces: NDArray[np.int64], axis: NDArray[np.float64]
) -> bool:
    """Whether a wall goes on curving at both of its ends.

    On a tube that is bent, the surface falls away on one side there and rises on the
    other. On a ring or a ball it goes the same way all around, and again at the next row
    of facets, which is as wide as the wall itself; a rounding's facets are narrower.

    Parameters
    ----------
    scene : Scene
        The part.
    faces : (k,) int
        Of the wall, sorted.
    axis : (3,) float
        The wall's, a unit vector.
    """
    ends, length = _ends(scene, faces, axis)
    way = ends[0].way if ends else 0
    if way == 0 or ends[1].way != way:
        return False
    if way == 2:  # noqa: PLR2004 - a bent tube
        return True
    return all(_goes_on(scene, faces, end, (axis, length), _EVEN_ROWS) for end in ends)


def runs_on_curving(
    scene: Scene, faces: NDArray[np.int64], axis: NDArray[np.float64]
) -> bool:
    """Whether a band goes on at one of its ends in rows about as wide.

    Each row of facets of a surface of revolution is a cone by itself. Parameters are
    those of `is_band_of_a_curve`.
    """
    ends, length = _ends(scene, faces, axis)
    return any(
        abs(end.way) == 1 and _goes_on(scene, faces, end, (axis, length), _UNEVEN_ROWS)
        for end in ends
    )


def _ends(
    scene: Scene, faces: NDArray[np.int64], axis: NDArray[np.float64]
) -> tuple[list[_Border], float]:
    """Borders at the upper and the lower end of a wall, if it has any, and its length."""
    rim = _border(scene, faces, faces, axis)
    if len(rim.inner) == 0:
        return [], 0.0
    low, high = float(rim.heights.min()), float(rim.heights.max())
    is_high = rim.heights > (low + high) / 2
    return [rim.part(is_high), rim.part(~is_high)], high - low


def _border(
    scene: Scene,
    faces: NDArray[np.int64],
    known: NDArray[np.int64],
    axis: NDArray[np.float64],
) -> _Border:
    """Edges between faces and those that are not known, both sorted."""
    inner = (3 * faces[:, None] + np.arange(3)).ravel()
    outer = scene.topology.twins[inner]
    place = np.minimum(np.searchsorted(known, outer // 3), len(known) - 1)
    rim = (outer >= 0) & (known[place] != outer // 3)
    inner, outer = inner[rim], outer[rim]
    corners = scene.mesh.faces.ravel()
    starts = scene.mesh.vertices[corners[inner]]
    edges = scene.mesh.vertices[corners[next_half_edge(inner)]] - starts
    normals = scene.regions.face_normals
    own, others = normals[inner // 3], normals[outer // 3]
    lengths = np.sqrt(dot(edges, edges))
    turns = dot(cross(own, others), edges) / np.maximum(lengths, 1e-12)
    turns[dot(own, others) < np.cos(np.radians(WIDEST_FACET))] = np.nan
    return _Border(inner, outer, lengths, turns, along(starts, axis))


def _goes_on(
    scene: Scene,
    faces: NDArray[np.int64],
    end: _Border,
    length: tuple[NDArray[np.float64], float],
    limits: tuple[float, float, float],
) -> bool:
    """Whether the row beyond an end is about as wide as the wall, and bends on itself."""
    axis, height = length
    areas = np.linalg.norm(scene.mesh.area_vectors[end.outer // 3], axis=1)
    widths = 2 * areas / np.maximum(end.lengths, 1e-12)
    if height > limits[0] * median(widths):
        return False
    row = _row(scene, np.unique(end.outer // 3))
    beyond = _border(scene, row, np.union1d(row, faces), axis)
    if beyond.share(end.way * beyond.turns > _FLAT) <= limits[2]:
        return False
    first, second = (float(np.nanmedian(np.abs(b.turns))) for b in (end, beyond))
    return first < limits[1] * second and second < limits[1] * first


def _row(scene: Scene, faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Add to faces what lies in the plane of one of them and next to it, sorted."""
    beside = scene.topology.neighbours_of(faces)
    of_face = scene.regions.of_face
    alike = (beside >= 0) & (of_face[beside] == of_face[faces][:, None])
    count = len(scene.mesh.faces)
    return distinct(np.concatenate([faces, beside[alike]]), count)
