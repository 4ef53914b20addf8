"""The level faces of a mesh, by height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.features import Cylinder
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.segmentation import Regions, flatness_limit, planar_regions
from meshcomp.topology import topology_of

__all__ = ["STANDING", "Levels", "levels_in", "levels_of", "lying_cylinders"]

STANDING = 0.9999  # cosine of an axis to the build direction

_LEVEL = 1e-4  # horizontal part of a normal: more is a slope
_LEAST_AREA = 0.01  # mm²: smaller faces are crumbs of other shapes


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Heights with level faces, rising, and the faces there that look up and down."""

    heights: NDArray[np.float64]  # (k,) in the part's frame, mm
    areas: NDArray[np.float64]  # (k, 2) of the faces that look up, and down, mm²
    counts: NDArray[np.int64]  # (k, 2) separate faces
    limit: float  # mm: heights nearer to each other are one


def levels_in(inspection: Inspection) -> Levels:
    """Find the level faces of a part that are no facets of its lying bores and bosses.

    Parameters
    ----------
    inspection : Inspection
        The part as it stands on the bed, mm, and its features.
    """
    mesh = inspection.part.mesh
    curved = np.zeros(len(mesh.faces), dtype=bool)
    for cylinder in lying_cylinders(inspection):
        curved[cylinder.faces] = curved[cylinder.entry_faces] = True
    return levels_of(mesh, curved)


def lying_cylinders(inspection: Inspection) -> list[Cylinder]:
    """Return the bores and bosses of a part that do not stand, which must stay round."""
    return [c for c in inspection.cylinders if abs(float(c.direction[2])) < STANDING]


def levels_of(mesh: Mesh, curved: NDArray[np.bool_] | None = None) -> Levels:
    """Find the level faces of a closed mesh.

    Parameters
    ----------
    mesh : Mesh
        As it stands on the bed, mm.
    curved : (m,) bool, optional
        Faces that stand for a curved wall, and are level by chance.

    Examples
    --------
    >>> import meshcomp
    >>> found = levels_of(meshcomp.demo_part("knob").mesh)
    >>> found.heights.tolist(), found.counts.tolist()
    ([0.0, 9.0, 14.0], [[0, 1], [0, 1], [1, 0]])
    """
    regions = planar_regions(mesh, topology_of(mesh))
    limit = 2 * flatness_limit(mesh)
    numbers, heights = _level_regions(mesh, regions, limit)
    if curved is not None:
        flat = ~np.isin(numbers, regions.of_face[curved])
        numbers, heights = numbers[flat], heights[flat]
    order = np.argsort(heights, kind="stable")
    numbers, heights = numbers[order], heights[order]
    # A new height begins where the gap is too wide for rounding.
    group = np.cumsum(np.diff(heights, prepend=-np.inf) > limit) - 1
    count = int(group.max(initial=-1)) + 1
    weights = regions.areas[numbers]
    sums = np.bincount(group, weights * heights, count)
    down = (regions.normals[numbers, 2] < 0).astype(np.int64)
    areas, counts = np.zeros((count, 2)), np.zeros((count, 2), dtype=np.int64)
    np.add.at(areas, (group, down), weights)
    np.add.at(counts, (group, down), 1)
    means = sums / np.maximum(areas.sum(axis=1), 1e-12)
    exact = np.array([_commonest(heights[group == g], means[g]) for g in range(count)])
    return Levels(exact, areas, counts, limit)


def _commonest(heights: NDArray[np.float64], mean: float) -> float:
    """Take a height that is really there, where the faces' own do not differ."""
    return float(heights[0]) if np.ptp(heights) == 0 else mean


def _level_regions(
    mesh: Mesh, regions: Regions, limit: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Numbers of the level regions, and their heights."""
    z = mesh.vertices[mesh.faces, 2]
    count = len(regions.areas)
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, regions.of_face, z.min(axis=1))
    np.maximum.at(high, regions.of_face, z.max(axis=1))
    slope = np.hypot(regions.normals[:, 0], regions.normals[:, 1])
    is_level = (slope < _LEVEL) & (regions.areas >= _LEAST_AREA) & (high - low <= limit)
    numbers = np.flatnonzero(is_level)
    return numbers, (low + high)[numbers] / 2
