"""Plane offsets with mitred corners, and upright prisms on outlines.

Sources: shapely (GEOS `buffer` with mitred joins) for offsets and areas; manifold3d's
`triangulate`, which leaves the points as they are, for the lids of prisms.

A ring is a (n, 2) float array in mm, its last point not repeated. As in a cross-section,
a ring that runs counter-clockwise bounds material, a clockwise one bounds a hole.

Trap: GEOS first drops dents shallower than 1 % of the distance from what it buffers, so
its offset of a finely faceted concave curve may be off by as much (0.001 mm at 0.1 mm);
at corners deeper than that, and on convex outlines, it is exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import MultiPolygon, Polygon

from meshcomp.meshes import Mesh

__all__ = ["areas", "offset_outline", "outline_gap", "prism"]

MITRE_LIMIT = 100.0  # corners sharper than 1.2° are cut off


def offset_outline(
    rings: Sequence[ArrayLike], distance_outer: float, distance_holes: float
) -> Polygon | MultiPolygon:
    """Return an outline whose outer rings and holes have each moved by a distance.

    Parameters
    ----------
    rings : sequence of (n, 2) float
        Counter-clockwise rings of material, clockwise rings of holes, mm.
    distance_outer : float
        How far the outer rings move outward, mm: as `--wall-growth`.
    distance_holes : float
        How far the rings of holes move into the material, mm: as `--pocket-opening`.

    Examples
    --------
    >>> square = [(0, 0), (4, 0), (4, 4), (0, 4)]
    >>> offset_outline([square], 0.5, 0.0).area
    25.0
    """
    outers, holes = _sorted_by_turn(rings)
    outer = shapely.union_all([_mitred(ring, distance_outer) for ring in outers])
    hole = shapely.union_all([_mitred(ring, distance_holes) for ring in holes])
    return outer.difference(hole)


def areas(rings: Sequence[ArrayLike]) -> tuple[float, float]:
    """Return the area inside the outer rings and that inside the holes, mm².

    Examples
    --------
    >>> areas([[(0, 0), (4, 0), (4, 4), (0, 4)], [(1, 1), (1, 2), (2, 2), (2, 1)]])
    (16.0, 1.0)
    """
    outers, holes = _sorted_by_turn(rings)
    return float(sum(p.area for p in outers)), float(sum(p.area for p in holes))


def outline_gap(outline: Polygon | MultiPolygon, rings: Sequence[ArrayLike]) -> float:
    """Return the largest distance between an outline and rings, both ways, mm.

    The Hausdorff distance of the two boundaries, taken at their corners and at points
    that split every edge in four.
    """
    other = shapely.multilinestrings([shapely.linearrings(ring) for ring in rings])
    return float(shapely.hausdorff_distance(outline.boundary, other, densify=0.25))


def prism(rings: Sequence[ArrayLike], low: float, high: float) -> Mesh:
    """Return the upright prism on an outline, its points kept to the last bit.

    Parameters
    ----------
    rings : sequence of (n, 2) float
        Counter-clockwise rings of material, clockwise rings of holes, mm.
    low, high : float
        Heights of its lids, mm.

    Examples
    --------
    >>> prism([[(0, 0), (4, 0), (0, 3)]], 0, 2).volume
    12.0
    """
    import manifold3d

    arrays = [np.asarray(ring, dtype=float) for ring in rings]
    lid = np.asarray(manifold3d.triangulate(arrays), dtype=np.int64)
    points = np.concatenate(arrays)
    count = len(points)
    vertices = np.concatenate(
        [np.column_stack([points, np.full(count, z)]) for z in (low, high)]
    )
    here = np.arange(count)
    starts = np.cumsum([0] + [len(ring) for ring in arrays])
    # Each ring's points, one further on, the last followed by the first.
    after = np.concatenate([np.roll(here[a:b], -1) for a, b in pairwise(starts)])
    sides = [
        np.column_stack([here, after, after + count]),
        np.column_stack([here, after + count, here + count]),
    ]
    return Mesh(vertices, np.concatenate([lid[:, ::-1], lid + count, *sides]))


def _sorted_by_turn(rings: Sequence[ArrayLike]) -> tuple[list[Polygon], list[Polygon]]:
    """Polygons of the counter-clockwise and of the clockwise rings."""
    turned: tuple[list[Polygon], list[Polygon]] = ([], [])
    for ring in rings:
        polygon = Polygon(np.asarray(ring, dtype=float))
        turned[0 if polygon.exterior.is_ccw else 1].append(polygon)
    return turned


def _mitred(polygon: Polygon, distance: float) -> Polygon:
    """Polygon grown by a distance, corners kept sharp."""
    return polygon.buffer(distance, join_style="mitre", mitre_limit=MITRE_LIMIT)
