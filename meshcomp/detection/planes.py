"""Straight walls: upright planes, and which of them lie opposite each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot
from meshcomp.detection.opposing import opposing
from meshcomp.detection.scenes import Scene
from meshcomp.sections import Outlines

__all__ = [
    "Couples",
    "Planes",
    "bends_softly",
    "couples_of",
    "nearest_of",
    "planes_of",
    "span_along",
]

_UPRIGHT_LIMIT = 1e-4  # vertical part of the normal of a straight wall
_LEAST_LENGTH = 1.0  # mm along the outline
_SMOOTH_TURN = np.radians(31)  # a smaller turn may continue a curve
_LONGER_THAN_NEIGHBOUR = 3.0  # a facet of a curve is about as long as the next one
_PARALLEL = 1 - 1e-7  # cosine
_LEAST_DISTANCE = 0.05  # mm
_LEAST_COMMON = 0.05  # mm²
_SAME = 1e-3  # mm, between distances that count as one


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Planes:
    """Upright planes that are walls of their own, by rows."""

    regions: NDArray[np.int64]  # (k,) planar region of each
    areas: NDArray[np.float64]  # (k,) mm²
    normals: NDArray[np.float64]  # (k, 3) outward
    boxes: NDArray[np.float64]  # (k, 2, 3) lowest and highest corner, mm
    is_internal: NDArray[np.bool_]  # (k,) of pockets
    faces: tuple[NDArray[np.int64], ...]  # of each


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Couples:
    """Two antiparallel planes each, that overlap seen across them.

    The distance of outside planes is positive where they face away from each other, so
    that material may lie between; of planes of pockets where they face each other.
    """

    first: NDArray[np.int64]  # (c,) row of a plane
    second: NDArray[np.int64]
    distance: NDArray[np.float64]  # (c,) mm
    width: NDArray[np.float64]  # (c,) level stretch that both have, mm
    height: NDArray[np.float64]  # (c,) upright stretch that both have, mm

    @property
    def common(self) -> NDArray[np.float64]:
        """Area in which both overlap, (c,) mm²."""
        return self.width * self.height

    def where(self, chosen: NDArray[np.bool_]) -> Couples:
        """Return some of the couples."""
        return Couples(
            first=self.first[chosen],
            second=self.second[chosen],
            distance=self.distance[chosen],
            width=self.width[chosen],
            height=self.height[chosen],
        )

    def best_first(self) -> list[tuple[int, int]]:
        """Rows of both planes: those with most in common first, then the nearest."""
        rows = zip(
            (-np.round(self.common, 3)).tolist(),
            np.round(np.abs(self.distance), 6).tolist(),
            self.first.tolist(),
            self.second.tolist(),
            strict=True,
        )
        return [(i, j) for _, _, i, j in sorted(rows)]


def planes_of(
    scene: Scene, outlines: Outlines, walls: NDArray[np.bool_], internal: NDArray[np.bool_]
) -> Planes:
    """Collect the upright planes that are a wall of their own, not a facet of a curve.

    Parameters
    ----------
    scene : Scene
        The part.
    outlines : Outlines
        Of level sections.
    walls, internal : (m,) bool
        Faces of walls, and those of them that bound a pocket.
    """
    regions = _straight_regions(scene, outlines, walls)
    place = np.full(len(scene.regions.areas), -1)
    place[regions] = np.arange(len(regions))
    of_face = place[scene.regions.of_face]
    mine = np.flatnonzero(of_face >= 0)
    mine = mine[np.argsort(of_face[mine], kind="stable")]
    cuts = np.searchsorted(of_face[mine], np.arange(1, len(regions)))
    faces = np.split(mine, cuts) if len(regions) else []
    return Planes(
        regions=regions,
        areas=scene.regions.areas[regions],
        normals=scene.regions.normals[regions],
        boxes=_boxes(scene, mine, of_face[mine], len(regions)),
        is_internal=np.array([internal[f].any() for f in faces], dtype=bool),
        faces=tuple(faces),
    )


def _straight_regions(
    scene: Scene, outlines: Outlines, walls: NDArray[np.bool_]
) -> NDArray[np.int64]:
    straight = np.zeros(len(scene.regions.areas), dtype=bool)
    following, before = outlines.following, outlines.before
    lengths = outlines.lengths
    sharp = ~bends_softly(scene, outlines)
    longer = lengths > _LONGER_THAN_NEIGHBOUR * lengths[following]
    longer_than_last = lengths > _LONGER_THAN_NEIGHBOUR * lengths[before]
    own = (sharp | longer) & (sharp[before] | longer_than_last)
    straight[outlines.regions[own & (lengths > _LEAST_LENGTH)]] = True
    straight &= np.abs(scene.regions.normals[:, 2]) < _UPRIGHT_LIMIT
    is_wall = np.zeros(len(straight), dtype=bool)
    is_wall[scene.regions.of_face[walls]] = True
    return np.flatnonzero(straight & is_wall)


def bends_softly(scene: Scene, outlines: Outlines) -> NDArray[np.bool_]:
    """Whether each line of outlines, (p,), may be continued by the next one as a curve."""
    normals = scene.regions.normals[outlines.regions, :2]
    cosines = dot(normals, normals[outlines.following])
    return np.asarray(np.arccos(np.clip(cosines, -1, 1)) <= _SMOOTH_TURN)


def _boxes(
    scene: Scene, faces: NDArray[np.int64], of_face: NDArray[np.int64], count: int
) -> NDArray[np.float64]:
    """Bounding box of each plane, (k, 2, 3) mm, from its faces."""
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    for k in range(3):
        corners = np.take(scene.mesh.vertices, scene.mesh.faces[faces, k], axis=0)
        np.minimum.at(low, of_face, corners)
        np.maximum.at(high, of_face, corners)
    return np.stack([low, high], axis=1)


def couples_of(planes: Planes) -> Couples:
    """Find the antiparallel planes of one side that overlap, seen across them."""
    first, second = opposing(planes.normals, planes.boxes, planes.is_internal)
    parallel = dot(planes.normals[first], planes.normals[second]) < -_PARALLEL
    first, second = first[parallel], second[parallel]
    normals, middles = planes.normals[first], planes.boxes.mean(axis=1)
    distance = dot(middles[first] - middles[second], normals)
    distance = np.where(planes.is_internal[first], -distance, distance)
    width, height = _overlap(normals, planes.boxes[first], planes.boxes[second])
    found = Couples(
        first=first, second=second, distance=distance, width=width, height=height
    )
    return found.where(
        (np.abs(distance) > _LEAST_DISTANCE) & (found.common > _LEAST_COMMON)
    )


def _overlap(
    normals: NDArray[np.float64], a: NDArray[np.float64], b: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Width and height in which upright planes overlap, seen across them, mm."""
    along = np.column_stack([-normals[:, 1], normals[:, 0]])
    spans = [span_along(box, along) for box in (a, b)]
    width = np.minimum(spans[0][:, 1], spans[1][:, 1]) - np.maximum(
        spans[0][:, 0], spans[1][:, 0]
    )
    height = np.minimum(a[:, 1, 2], b[:, 1, 2]) - np.maximum(a[:, 0, 2], b[:, 0, 2])
    return np.clip(width, 0, None), np.clip(height, 0, None)


def span_along(
    boxes: NDArray[np.float64], along: NDArray[np.float64]
) -> NDArray[np.float64]:
    """From and to of upright planes along themselves, (n, 2), from their boxes, mm."""
    middle = dot(boxes[..., :2].mean(axis=1), along)
    half = np.linalg.norm(boxes[:, 1, :2] - boxes[:, 0, :2], axis=1) / 2
    return np.column_stack([middle - half, middle + half])


def nearest_of(
    couples: Couples, count: int, *, farthest: bool = False
) -> NDArray[np.bool_]:
    """Whether each plane of a couple is the nearest that the other has in any, (c,).

    Parameters
    ----------
    couples : Couples
        Among which to look.
    count : int
        How many planes there are.
    farthest : bool
        The farthest instead.
    """
    sign = -1.0 if farthest else 1.0
    distance = sign * np.abs(couples.distance)
    best = np.full(count, np.inf)
    np.minimum.at(best, couples.first, distance)
    np.minimum.at(best, couples.second, distance)
    limit = distance - _SAME
    return np.asarray((best[couples.first] >= limit) & (best[couples.second] >= limit))
