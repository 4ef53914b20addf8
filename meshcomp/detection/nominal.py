"""The radius that a wall had before its mesh was made anew.

Corners of a mesh as CAD makes it lie on the cylinder. Remeshing puts them on its old
facets, inside the circle; decimation puts them outside, where the planes of the facets
that it took away are nearest.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, turned
from meshcomp.detection.rough import was_made_anew
from meshcomp.detection.scenes import Circle, Prospect

__all__ = ["nominal_radius"]

_LEAST_SCATTER = 2e-4  # mm: what scatters less has its corners on the circle
_ROUGH_SCATTER = 0.01  # mm: more than noise of the coordinates explains
_HIGH = 0.98  # quantile: the circle on which the ends of old facets lie
_EVEN = 1.5  # longest to shortest edge: remeshing makes them alike, decimation does not
# Depth of the facets below their corners, shares of the corners' scatter:
_AMID = 0.35  # small triangles amid old facets
_DEEP = 1.0  # even triangles wider than old facets
_DEEPER = 2.0  # whatever their shape: of decimated walls it is about 1


def nominal_radius(
    view: Prospect,
    circle: Circle,
    faces: NDArray[np.int64],
    corners: NDArray[np.float64],
) -> float:
    """Radius of the circle on which corners lay before a mesh was made anew, mm.

    Parameters
    ----------
    view : Prospect
        The scene along the cylinder's axis.
    circle : Circle
        Associated to the corners of the faces.
    faces : (k,) int
        Of the cylinder.
    corners : (n, 2) float
        At which its facets meet, across the axis, mm.

    Notes
    -----
    A corner that decimation put where the squared distances from the planes of the old
    facets are least (M. Garland, P. S. Heckbert, "Surface simplification using quadric
    error metrics", Proceedings of SIGGRAPH 97 (1997) 209-216) and that stands for an arc
    of the angle 2a has the least squared distances from its tangents at
    r (1 + a²/6), and the chord between two such corners lies at r (1 - a²/6) on average:
    the mean of both is r, to second order.
    """
    least = _LEAST_SCATTER if view.scene.is_exact else _ROUGH_SCATTER
    distances = np.hypot(*(corners - circle.centre).T)
    if float(np.ptp(distances)) < least:
        return circle.radius
    low, middle, high = np.quantile(distances, [0.05, 0.5, _HIGH])
    scatter, facets = float(high - low), _mean_radius(view, circle, faces)
    if scatter < least:
        return circle.radius
    depth = float(middle - facets) / scatter
    if was_made_anew(view.scene, faces, view.frame[2]):
        is_even = _evenness(view, faces) < _EVEN
        if depth > (_DEEP if is_even else _DEEPER) or (is_even and depth < _AMID):
            return float(high)
    # Else most corners lie on the circle, some amid its chords, unless they reach out.
    is_outside = high - middle > max(least, middle - low) and _AMID < depth < _DEEPER
    return (float(distances.mean()) + facets) / 2 if is_outside else circle.radius


def _mean_radius(view: Prospect, circle: Circle, faces: NDArray[np.int64]) -> float:
    """Root of the mean squared distance of a wall's area from its axis, mm."""
    mesh = view.scene.mesh
    across = turned(mesh.vertices[mesh.faces[faces]], view.frame[:2]) - circle.centre
    middles = (across + np.roll(across, 1, axis=1)) / 2
    # The mean of a quadratic over a triangle is that of its edges' middles.
    squares = dot(middles, middles).mean(axis=1)
    vectors = mesh.area_vectors[faces]
    areas = np.sqrt(dot(vectors, vectors))
    return float(np.sqrt((squares * areas).sum() / areas.sum()))


def _evenness(view: Prospect, faces: NDArray[np.int64]) -> float:
    """Longest by shortest edge of a triangle, the median of all."""
    mesh = view.scene.mesh
    corners = mesh.vertices[mesh.faces[faces]]
    edges = corners - np.roll(corners, 1, axis=1)
    squares = dot(edges, edges)
    return float(np.sqrt(np.median(squares.max(axis=1) / squares.min(axis=1))))
