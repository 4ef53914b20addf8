"""Seats for the seam: shallow upright grooves in round features and profiles: data only.

A bearing is an angle in degrees, counter-clockwise from X as seen from above, as the part
stands on the bed. Lengths in mm, places in the bed's frame.
"""

from __future__ import annotations

from dataclasses import dataclass

from meshcomp.errors import OptionError

__all__ = ["DEFAULT_DEPTH_SHARE", "WAVER", "Groove", "SeamReport", "SeamWish"]

DEFAULT_DEPTH_SHARE = 1 / 3  # of the width
WAVER = 0.003  # mm, by which a surface may lean in or out over the height of a seat
_NARROWEST, _WIDEST = 0.1, 5.0  # mm
_SHALLOWEST, _DEEPEST_SHARE = 0.02, 1.0  # mm; of the width
Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamWish:
    """Which features are to have a groove, and of what shape.

    `features` are ids with a bearing, or None where a rule is to choose it; `everywhere`
    asks for one in every feature that can have it. `loads` say which way counterparts push:
    a bearing by feature id, or for "all" others.

    Examples
    --------
    >>> SeamWish(features=(("boss-01", 90.0),), width=0.45, depth=0.15).everywhere
    False
    """

    width: float
    depth: float
    features: tuple[tuple[str, float | None], ...] = ()
    everywhere: bool = False
    loads: tuple[tuple[str, float], ...] = ()
    origin: str = "by hand"  # where the shape's numbers come from

    def __post_init__(self) -> None:
        if not _NARROWEST <= self.width <= _WIDEST:
            raise OptionError(
                f"a groove is {_NARROWEST:g} to {_WIDEST:g} mm wide, got {self.width:g} "
                "mm: take about one line width"
            )
        if not _SHALLOWEST <= self.depth <= _DEEPEST_SHARE * self.width:
            raise OptionError(
                f"a groove of {self.width:g} mm is {_SHALLOWEST:g} to "
                f"{_DEEPEST_SHARE * self.width:g} mm deep, got {self.depth:g} mm: take "
                "about a third of its width"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Groove:
    """One groove, V-shaped in a level section, as planned.

    Its width is measured at the tangent of the surface, its depth from there. `stretches`
    are the heights between which its feature is upright there; beyond them it runs out
    where a chamfer or a countersink recedes behind it.
    """

    feature_id: str
    bearing: float
    centre: Point  # that the bearing is about
    seat: Point  # on the surface, above the apex
    outward: Point  # unit, out of the material
    width: float
    depth: float
    stretches: tuple[tuple[float, float], ...]
    reach: tuple[tuple[float, float], ...]  # heights between which it is, run-outs included
    mouth: tuple[Point, Point]  # where its sides leave the surface
    bulge: float  # mm², of the material between the mouth's chord and the surface
    volume: float  # mm³ that it takes away
    reason: str  # why this bearing

    @property
    def apex(self) -> Point:
        """Its deepest place in a level section."""
        return (
            self.seat[0] - self.depth * self.outward[0],
            self.seat[1] - self.depth * self.outward[1],
        )

    @property
    def area(self) -> float:
        """Area that it takes from a level section, mm²."""
        (ax, ay), (bx, by), (cx, cy) = self.mouth[0], self.apex, self.mouth[1]
        return abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)) / 2 + self.bulge


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamReport:
    """The grooves of a part, and the features that could have none."""

    wish: SeamWish
    grooves: tuple[Groove, ...]
    left_out: tuple[tuple[str, str], ...] = ()  # feature id, and why
