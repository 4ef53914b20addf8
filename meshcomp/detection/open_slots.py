"""Open slots as features: their walls and what continues them count as a pocket's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.pairing import Pair, pair_of
from meshcomp.detection.planes import Couples, Planes, bends_softly
from meshcomp.detection.scenes import Scene
from meshcomp.features import Feature, Shape, Wall
from meshcomp.sections import Outlines

__all__ = ["OpenSlot", "named_open", "open_slots"]

_MOST_LINES = 400  # of the outline, from one wall of a slot to the other
_OFF = 0.02  # mm, that such a line may be beside the walls


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class OpenSlot:
    """A pair of walls across an open slot, and the planar regions that go with them."""

    pair: Pair
    regions: NDArray[np.int64]
    length: float  # mm, of the stretch that both walls have, with the end that closes it


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """The outlines of level sections, ready to be walked along."""

    outlines: Outlines
    following: NDArray[np.int64]
    before: NDArray[np.int64]
    is_soft: NDArray[np.bool_]  # (p,) whether the line after each one continues it
    of_region: dict[int, list[int]]  # lines of the regions that may bound a slot


def open_slots(
    scene: Scene, outlines: Outlines, planes: Planes, gaps: Couples, straight: list[Pair]
) -> list[OpenSlot]:
    """Pair walls across open slots, those that are in no pair yet.

    What continues a slot's wall without a corner is asked to do what the wall does; a
    slot whose walls run smoothly into those of another pair is left to be a distance.

    Parameters
    ----------
    scene : Scene
        The part.
    outlines : Outlines
        Of level sections.
    planes, gaps
        The straight walls, and which of them bound open slots.
    straight : list of Pair
        Those that are settled.
    """
    lines = _walkable(scene, outlines, planes, gaps)
    used = {region for pair in straight for region in pair.regions}
    found = []
    for couple in gaps.best_first():
        pair = pair_of(scene.mesh, planes, couple, is_open=True)
        if not used.isdisjoint(pair.regions):
            continue
        beside = _continued(lines, pair)
        if used.isdisjoint(beside):
            used.update(pair.regions)
            ends, length = _closed_end(lines, pair)
            regions = np.unique(np.array([*beside, *ends], dtype=np.int64))
            found.append(OpenSlot(pair=pair, regions=regions, length=length))
    return found


def _walkable(scene: Scene, outlines: Outlines, planes: Planes, gaps: Couples) -> _Lines:
    wanted = planes.regions[np.union1d(gaps.first, gaps.second)]
    of_region: dict[int, list[int]] = {}
    for row in np.flatnonzero(np.isin(outlines.regions, wanted)).tolist():
        of_region.setdefault(int(outlines.regions[row]), []).append(row)
    soft = bends_softly(scene, outlines)
    return _Lines(outlines, outlines.following, outlines.before, soft, of_region)


def _continued(lines: _Lines, pair: Pair) -> set[int]:
    """Regions that continue the walls of a slot without a corner."""
    found: set[int] = set()
    for region in pair.regions:
        for start in lines.of_region[region]:
            for step in (1, -1):
                found |= _softly(lines, start, step)
    return found - set(pair.regions)


def _softly(lines: _Lines, start: int, step: int) -> set[int]:
    """Regions from a line on, or back, to the next corner."""
    found: set[int] = set()
    row = start
    for _ in range(_MOST_LINES):
        onward = int(lines.following[row] if step > 0 else lines.before[row])
        if not lines.is_soft[row if step > 0 else onward] or onward == start:
            break
        found.add(int(lines.outlines.regions[onward]))
        row = onward
    return found


def _closed_end(lines: _Lines, slot: Pair) -> tuple[list[int], float]:
    """Find what closes an open slot at one end, and how long the slot is.

    Returns
    -------
    regions : list of int
        Along which the outline runs from one wall to the other, all between them.
    length : float
        Of the stretch that both walls have, with such an end, mm.
    """
    outlines = lines.outlines
    rows = np.array(
        [
            line
            for one, other in (slot.regions, slot.regions[::-1])
            for start in lines.of_region[one]
            for line in _way(lines, (start, other), slot.normal[:2])
        ],
        dtype=np.int64,
    )
    along = np.array([-slot.normal[1], slot.normal[0]])
    ends = outlines.points[lines.following[rows]] @ along
    places = [*slot.stretch, *ends.tolist()]
    return outlines.regions[rows].tolist(), max(places) - min(places)


def _way(lines: _Lines, ends: tuple[int, int], across: NDArray[np.float64]) -> list[int]:
    """Lines from one to the first of another region; none if the way leads astray."""
    start, goal = ends
    outlines = lines.outlines
    seen: list[int] = []
    row = int(lines.following[start])
    while outlines.regions[row] != goal:
        seen.append(row)
        row = int(lines.following[row])
        if len(seen) > _MOST_LINES or row == start:
            return []
    points = outlines.points[[*seen, row]] @ across
    limits = sorted((float(outlines.points[start] @ across), float(points[-1])))
    if points.min() < limits[0] - _OFF or points.max() > limits[1] + _OFF:
        return []
    return seen


def named_open(features: Sequence[Feature], slots: Sequence[OpenSlot]) -> list[Feature]:
    """Name open slots: the outline that their walls are on is that of the part."""
    lengths = {int(slot.pair.faces[0]): slot.length for slot in slots}

    def named(feature: Feature) -> Feature:
        if not isinstance(feature, Wall) or feature.kind != "slot":
            return feature
        length = lengths.get(int(feature.faces[0]))
        if length is None:
            return feature
        sizes = (("width", feature.end - feature.start), ("length", length))
        return replace(feature, shape=Shape(name="open slot", measures=sizes))

    return [named(feature) for feature in features]
