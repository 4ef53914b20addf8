"""True features of the demo parts: what a perfect search for features would find."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["Place", "TrueFeature", "bore", "bores", "boss", "slot", "wall"]

Place = tuple[float, float, float]
_AXES: dict[str, Place] = {"X": (1.0, 0.0, 0.0), "Y": (0.0, 1.0, 0.0), "Z": (0.0, 0.0, 1.0)}


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueFeature:
    """One feature of size as it was built; lengths in mm.

    A bore or a boss reaches along `direction`, its axis, from `start` to `end`; a wall
    or a slot has its two planes across `direction` at `start` and `end`, `size` apart.
    """

    kind: str  # "bore", "boss", "wall" or "slot"
    size: float  # diameter of the circle through the corners, or distance of the planes
    point: Place  # on the axis midway between its ends, or midway between the planes
    direction: Place  # unit
    start: float  # positions along `direction`
    end: float


def bore(
    size: float, place: Place, start: float, end: float, *, along: str = "Z"
) -> TrueFeature:
    """Return a bore about the axis through a place, from one position to another.

    Examples
    --------
    >>> bore(22.0, (0, 0, 0), 5.5, 10.0).point
    (0.0, 0.0, 7.75)
    """
    return _cylinder("bore", size, place, (along, start, end))


def bores(
    size: float, places: Iterable[Iterable[float]], start: float, end: float
) -> tuple[TrueFeature, ...]:
    """Return upright bores at places (x, y).

    Examples
    --------
    >>> [each.point for each in bores(3.2, [(5, 0), (-5, 0)], 0.0, 6.0)]
    [(5.0, 0.0, 3.0), (-5.0, 0.0, 3.0)]
    """
    return tuple(bore(size, (x, y, 0.0), start, end) for x, y in places)


def boss(size: float, place: Place, start: float, end: float) -> TrueFeature:
    """Return an upright boss about the axis through a place.

    Examples
    --------
    >>> boss(25.0, (0, 0, 0), 6.0, 10.0).direction
    (0.0, 0.0, 1.0)
    """
    return _cylinder("boss", size, place, ("Z", start, end))


def wall(size: float, middle: Place, along: str) -> TrueFeature:
    """Return two planes with material between, across X, Y or Z.

    Examples
    --------
    >>> plate = wall(5.0, (0.0, 2.5, 28.0), "Y")
    >>> plate.start, plate.end
    (0.0, 5.0)
    """
    return _planes("wall", size, middle, along)


def slot(size: float, middle: Place, along: str) -> TrueFeature:
    """Return two planes with void between, across X, Y or Z.

    Examples
    --------
    >>> slot(6.0, (0.0, -24.0, 3.0), "Y").start
    -27.0
    """
    return _planes("slot", size, middle, along)


def _cylinder(
    kind: str, size: float, place: Place, reach: tuple[str, float, float]
) -> TrueFeature:
    along, start, end = reach
    point = [float(number) for number in place]
    point["XYZ".index(along)] = (start + end) / 2
    return TrueFeature(
        kind=kind,
        size=size,
        point=(point[0], point[1], point[2]),
        direction=_AXES[along],
        start=start,
        end=end,
    )


def _planes(kind: str, size: float, middle: Place, along: str) -> TrueFeature:
    position = middle["XYZ".index(along)]
    return TrueFeature(
        kind=kind,
        size=size,
        point=middle,
        direction=_AXES[along],
        start=position - size / 2,
        end=position + size / 2,
    )
