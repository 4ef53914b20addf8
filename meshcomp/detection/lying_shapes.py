"""Pockets that lie: outlines in sections across X and Y that are no circle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import along
from meshcomp.detection.evidence import with_evidence
from meshcomp.detection.outline_shapes import is_round, shape_of
from meshcomp.detection.scenes import Scene, frame_along
from meshcomp.features import Cylinder, Shape, Wall
from meshcomp.sections import Outlines
from meshcomp.topology import components

__all__ = ["lying_pockets"]

_MOST = 4000  # pockets that are looked at
_LEVEL = 1e-3  # sine
_ALONG = 0.3  # sine: faces that lean more, as twisted facets do, are no walls of a pocket
_DRAFT = 0.01  # sine: walls that lean more, all one way, are drafted
_SHALLOW = (1.2, 20.0)  # mm: no deeper and no larger, an outline is one of text
_BESIDE = 0.05  # mm, that faces of a pocket may lie beside its outline
_SAME = 0.02  # mm, between the outlines of one pocket


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """A part in sections across a level direction."""

    scene: Scene
    axis: NDArray[np.float64]
    outlines: Outlines

    def lean(self) -> NDArray[np.float64]:
        """Sine by which each planar region leans against the axis."""
        return along(self.scene.regions.normals, self.axis)

    def points(self, ring: int) -> NDArray[np.float64]:
        """Corners of a ring, (n, 2) mm."""
        return self.outlines.points[slice(*self.outlines.firsts[ring : ring + 2].tolist())]

    def length(self, ring: int) -> float:
        """Length of a ring, mm."""
        ways = np.diff(self.points(ring), axis=0, append=self.points(ring)[:1])
        return float(np.hypot(ways[:, 0], ways[:, 1]).sum())


def lying_pockets(
    scene: Scene,
    sections: Sequence[tuple[NDArray[np.float64], Outlines]],
    walls: NDArray[np.bool_],
    cylinders: Sequence[Cylinder],
) -> list[Wall]:
    """Find pockets whose axis lies and whose outline has a name.

    Rectangles are left to their walls: those that stand are measured as others are, and
    those that do not are level.

    Parameters
    ----------
    scene : Scene
        The part.
    sections : sequence of (direction, Outlines)
        Level directions, and the sections across them.
    walls : (m,) bool
        Faces that belong to no cylinder and are not level.
    cylinders : sequence of Cylinder
        For what they say about coarse circles.
    """
    free = walls | (np.abs(scene.regions.face_normals[:, 2]) > 1 - _LEVEL)
    found = []
    for axis, outlines in sections:
        view = _View(scene, axis, outlines)
        for rings, faces in _pockets(view, free):
            shape = _shape(view, rings)
            mine = faces[walls[faces]]
            if shape is not None and len(mine) and _is_whole(view, rings[0], faces):
                found.append(_described(view, mine, rings[0], shape))
    told = with_evidence([*cylinders, *found])
    return [wall for wall in told if isinstance(wall, Wall)]


def _pockets(
    view: _View, free: NDArray[np.bool_]
) -> list[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Rings around each void whose faces are free and run along the axis; its faces."""
    outlines = view.outlines
    lean = view.lean()
    first, good = _along_the_axis(outlines, lean, free)
    rings = np.flatnonzero(good)
    if not len(rings):
        return []
    beside = free & (np.abs(lean) < _ALONG)[view.scene.regions.of_face]
    pairs = view.scene.topology.pairs // 3
    pairs = pairs[beside[pairs[:, 0]] & beside[pairs[:, 1]]]
    piece = components(len(free), pairs)
    of_ring = piece[first[outlines.firsts[rings]]]
    order = np.argsort(piece, kind="stable")
    found = []
    for number in np.unique(of_ring)[:_MOST].tolist():
        ends = np.searchsorted(piece[order], [number, number + 1])
        found.append((rings[of_ring == number], np.sort(order[slice(*ends.tolist())])))
    return found


def _along_the_axis(
    outlines: Outlines, lean: NDArray[np.float64], free: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Face of each line, and whether each ring bounds a void by free faces along it."""
    first = np.searchsorted(outlines.panel_of_face, np.arange(len(outlines.points)))
    if not len(first):
        return first, np.zeros(0, dtype=bool)
    faces, leans = outlines.faces[first], lean[outlines.regions]
    starts = outlines.firsts[:-1]
    good = np.logical_and.reduceat(free[faces] & (np.abs(leans) < _ALONG), starts)
    lengths = outlines.lengths
    drift = np.abs(np.add.reduceat(leans * lengths, starts))
    good &= drift < _DRAFT * np.add.reduceat(lengths, starts)
    return faces, good & (outlines.areas < 0)


def _shape(view: _View, rings: NDArray[np.int64]) -> Shape | None:
    """Name what all rings of a pocket are; None for circles, rectangles and the unnamed."""
    named: Shape | None = None
    for ring in (rings[0], rings[len(rings) // 2], rings[-1]):
        points = view.points(int(ring))
        shape = None if is_round(points) else shape_of(points)
        if shape is None or shape.name == "rectangle":
            return None
        if named is not None and not _is_same(named, shape):
            return None
        named = shape
    return named


def _is_same(one: Shape, other: Shape) -> bool:
    return one.name == other.name and all(
        abs(a - b) < _SAME
        for (_, a), (_, b) in zip(one.measures, other.measures, strict=True)
    )


def _is_whole(view: _View, ring: int, faces: NDArray[np.int64]) -> bool:
    """Whether faces are one pocket's: along its outline, and deeper than a letter."""
    mesh = view.scene.mesh
    local = mesh.vertices[mesh.faces[faces]].reshape(-1, 3) @ frame_along(view.axis).T
    low, high = local.min(axis=0), local.max(axis=0)
    outline = view.points(int(ring))
    is_beside = (low[:2] > outline.min(axis=0) - _BESIDE).all()
    is_beside &= (high[:2] < outline.max(axis=0) + _BESIDE).all()
    depth, largest = _SHALLOW
    is_deep = high[2] - low[2] > depth or (high - low).max() > largest
    return bool(is_beside and is_deep)


def _described(view: _View, faces: NDArray[np.int64], ring: int, shape: Shape) -> Wall:
    mesh = view.scene.mesh
    corners = mesh.vertices[mesh.faces[faces]].reshape(-1, 3)
    at, low, high = corners @ view.axis, corners.min(axis=0), corners.max(axis=0)
    return Wall(
        id="",
        kind="profile",
        is_internal=True,
        nominal_size=None,
        point=(low + high) / 2,
        direction=view.axis,
        start=float(at.min()),
        end=float(at.max()),
        level=(float(low[2]), float(high[2])),
        curve_length=view.length(int(ring)),
        faces=faces,
        shape=shape,
    )
