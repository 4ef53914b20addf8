"""What is true of an exact part by construction, and how its dimensions are changed.

Data and closed forms only: no kernel. Lengths in mm; parts stand as built, Z up.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TypedDict

__all__ = [
    "Change",
    "Changes",
    "TrueFeature",
    "TrueWall",
    "X",
    "Y",
    "Z",
    "hexagon_flats",
    "side_walls",
    "true_bore",
    "true_boss",
    "true_wall",
]

Opening = float | Callable[[float], float]
Triple = tuple[float, float, float]
X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


class Changes(TypedDict, total=False):
    """The keywords that every builder of a part takes: see `Change`."""

    growth: float
    opening: Opening
    pocket_opening: float
    boss_growth: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """How a part's dimensions differ from nominal, mm; heights never change.

    `growth` moves outside walls outward, per side; `opening` is added to a bore's
    diameter, or is a law that gives it for each nominal diameter; `pocket_opening` is
    taken from the walls of pockets, slots, hexagons and D-holes, per side;
    `boss_growth` is added to a boss's diameter, None: twice the growth.
    """

    growth: float = 0.0
    opening: Opening = 0.0
    pocket_opening: float = 0.0
    boss_growth: float | None = None

    def bore(self, nominal: float) -> float:
        """Return the diameter of a bore of this nominal diameter."""
        more = self.opening(nominal) if callable(self.opening) else self.opening
        return nominal + more

    def boss(self, nominal: float) -> float:
        """Return the diameter of a boss of this nominal diameter."""
        more = 2 * self.growth if self.boss_growth is None else self.boss_growth
        return nominal + more


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueFeature:
    """A bore or a boss that is there by construction.

    `start` and `end` are positions of the cylinder's ends along `direction` (dot product
    with it), without the chamfers, countersinks and fillets beyond them. `is_through`:
    on the axis the void goes on beyond both ends; False for a boss.
    """

    kind: str  # "bore" or "boss"
    nominal_size: float  # diameter before any change
    diameter: float
    point: Triple  # on the axis
    direction: Triple  # unit, along +X, +Y or +Z
    start: float
    end: float
    internal: bool
    is_through: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueWall:
    """Two parallel upright planes, with material between ("wall") or void ("slot")."""

    kind: str
    size: float  # distance of the planes
    point: Triple  # midway between the planes, where both of them are
    direction: Triple  # unit, across the planes
    start: float  # positions of the planes along `direction`
    end: float
    internal: bool


def true_bore(
    nominal: float,
    change: Change,
    point: Triple,
    *,
    ends: tuple[float, float],
    along: Triple = Z,
    through: bool = True,
) -> TrueFeature:
    """Return a bore of a nominal diameter, changed."""
    return TrueFeature(
        kind="bore",
        nominal_size=nominal,
        diameter=change.bore(nominal),
        point=point,
        direction=along,
        start=float(ends[0]),
        end=float(ends[1]),
        internal=True,
        is_through=through,
    )


def true_boss(
    nominal: float, change: Change, point: Triple, *, ends: tuple[float, float]
) -> TrueFeature:
    """Return an upright boss of a nominal diameter, changed."""
    return TrueFeature(
        kind="boss",
        nominal_size=nominal,
        diameter=change.boss(nominal),
        point=point,
        direction=Z,
        start=float(ends[0]),
        end=float(ends[1]),
        internal=False,
        is_through=False,
    )


def true_wall(
    point: Triple, across: Triple, *, ends: tuple[float, float], kind: str = "wall"
) -> TrueWall:
    """Return two planes across a coordinate direction; `point` is brought midway."""
    middle = sum(ends) / 2
    centre = tuple(middle if d else p for p, d in zip(point, across, strict=True))
    return TrueWall(
        kind=kind,
        size=ends[1] - ends[0],
        point=(centre[0], centre[1], centre[2]),
        direction=across,
        start=ends[0],
        end=ends[1],
        internal=kind == "slot",
    )


def side_walls(
    width: float, depth: float, *, at: tuple[float, float, float]
) -> Iterable[TrueWall]:
    """Give both pairs of side walls of a block about the Z axis.

    From `at` no bore is met along X, or along Y, before a wall.
    """
    x, y, z = at
    yield true_wall((0, y, z), X, ends=(-width / 2, width / 2))
    yield true_wall((x, 0, z), Y, ends=(-depth / 2, depth / 2))


def hexagon_flats(size: float, point: Triple, turn: float) -> TrueWall:
    """Return two opposite flats of a hexagon, whose normal is turned from X by `turn`."""
    direction = (math.cos(turn), math.sin(turn), 0.0)
    middle = point[0] * direction[0] + point[1] * direction[1]
    return TrueWall(
        kind="slot",
        size=size,
        point=point,
        direction=direction,
        start=middle - size / 2,
        end=middle + size / 2,
        internal=True,
    )
