"""Whether a bore goes through or ends in the material."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import highest, lowest, turned
from meshcomp.detection.cylinders import CylinderFaces
from meshcomp.detection.scenes import Scene

__all__ = ["open_through"]

_DRILL_POINT = 1.2  # radii: a cone, a ball or a flat floor ends within this
_STEP = np.array([0.61, 0.79]) * 0.02  # radii, off the axis: no ray meets a regular edge


def open_through(scene: Scene, bores: list[CylinderFaces]) -> list[bool]:
    """Whether a line near the axis of each bore leaves it on both sides without a floor.

    Bores that share a direction are looked at together, so that the faces are gone
    through once a direction, not once a bore.
    """
    together: dict[bytes, list[int]] = {}
    for number, bore in enumerate(bores):
        together.setdefault(bore.frame.tobytes(), []).append(number)
    is_open = [False] * len(bores)
    for numbers in together.values():
        mine = [bores[number] for number in numbers]
        places = np.array([bore.centre + _STEP * bore.diameter / 2 for bore in mine])
        hits = _hits_along(scene, mine[0].frame, places)
        for number, bore, heights in zip(numbers, mine, hits, strict=True):
            is_open[number] = _is_free(bore, heights)
    return is_open


def _is_free(bore: CylinderFaces, hits: NDArray[np.float64]) -> bool:
    """Whether none of the positions along its axis is a floor of a bore."""
    middle = (bore.start + bore.end) / 2
    above = hits[hits > middle]
    below = hits[hits < middle]
    reach = _DRILL_POINT * bore.diameter / 2 + 0.01
    floor_above = len(above) > 0 and above.min() < bore.end + reach
    floor_below = len(below) > 0 and below.max() > bore.start - reach
    return not (floor_above or floor_below)


def _hits_along(
    scene: Scene, frame: NDArray[np.float64], places: NDArray[np.float64]
) -> list[NDArray[np.float64]]:
    """Positions along a direction where the line through each place meets faces, mm."""
    local = turned(scene.mesh.vertices, frame)
    face, place = _below(local, scene.mesh.faces, places)
    corners = scene.mesh.faces[face]
    a, b, c = (local[corners[:, k], :2] - places[place] for k in range(3))

    def side(p: NDArray[np.float64], q: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0])

    weights = np.column_stack([side(b, c), side(c, a), side(a, b)])
    inside = (weights > 0).all(axis=1) | (weights < 0).all(axis=1)
    weights = weights[inside] / weights[inside].sum(axis=1, keepdims=True)
    heights = (weights * local[:, 2][corners[inside]]).sum(axis=1)
    return [heights[place[inside] == number] for number in range(len(places))]


def _below(
    local: NDArray[np.float64], faces: NDArray[np.int64], places: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Faces whose box holds a place, seen along the last axis, and that place."""
    order = np.argsort(places[:, 0], kind="stable")
    x = np.ascontiguousarray(local[:, 0])[faces]
    first = np.searchsorted(places[order, 0], lowest(x), "left")
    counts = np.searchsorted(places[order, 0], highest(x), "right") - first
    near = np.flatnonzero(counts)
    counts = counts[near]
    step = np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts)
    face = np.repeat(near, counts)
    place = order[np.repeat(first[near], counts) + step]
    y, at = local[:, 1][faces[face]], places[place, 1]
    inside = (lowest(y) <= at) & (highest(y) >= at)
    return face[inside], place[inside]
