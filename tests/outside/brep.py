"""Exact parts of the B-rep kernel, each at its nominal or at compensated dimensions.

Source: OpenCASCADE through build123d. Every builder takes the same keywords, `growth`,
`opening`, `pocket_opening` and `boss_growth` (see `Change`), and builds the part anew
from the changed dimensions, by the rules of the product:

- outside walls move outward by `growth`, rounded corners and all (parallel curve); a
  drafted wall, an outside chamfer and an outside fillet move by it horizontally, z kept;
- chamfers, countersinks and fillets at the rim of a bore or a boss move radially as far
  as its cylinder does, z kept;
- slots, hexagons, D-holes and pockets, drafted or not, move by `pocket_opening`.

The tools of `solids` and the data of `truths` can be had from here too.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Unpack

from build123d import (
    Axis,
    Circle,
    GeomType,
    Plane,
    Polygon,
    Pos,
    Rectangle,
    RectangleRounded,
    Sketch,
    SlotOverall,
    Solid,
    chamfer,
    extrude,
    fillet,
)

from outside.solids import (
    ExactPart,
    cut_bores,
    cylinder,
    distance_to_surface,
    exact_part,
    frustum,
    tessellate,
    write_stl,
)
from outside.truths import (
    Change,
    Changes,
    TrueFeature,
    TrueWall,
    X,
    Y,
    hexagon_flats,
    side_walls,
    true_bore,
    true_boss,
    true_wall,
)

__all__ = [
    "PARTS",
    "Change",
    "ExactPart",
    "TrueFeature",
    "TrueWall",
    "bearing_block",
    "bracket",
    "crossed_plate",
    "distance_to_surface",
    "edged_plate",
    "housing",
    "plate",
    "pocket_plate",
    "stepped_boss",
    "tessellate",
    "write_stl",
]

BORE_SIZES = (2.0, 3.2, 5.0, 8.0, 22.0)
DRAFT = 2.0  # degrees, of the housing


def plate(
    *, bore_sizes: tuple[float, ...] = BORE_SIZES, **by: Unpack[Changes]
) -> ExactPart:
    """Return a plate 60 x 8 with a row of through bores, and three other holes.

    The through bores stand along y = 14, 6 mm apart; along y = -16 a blind bore of 6
    (floor at z = 3), a bore of 4.5 counterbored 8 from z = 4, and a bore of 4 countersunk
    90° from z = 6 to 8 mm wide. The length is 80, or as long as the row needs.
    """
    change = Change(**by)
    length = max(80.0, sum(bore_sizes) + 6.0 * (len(bore_sizes) + 1))
    features, x = [], -length / 2
    for size in bore_sizes:
        features.append(true_bore(size, change, (x + 6.0 + size / 2, 14, 0), ends=(0, 8)))
        x += 6.0 + size
    sunk = true_bore(4.0, change, (24, -16, 0), ends=(0, 6))
    features += [
        true_bore(6.0, change, (-24, -16, 0), ends=(3, 8), through=False),
        true_bore(4.5, change, (0, -16, 0), ends=(0, 4)),
        true_bore(8.0, change, (0, -16, 0), ends=(4, 8)),
        sunk,
    ]
    outside = length + 2 * change.growth, 60 + 2 * change.growth
    solid = cut_bores(frustum(outside, outside, 0, 8), features)
    solid = (solid - _cone(sunk, 6, 8, flare=2)).solid()
    walls = side_walls(*outside, at=(length / 2 - 3, 0, 4))
    return exact_part("plate", solid, features=features, walls=walls)


def bearing_block(**by: Unpack[Changes]) -> ExactPart:
    """Return a block 60 x 40 x 50 with an upright bore, and lying ones along X and Y."""
    change = Change(**by)
    width, depth = 60 + 2 * change.growth, 40 + 2 * change.growth
    features = [
        true_bore(6.0, change, (0, 10, 8), along=X, ends=(-width / 2, width / 2)),
        true_bore(22.0, change, (-12, 0, 30), along=Y, ends=(-depth / 2, depth / 2)),
        true_bore(5.0, change, (20, -8, 0), ends=(0, 50)),
    ]
    solid = cut_bores(frustum((width, depth), (width, depth), 0, 50), features)
    walls = side_walls(width, depth, at=(25, 15, 46))
    return exact_part("bearing_block", solid, features=features, walls=walls)


def stepped_boss(**by: Unpack[Changes]) -> ExactPart:
    """Return a turned part of 40, 28, 16 with a bore of 8; its top rim chamfered by 1."""
    change = Change(**by)
    steps = ((40.0, 0, 10), (28.0, 10, 22), (16.0, 22, 35))
    bosses = [
        true_boss(size, change, (0, 0, 0), ends=(low, high)) for size, low, high in steps
    ]
    hole = true_bore(8.0, change, (0, 0, 0), ends=(0, 36))
    top = _cone(bosses[-1], 35, 36, flare=-1)
    solid = cylinder(bosses[0]).fuse(*map(cylinder, bosses[1:]), top).clean().solid()
    features = [*bosses, hole]
    return exact_part("stepped_boss", cut_bores(solid, features), features=features)


def housing(**by: Unpack[Changes]) -> ExactPart:
    """Return a housing with plain corners, 2° draft inside and outside, four bosses.

    Outside 70 x 50 at z = 0, 30 high; pocket 56 x 36 at the top, floor at z = 4; bosses
    of 8 from the floor to z = 24 with blind bores of 3.2 down to z = 10.
    """
    change = Change(**by)
    slope = 2 * math.tan(math.radians(DRAFT))  # of a width per height
    low = 70 + 2 * change.growth, 50 + 2 * change.growth
    high = low[0] - 30 * slope, low[1] - 30 * slope
    mouth = 56 + 2 * change.pocket_opening, 36 + 2 * change.pocket_opening
    floor = mouth[0] - 26 * slope, mouth[1] - 26 * slope
    features = []
    for x, y in ((-20, -11), (20, -11), (20, 11), (-20, 11)):
        features.append(true_boss(8.0, change, (x, y, 0), ends=(4, 24)))
        features.append(true_bore(3.2, change, (x, y, 0), ends=(10, 24), through=False))
    solid = frustum(low, high, 0, 30) - frustum(floor, mouth, 4, 30)
    solid += [cylinder(feature) for feature in features if not feature.internal]
    return exact_part("housing", cut_bores(solid.solid(), features), features=features)


def pocket_plate(**by: Unpack[Changes]) -> ExactPart:
    """Return a plate 80 x 50 x 10 with corners of radius 8, and pockets of three shapes.

    A slot 24 x 6 with round ends along X at (-18, 10); a D-hole of 12 with its flat 4.5
    from the axis towards +X at (-18, -12); a hexagon 8 across flats (corners along X),
    from z = 5 up, over a bore of 5.3 at (20, 0); two bores of 4 at (±33, ±18).
    """
    change = Change(**by)
    width, depth = 80 + 2 * change.growth, 50 + 2 * change.growth
    more = change.pocket_opening
    body = extrude(RectangleRounded(width, depth, 8 + change.growth), 10)
    slot = Pos(-18, 10, 0) * extrude(SlotOverall(24 + 2 * more, 6 + 2 * more), 10)
    d_hole = Pos(-18, -12, 0) * extrude(_d_outline(6 + more, 4.5 + more), 10)
    hexagon = Pos(20, 0, 5) * extrude(_hexagon(8 + 2 * more), 5)
    features = [
        true_bore(5.3, change, (20, 0, 0), ends=(0, 5)),
        true_bore(4.0, change, (33, 18, 0), ends=(0, 10)),
        true_bore(4.0, change, (-33, -18, 0), ends=(0, 10)),
    ]
    turns = [math.radians(turn) for turn in (30, 90, 150)]
    walls = [
        *side_walls(width, depth, at=(5, -5, 5)),
        true_wall((-18, 10, 5), Y, ends=(7 - more, 13 + more), kind="slot"),
        *(hexagon_flats(8 + 2 * more, (20, 0, 7.5), turn) for turn in turns),
    ]
    solid = cut_bores((body - [slot, d_hole, hexagon]).solid(), features)
    return exact_part("pocket_plate", solid, features=features, walls=walls)


def bracket(**by: Unpack[Changes]) -> ExactPart:
    """Return a bracket with concave corners: L-shaped foot, a wall along its longer leg.

    Foot 60 x 50 with legs 20 wide, 6 high, its corner at the origin; wall 60 x 6 from
    z = 6 to 36 along y = 0. Two upright bores in the foot, a lying one in the wall.
    """
    change = Change(**by)
    g = change.growth
    outline = [
        (-g, -g),
        (60 + g, -g),
        (60 + g, 20 + g),
        (20 + g, 20 + g),
        (20 + g, 50 + g),
        (-g, 50 + g),
    ]
    foot = extrude(Polygon(*outline, align=None), 6)
    upright = Pos(30, 3, 6) * extrude(Rectangle(60 + 2 * g, 6 + 2 * g), 30)
    features = [
        true_bore(5.0, change, (45, 13, 0), ends=(0, 6)),
        true_bore(4.3, change, (10, 38, 0), ends=(0, 6)),
        true_bore(10.0, change, (40, 0, 22), along=Y, ends=(-g, 6 + g)),
    ]
    walls = [
        true_wall((30, 3, 3), X, ends=(-g, 60 + g)),
        true_wall((10, 30, 3), X, ends=(-g, 20 + g)),
        true_wall((20, 3, 22), Y, ends=(-g, 6 + g)),
        true_wall((30, 10, 3), Y, ends=(-g, 20 + g)),
        true_wall((4, 25, 3), Y, ends=(-g, 50 + g)),
    ]
    solid = cut_bores((foot + upright).solid(), features)
    return exact_part("bracket", solid, features=features, walls=walls)


def crossed_plate(**by: Unpack[Changes]) -> ExactPart:
    """Return a plate 60 x 40 x 20 whose bores cross each other.

    A lying bore of 6 along X crosses an upright one of 10 axis to axis, one of 8 that
    stands 0.5 beside it, and a lying one of 4 along Y.
    """
    change = Change(**by)
    width, depth = 60 + 2 * change.growth, 40 + 2 * change.growth
    features = [
        true_bore(10.0, change, (-15, 0, 0), ends=(0, 20)),
        true_bore(8.0, change, (16, 0.5, 0), ends=(0, 20)),
        true_bore(6.0, change, (0, 0, 10), along=X, ends=(-width / 2, width / 2)),
        true_bore(4.0, change, (2, 0, 10), along=Y, ends=(-depth / 2, depth / 2)),
    ]
    solid = cut_bores(frustum((width, depth), (width, depth), 0, 20), features)
    walls = side_walls(width, depth, at=(25, 15, 15))
    return exact_part("crossed_plate", solid, features=features, walls=walls)


def edged_plate(**by: Unpack[Changes]) -> ExactPart:
    """Return a plate 70 x 45 x 12 with every edge broken, and bores with broken rims.

    Upright corners of radius 6; top edge chamfered by 1.5, bottom edge rounded by 2; a
    bore of 10 chamfered by 1 at both rims, one of 8 rounded by 1.5 at its upper rim.
    """
    change = Change(**by)
    width, depth = 70 + 2 * change.growth, 45 + 2 * change.growth
    body = extrude(RectangleRounded(width, depth, 6 + change.growth), 12)
    body = chamfer(body.edges().group_by(Axis.Z)[-1], 1.5)
    body = fillet(body.edges().group_by(Axis.Z)[0], 2)
    cut = true_bore(10.0, change, (-15, 0, 0), ends=(1, 11))
    rounded = true_bore(8.0, change, (15, 0, 0), ends=(0, 10.5))
    solid = cut_bores(body.solid(), [cut])
    solid = (solid - [_cone(cut, 0, 1, flare=-1), _cone(cut, 11, 12, flare=1)]).solid()
    solid = (solid - Pos(15, 0, 0) * extrude(Circle(rounded.diameter / 2), 12)).solid()
    circles = solid.edges().filter_by(GeomType.CIRCLE).group_by(Axis.Z)[-1]
    rim = [edge for edge in circles if math.isclose(edge.radius, rounded.diameter / 2)]
    solid = solid.fillet(1.5, rim).solid()
    walls = side_walls(width, depth, at=(0, 15, 6))
    return exact_part("edged_plate", solid, features=[cut, rounded], walls=walls)


PARTS: dict[str, Callable[..., ExactPart]] = {
    "plate": plate,
    "bearing_block": bearing_block,
    "stepped_boss": stepped_boss,
    "housing": housing,
    "pocket_plate": pocket_plate,
    "bracket": bracket,
    "crossed_plate": crossed_plate,
    "edged_plate": edged_plate,
}


def _cone(feature: TrueFeature, low: float, high: float, *, flare: float) -> Solid:
    """Cone at an end of an upright cylinder, whose radius grows or shrinks by `flare`.

    It has the cylinder's radius where it meets it: a positive flare widens upward from
    the cylinder's end, a negative one below its start widens downward.
    """
    radius = feature.diameter / 2
    x, y, _ = feature.point
    foot, head = (radius, radius + flare)
    if high <= feature.start:
        foot, head = (radius - flare, radius)
    return Solid.make_cone(foot, head, high - low, Plane(origin=(x, y, low)))


def _hexagon(flats: float) -> Sketch:
    """Hexagon with corners along X."""
    radius = flats / math.sqrt(3)
    turns = [math.radians(60 * k) for k in range(6)]
    corners = [(radius * math.cos(turn), radius * math.sin(turn)) for turn in turns]
    return Polygon(*corners, align=None)


def _d_outline(radius: float, flat: float) -> Sketch:
    """Circle cut off at x = `flat`."""
    return Circle(radius) - Pos(flat + radius, 0) * Rectangle(2 * radius, 4 * radius)
