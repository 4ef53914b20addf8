"""Tell a D-shaped hole from a bore that something interrupts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.growing import WIDEST_FACET
from meshcomp.detection.scenes import Circle, Prospect

__all__ = ["is_flattened"]

_ALONG_LIMIT = 0.02  # sine between an edge and the axis


def is_flattened(view: Prospect, circle: Circle, faces: NDArray[np.int64]) -> bool:
    """Whether a straight wall closes the circle of a hole: a D, not a bore.

    A keyway, a split or a cross bore leaves the circle where it interrupts it; the flat
    of a D joins two lines on the cylinder by a chord wider than a facet can be.

    Parameters
    ----------
    view : Prospect
        The scene along the axis.
    circle : Circle
        As associated to the corners.
    faces : (k,) int
        Faces on it, sorted.
    """
    if not circle.is_internal:
        return False
    beyond, angles = _edges_along(view, circle, faces)
    if len(beyond) == 0:
        return False
    regions = view.scene.regions.of_face[beyond]
    order = np.argsort(regions, kind="stable")
    regions, angles = regions[order], angles[order]
    first = np.flatnonzero(np.diff(regions, prepend=-1))
    # Two lines on one plane are a chord apart; one line cut in pieces is at one angle.
    turned = angles - np.repeat(angles[first], np.diff(np.append(first, len(angles))))
    turned = np.abs((turned + 180) % 360 - 180)
    return bool((turned > WIDEST_FACET).any())


def _edges_along(
    view: Prospect, circle: Circle, faces: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Faces beyond the edges along the axis that end some faces, and where, degrees."""
    mesh = view.scene.mesh
    beyond = view.scene.topology.neighbours_of(faces).ravel()
    place = np.minimum(np.searchsorted(faces, beyond), len(faces) - 1)
    outer = np.flatnonzero((beyond >= 0) & (faces[place] != beyond))
    face, corner = np.repeat(faces, 3)[outer], outer % 3
    start = mesh.vertices[mesh.faces[face, corner]] @ view.frame.T
    end = mesh.vertices[mesh.faces[face, (corner + 1) % 3]] @ view.frame.T
    way = end - start
    along = np.hypot(way[:, 0], way[:, 1]) <= _ALONG_LIMIT * np.abs(way[:, 2])
    middle = ((start + end) / 2)[along, :2] - circle.centre
    return beyond[outer][along], np.degrees(np.arctan2(middle[:, 1], middle[:, 0]))
