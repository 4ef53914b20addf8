"""Pairs of straight walls with their distance: walls, slots, and slots that are open."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.planes import Couples, Planes, span_along
from meshcomp.features import Wall
from meshcomp.meshes import Mesh

__all__ = ["Pair", "pair_of", "pairs", "wall_of"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pair:
    """Two parallel straight walls: with material between, or void if internal."""

    is_internal: bool
    is_open: bool  # an open slot: void reaches beyond the walls' ends
    regions: tuple[int, int]
    normal: NDArray[np.float64]  # (3,) from the first plane to the second
    start: float  # positions of the planes along `normal`, mm
    end: float
    middle: NDArray[np.float64]  # (3,) between the planes, mm
    level: tuple[float, float]  # heights that both walls reach, mm
    stretch: tuple[float, float]  # along (-normal[1], normal[0]), of both walls, mm
    faces: NDArray[np.int64]


def wall_of(pair: Pair, kind: str) -> Wall:
    """Describe a pair as a feature of a kind, without an id."""
    return Wall(
        id="",
        kind=kind,
        is_internal=pair.is_internal,
        nominal_size=pair.end - pair.start,
        point=pair.middle,
        direction=pair.normal,
        start=pair.start,
        end=pair.end,
        level=pair.level,
        curve_length=None,
        faces=pair.faces,
    )


def pairs(mesh: Mesh, planes: Planes, couples: Couples) -> list[Pair]:
    """Pair parallel straight walls: outside ones, and those of pockets.

    Each wall is used once; of several partners the one with the largest common area is
    taken, then the nearest.
    """
    used: set[int] = set()
    found = []
    for couple in couples.where(couples.distance > 0).best_first():
        if used.isdisjoint(couple):
            used.update(couple)
            found.append(pair_of(mesh, planes, couple))
    return found


def pair_of(
    mesh: Mesh, planes: Planes, couple: tuple[int, int], *, is_open: bool = False
) -> Pair:
    """Describe two planes, by their rows, as a pair."""
    # The larger one says best which way both look.
    normal = planes.normals[max(couple, key=lambda row: float(planes.areas[row]))].copy()
    normal[2] = 0.0
    normal /= np.linalg.norm(normal)
    # Let the direction point along +X, or +Y where it has no X: stable and readable.
    if (normal[0], normal[1]) < (-1e-9, 0) or (abs(normal[0]) < 1e-9 and normal[1] < 0):  # noqa: PLR2004
        normal = -normal
    faces = [planes.faces[row] for row in couple]
    positions = sorted(float((mesh.vertices[mesh.faces[f]] @ normal).mean()) for f in faces)
    boxes = planes.boxes[list(couple)]
    middle = boxes.mean(axis=(0, 1))
    middle = middle + (sum(positions) / 2 - middle @ normal) * normal
    along = np.array([-normal[1], normal[0]])
    spans = span_along(boxes, np.tile(along, (2, 1)))
    return Pair(
        is_internal=is_open or bool(planes.is_internal[couple[0]]),
        is_open=is_open,
        regions=(int(planes.regions[couple[0]]), int(planes.regions[couple[1]])),
        normal=normal,
        start=positions[0],
        end=positions[1],
        middle=middle,
        level=(float(boxes[:, 0, 2].max()), float(boxes[:, 1, 2].min())),
        stretch=(float(spans[:, 0].max()), float(spans[:, 1].min())),
        faces=np.sort(np.concatenate(faces)),
    )
