"""Whether a bore or a pocket goes through or ends in the material."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import highest, lowest, turned
from meshcomp.detection.cylinders import CylinderFaces
from meshcomp.detection.scenes import Scene, frame_along
from meshcomp.features import Feature, Wall

__all__ = ["open_through", "with_openings"]

_DRILL_POINT = 1.2  # radii: a cone, a ball or a flat floor ends within this
_STEP = np.array([0.61, 0.79]) * 0.02  # radii, off the axis: no ray meets a regular edge
_BESIDE = 0.02  # mm, off a wall into the void
_STEEP = 0.2  # tangent of an angle out of upright
_AT_END = 0.01  # mm, that a floor may lie beyond the end of its walls


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


def with_openings(scene: Scene, features: Sequence[Feature]) -> list[Feature]:
    """Say of inside walls whether the void beside them goes on at both ends.

    A line beside the largest face of a wall, upright or along a pocket that lies, meets
    no floor then: a bore amid the floor of a pocket does not open the pocket. Walls that
    lean are passed where they come nearest to each other, or, if they lean much, looked
    through in the middle.
    """
    walls = [
        (index, feature)
        for index, feature in enumerate(features)
        if isinstance(feature, Wall) and feature.is_internal and len(feature.faces)
    ]
    told = list(features)
    for axis in _axes_of([wall for _, wall in walls]):
        frame = frame_along(axis)
        mine = [entry for entry in walls if np.array_equal(_axis(entry[1]), axis)]
        places = np.array([_beside(scene, wall, frame) for _, wall in mine])
        hits = _hits_along(scene, frame, places)
        for (index, wall), heights in zip(mine, hits, strict=True):
            low, high = _ends(wall)
            closing = (heights > low - _AT_END) & (heights < high + _AT_END)
            told[index] = replace(wall, is_through=not closing.any())
    return told


def _axis(wall: Wall) -> NDArray[np.float64]:
    """Return the direction along which a wall runs: that of a profile, else up."""
    return wall.direction if wall.kind == "profile" else np.array([0.0, 0.0, 1.0])


def _axes_of(walls: Sequence[Wall]) -> NDArray[np.float64]:
    return np.unique(np.array([_axis(wall) for wall in walls]).reshape(-1, 3), axis=0)


def _ends(wall: Wall) -> tuple[float, float]:
    return (wall.start, wall.end) if wall.kind == "profile" else wall.level


def _beside(scene: Scene, wall: Wall, frame: NDArray[np.float64]) -> NDArray[np.float64]:
    """Place, (2,), just beside a wall as seen along its axis, in the void."""
    areas = scene.mesh.area_vectors[wall.faces] @ frame.T
    level = np.hypot(areas[:, 0], areas[:, 1])
    largest = int(np.argmax(level))
    lean = abs(float(areas[largest, 2])) / max(float(level[largest]), 1e-12)
    if lean > _STEEP:
        corners = scene.mesh.vertices[scene.mesh.faces[wall.faces]] @ frame[:2].T
        return np.asarray((corners.min(axis=(0, 1)) + corners.max(axis=(0, 1))) / 2)
    away = _BESIDE + lean * (_ends(wall)[1] - _ends(wall)[0])
    corners = scene.mesh.vertices[scene.mesh.faces[wall.faces[largest]]] @ frame[:2].T
    # Off the middle of the face: no line from above meets a regular edge.
    middle = np.array([0.37, 0.32, 0.31]) @ corners
    return np.asarray(middle + away * areas[largest, :2] / level[largest])


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
