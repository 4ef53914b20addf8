"""Walls: straight pairs with their distance, and the profiles between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot
from meshcomp.detection.scenes import Scene
from meshcomp.sections import Outlines
from meshcomp.topology import components

__all__ = ["LEVEL_LIMIT", "Pair", "Profile", "internal_faces", "pairs", "profiles"]

LEVEL_LIMIT = 1e-3  # horizontal part of the normal: less is a level face, no wall
_UPRIGHT_LIMIT = 1e-4  # vertical part of the normal of a straight wall
_LEAST_LENGTH = 1.0  # mm along the outline
_SMOOTH_TURN = np.radians(31)  # a smaller turn may continue a curve
_LONGER_THAN_NEIGHBOUR = 3.0  # a facet of a curve is about as long as the next one
_PARALLEL = 1 - 1e-7  # cosine


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pair:
    """Two parallel straight walls: with material between, or void if internal."""

    is_internal: bool
    normal: NDArray[np.float64]  # (3,) from the first plane to the second
    start: float  # positions of the planes along `normal`, mm
    end: float
    middle: NDArray[np.float64]  # (3,) between the planes, mm
    level: tuple[float, float]  # heights that both walls reach, mm
    faces: NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Profile:
    """A connected wall without a size of its own."""

    is_internal: bool
    curve_length: float  # mm, longest outline seen in a section
    faces: NDArray[np.int64]


def internal_faces(
    scene: Scene, outlines: Outlines, walls: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Tell walls of pockets from outside walls, (m,) bool.

    A wall is internal if most sections see it on a clockwise ring. Walls that no section
    cut take the side of the nearest ones that hang together with them; those left over
    count as outside.
    """
    side = np.where(outlines.areas < 0, 1.0, -1.0)[outlines.ring]
    votes = np.bincount(outlines.faces, side[outlines.panel_of_face], len(walls))
    votes = np.append(np.where(walls, votes, 0.0), 0.0)  # the last: across an open edge
    unsure = np.flatnonzero(walls & (votes[:-1] == 0))
    for _ in range(50):
        a, b, c = np.sign(votes[scene.topology.neighbours_of(unsure)]).T
        spread = np.sign(a + b + c)
        if not spread.any():
            break
        votes[unsure] = 0.5 * spread
        unsure = unsure[spread == 0]
    return np.asarray(votes[:-1] > 0)


def _straight_regions(
    scene: Scene, outlines: Outlines, walls: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Upright planes that are a wall of their own, not a facet of a curve."""
    straight = np.zeros(len(scene.regions.areas), dtype=bool)
    following, before = outlines.following, outlines.before
    lengths = outlines.lengths
    normals = scene.regions.normals[outlines.regions, :2]
    cosines = dot(normals, normals[following])
    sharp = np.arccos(np.clip(cosines, -1, 1)) > _SMOOTH_TURN
    longer = lengths > _LONGER_THAN_NEIGHBOUR * lengths[following]
    longer_than_last = lengths > _LONGER_THAN_NEIGHBOUR * lengths[before]
    own = (sharp | longer) & (sharp[before] | longer_than_last)
    straight[outlines.regions[own & (lengths > _LEAST_LENGTH)]] = True
    straight &= np.abs(scene.regions.normals[:, 2]) < _UPRIGHT_LIMIT
    is_wall = np.zeros(len(straight), dtype=bool)
    is_wall[scene.regions.of_face[walls]] = True
    return np.flatnonzero(straight & is_wall)


def pairs(
    scene: Scene, outlines: Outlines, walls: NDArray[np.bool_], internal: NDArray[np.bool_]
) -> list[Pair]:
    """Pair parallel straight walls that face each other or away from each other.

    Each wall is used once; of several partners the one with the largest common area is
    taken, then the nearest.
    """
    regions = _straight_regions(scene, outlines, walls)
    boxes = _boxes(scene, regions)
    inside = np.zeros(len(scene.regions.areas), dtype=bool)
    inside[scene.regions.of_face[internal]] = True
    options = _options(scene, regions, boxes, inside[regions])
    used: set[int] = set()
    found = []
    for _, _, i, j in options:
        if i not in used and j not in used:
            used |= {i, j}
            found.append(
                _pair(scene, (int(regions[i]), int(regions[j])), boxes[[i, j]], inside)
            )
    return found


def _boxes(scene: Scene, regions: NDArray[np.int64]) -> NDArray[np.float64]:
    """Bounding box of each region, (k, 2, 3) mm."""
    low, high = np.full((len(regions), 3), np.inf), np.full((len(regions), 3), -np.inf)
    number = np.full(len(scene.regions.areas), -1)
    number[regions] = np.arange(len(regions))
    of_face = number[scene.regions.of_face]
    faces = np.flatnonzero(of_face >= 0)
    for k in range(3):
        corners = np.take(scene.mesh.vertices, scene.mesh.faces[faces, k], axis=0)
        np.minimum.at(low, of_face[faces], corners)
        np.maximum.at(high, of_face[faces], corners)
    return np.stack([low, high], axis=1)


def _options(
    scene: Scene,
    regions: NDArray[np.int64],
    boxes: NDArray[np.float64],
    internal: NDArray[np.bool_],
) -> list[tuple[float, float, int, int]]:
    """Possible pairs as (-common area, distance, i, j), best first."""
    normals = scene.regions.normals[regions]
    middles = boxes.mean(axis=1)
    first, second = np.triu_indices(len(regions), 1)
    parallel = dot(normals[first], normals[second]) < -_PARALLEL
    same_side = internal[first] == internal[second]
    first, second = first[parallel & same_side], second[parallel & same_side]
    distance = dot(middles[first] - middles[second], normals[first])
    distance = np.where(internal[first], -distance, distance)
    common = _common_area(normals[first], boxes[first], boxes[second])
    good = (distance > 0.05) & (common > 0.05)  # noqa: PLR2004 - mm, mm²
    rows = zip(
        (-np.round(common[good], 3)).tolist(),
        np.round(distance[good], 6).tolist(),
        first[good].tolist(),
        second[good].tolist(),
        strict=True,
    )
    return sorted(rows)


def _common_area(
    normals: NDArray[np.float64], a: NDArray[np.float64], b: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Area in which two upright walls overlap, seen across them, mm² (from boxes)."""
    along = np.column_stack([-normals[:, 1], normals[:, 0]])
    spans = [_span_along(box, along) for box in (a, b)]
    width = np.minimum(spans[0][:, 1], spans[1][:, 1]) - np.maximum(
        spans[0][:, 0], spans[1][:, 0]
    )
    height = np.minimum(a[:, 1, 2], b[:, 1, 2]) - np.maximum(a[:, 0, 2], b[:, 0, 2])
    return np.asarray(np.clip(width, 0, None) * np.clip(height, 0, None))


def _span_along(
    boxes: NDArray[np.float64], along: NDArray[np.float64]
) -> NDArray[np.float64]:
    """From and to of an upright plane along itself, (n, 2), from its bounding box."""
    middle = dot(boxes[..., :2].mean(axis=1), along)
    half = np.linalg.norm(boxes[:, 1, :2] - boxes[:, 0, :2], axis=1) / 2
    return np.column_stack([middle - half, middle + half])


def _pair(
    scene: Scene,
    regions: tuple[int, int],
    boxes: NDArray[np.float64],
    inside: NDArray[np.bool_],
) -> Pair:
    normal = scene.regions.normals[regions[0]].copy()
    normal[2] = 0.0
    normal /= np.linalg.norm(normal)
    # Let the direction point along +X, or +Y where it has no X: stable and readable.
    if (normal[0], normal[1]) < (-1e-9, 0) or (abs(normal[0]) < 1e-9 and normal[1] < 0):  # noqa: PLR2004
        normal = -normal
    faces = [np.flatnonzero(scene.regions.of_face == region) for region in regions]
    positions = sorted(
        float((scene.mesh.vertices[scene.mesh.faces[f]] @ normal).mean()) for f in faces
    )
    middle = boxes.mean(axis=(0, 1))
    middle = middle + (sum(positions) / 2 - middle @ normal) * normal
    return Pair(
        is_internal=bool(inside[regions[0]]),
        normal=normal,
        start=positions[0],
        end=positions[1],
        middle=middle,
        level=(float(boxes[:, 0, 2].max()), float(boxes[:, 1, 2].min())),
        faces=np.sort(np.concatenate(faces)),
    )


def profiles(
    scene: Scene,
    outlines: Outlines,
    walls: NDArray[np.bool_],
    internal: NDArray[np.bool_],
    paired: NDArray[np.bool_],
) -> list[Profile]:
    """Group the walls that are in no pair by what hangs together.

    Walls in pairs join their neighbours, so that the rounded corners of a plate are one
    profile, not four.
    """
    joined = scene.topology.pairs // 3
    a, b = joined[:, 0], joined[:, 1]
    joined = joined[walls[a] & walls[b] & (internal[a] == internal[b])]
    labels = components(len(walls), joined)
    lengths = _outline_lengths(outlines, labels, walls & ~paired)
    rest = np.flatnonzero(walls & ~paired)
    order = rest[np.argsort(labels[rest], kind="stable")]
    parts = np.split(order, np.flatnonzero(np.diff(labels[order])) + 1)
    return [
        Profile(
            is_internal=bool(internal[faces[0]]),
            curve_length=lengths.get(int(labels[faces[0]]), 0.0),
            faces=np.sort(faces),
        )
        for faces in parts
        if len(faces)
    ]


def _outline_lengths(
    outlines: Outlines, labels: NDArray[np.int64], wanted: NDArray[np.bool_]
) -> dict[int, float]:
    """Longest outline of each component's own panels in any one section, mm."""
    first = np.unique(outlines.panel_of_face, return_index=True)[1]
    faces = outlines.faces[first]
    mine = wanted[faces]
    rows = np.column_stack([labels[faces[mine]], outlines.ring[mine]])
    keys, index = np.unique(rows, axis=0, return_inverse=True)
    totals = np.bincount(index.ravel(), outlines.lengths[mine], len(keys))
    best: dict[int, float] = {}
    for label, total in zip(keys[:, 0].tolist(), totals.tolist(), strict=True):
        best[label] = max(best.get(label, 0.0), total)
    return best
