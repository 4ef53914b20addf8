"""How wide a chord the facets of a circle may be: wider ones are flats beside it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import median
from meshcomp._vectors import dot, lowest, turned
from meshcomp.detection.bends import WIDEST_FACET
from meshcomp.detection.scenes import Circle, Prospect

__all__ = ["are_narrow", "without_flats"]

_WIDER_THAN_USUAL = 3.5  # a facet so much wider than the median is a flat, not a facet
_ROW = 3  # wide facets that follow each other
_SAME_WAY = 0.3  # of a facet's width, between directions of its triangles
_ADJOINING = (0.02, 0.25)  # of the wider facet, that ends may be apart: sure, at most


def are_narrow(
    across: NDArray[np.float64], radius: float, limit: float, widest: float
) -> NDArray[np.bool_]:
    """Whether all corners of faces lie on a circle, at most so many degrees apart, (k,).

    Corners that are off by the limit tilt a narrow facet's plane any way.
    """
    if len(across) == 0:
        return np.zeros(0, dtype=bool)
    first, second, third = (np.ascontiguousarray(across[:, k]) for k in range(3))
    nearest = np.full(len(across), np.inf)
    for a, b in ((first, second), (second, third), (third, first)):
        nearest = np.minimum(nearest, dot(a, b))
    is_on = np.sqrt(lowest(dot(across, across))) >= radius - limit
    return np.asarray(is_on & (nearest >= radius * radius * np.cos(np.radians(widest))))


def without_flats(
    view: Prospect, circle: Circle, faces: NDArray[np.int64], limit: float
) -> NDArray[np.int64]:
    """Drop faces on chords too wide to be facets of this circle: the side of a D.

    A narrow facet's plane, which its corners tilt by chance, does not count. Wide facets
    that follow each other are a part of the turn that was divided more coarsely.
    """
    if len(faces) == 0:
        return faces
    scene = view.scene
    normals = turned(scene.regions.face_normals[faces], view.frame[:2])
    corners = turned(scene.mesh.vertices[scene.mesh.faces[faces, 0]], view.frame[:2])
    reach = np.abs(dot(normals, corners - circle.centre)) / circle.radius
    widths = 2 * np.arccos(np.clip(reach, -1, 1))
    usual = median(widths)
    widest = min(np.radians(WIDEST_FACET), max(_WIDER_THAN_USUAL * usual, 0.02))
    kept = widths <= widest
    if kept.all():
        return faces
    lost = np.flatnonzero(~kept)
    corners = turned(scene.mesh.vertices[scene.mesh.faces[faces[lost]]], view.frame[:2])
    across = corners - circle.centre
    kept[lost] = are_narrow(across, circle.radius, limit, float(np.degrees(widest)))
    wide = lost[widths[lost] <= np.radians(WIDEST_FACET)]
    directions = np.arctan2(normals[wide, 1], normals[wide, 0])
    kept[wide] |= _in_rows(directions, widths[wide], limit / circle.radius)
    return np.asarray(faces[kept])


def _in_rows(
    directions: NDArray[np.float64], widths: NDArray[np.float64], limit: float
) -> NDArray[np.bool_]:
    """Whether facets, by direction and width in radians, adjoin like ones, (k,).

    Three make a row; the two flats of a double D do not adjoin. A limit in radii, by
    which corners may be off, makes widths uncertain.
    """
    order = np.argsort(directions % (2 * np.pi), kind="stable")
    ways, wide = directions[order] % (2 * np.pi), widths[order]
    # Triangles of one facet, which noise tilts, look nearly the same way.
    is_new = (ways - np.roll(ways, 1)) % (2 * np.pi) > _SAME_WAY * wide
    label = (np.cumsum(is_new) - 1) % max(int(is_new.sum()), 1)
    ways, wide = ways[is_new], wide[is_new]
    if len(ways) < _ROW:
        return np.zeros(len(order), dtype=bool)
    after = np.roll(wide, -1)
    apart = (np.roll(ways, -1) - ways) % (2 * np.pi)
    most = np.maximum(wide, after)
    spare = _ADJOINING[0] * most + 2 * limit / np.sin(most / 2)
    spare = np.minimum(spare, _ADJOINING[1] * most)
    adjoins = np.abs(apart - (wide + after) / 2) <= spare
    adjoins &= most <= _WIDER_THAN_USUAL * np.minimum(wide, after)
    before = np.roll(adjoins, 1)
    is_middle = adjoins & before
    in_row = (
        is_middle | (adjoins & np.roll(is_middle, -1)) | (before & np.roll(is_middle, 1))
    )
    return np.asarray(in_row[label][np.argsort(order)])
