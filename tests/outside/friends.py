"""Shapes that are easily taken for bores, built by the B-rep kernel: none holds a bore.

Source: OpenCASCADE through build123d; the involute and the lobed disc from the closed
forms of `profiles`.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from build123d import (
    Axis,
    Box,
    Circle,
    Cone,
    Ellipse,
    Helix,
    Part,
    Plane,
    Polygon,
    Polyline,
    Pos,
    Rectangle,
    RectangleRounded,
    RegularPolygon,
    Sketch,
    SlotOverall,
    Sphere,
    Spline,
    Text,
    Torus,
    extrude,
    fillet,
    make_face,
    sweep,
)

from outside.profiles import involute

__all__ = ["FRIENDS"]

PLATE = 30.0, 30.0, 8.0


def _holed(sketch: Sketch) -> Part:
    """Plate with a pocket 6 mm deep."""
    width, depth, height = PLATE
    body = extrude(Rectangle(width, depth), height)
    return body - Pos(0, 0, height - 6) * extrude(sketch, 7)


def _polar(radius: Callable[[np.ndarray], np.ndarray], points: int = 96) -> Sketch:
    """Face inside a closed curve given by its radius at each angle."""
    turns = 2 * np.pi * np.arange(points) / points
    rows = radius(turns)[:, None] * np.column_stack([np.cos(turns), np.sin(turns)])
    return make_face(Spline([tuple(row) for row in rows], periodic=True))


def slot() -> Part:
    """Obround slot 16 x 6."""
    return _holed(SlotOverall(16, 6))


def short_slot() -> Part:
    """Obround slot 9 x 8: nearly round."""
    return _holed(SlotOverall(9, 8))


def hexagon() -> Part:
    """Hexagon of 8 across flats."""
    return _holed(RegularPolygon(4, 6, major_radius=False))


def octagon() -> Part:
    """Octagon of 8 across flats beside a round bore of 8: that one shows what is round."""
    body = _holed(RegularPolygon(4, 8, major_radius=False))
    return body - Pos(10, 10, 0) * extrude(Circle(4), 8)


def three_sided() -> Part:
    """Hole for a screw that cuts its thread, on three lobes: 2.6 within, 3.0 about."""
    return _holed(_polar(lambda turns: 1.4 + 0.1 * np.cos(3 * turns)))


def rectangle() -> Part:
    """Rectangular pocket with sharp corners."""
    return _holed(Rectangle(12, 9))


def channel() -> Part:
    """Slot 5 wide with a round end, open to one side."""
    body = extrude(Rectangle(30, 30), 8)
    return body - Pos(10, 0) * extrude(SlotOverall(25, 5), 8)


def double_d() -> Part:
    """Hole of 10 with two flats, 8 across."""
    return _holed(Circle(5) & Rectangle(8, 12))


def involute_teeth() -> Part:
    """Hole with sixteen involute teeth of base circle 15, 18 outside.

    Source: the closed form of the involute (`profiles.involute`).
    """
    flank = involute(np.linspace(0, math.sqrt(1.2**2 - 1), 8), 7.5)
    corners = []
    for k in range(16):
        for side, points in ((-1, flank), (1, flank[::-1])):
            turn = 2 * math.pi * k / 16 + side * math.pi / 28
            x, y = points[:, 0], -side * points[:, 1]
            c, s = math.cos(turn), math.sin(turn)
            rows = np.column_stack([c * x - s * y, s * x + c * y])
            corners += [(float(a), float(b)) for a, b in rows]
    return _holed(Polygon(*corners, align=None))


def ellipse() -> Part:
    """Ellipse of 12 x 11.6."""
    return _holed(Ellipse(6, 5.8))


def d_shape() -> Part:
    """Hole of 10 with a flat 3 from its axis."""
    return _holed(Circle(5) - Pos(8, 0) * Rectangle(10, 20))


def cone() -> Part:
    """Conical hole of 12 and 9."""
    return Box(*PLATE) - Cone(4.5, 6, 8.0)


def slender_cone() -> Part:
    """Conical hole with a draft of half a degree."""
    return Box(*PLATE) - Cone(5, 5 + 8 * math.tan(math.radians(0.5)), 8.0)


def lobes() -> Part:
    """Pocket with three flat lobes, 0.15 mm high on 6 mm."""
    return _holed(_polar(lambda turns: 6 + 0.15 * np.cos(3 * turns)))


def many_lobes() -> Part:
    """Pocket with nine lobes, 0.3 mm high on 6 mm."""
    return _holed(_polar(lambda turns: 6 + 0.3 * np.cos(9 * turns)))


def fillets() -> Part:
    """Square pocket with rounded corners."""
    return _holed(RectangleRounded(14, 14, 4))


def inner_fillet() -> Part:
    """Square pocket with its floor's edges rounded."""
    body = _holed(RectangleRounded(14, 14, 4))
    floor = body.edges().group_by(Axis.Z)[1]
    return fillet(floor, 1.5)


def letters() -> Part:
    """Engraved letters with round counters, 0.6 mm deep."""
    body = extrude(Rectangle(40, 16), 4)
    return body - Pos(0, 0, 3.4) * extrude(Text("Oo8Q6", 9), 1)


def thread() -> Part:
    """Hole with an inside thread of pitch 2 and triangular ridges, 8 mm across."""
    body = extrude(Rectangle(20, 20), 8) - extrude(Circle(4), 8)
    path = Helix(2, 6, 4.05)
    start = path @ 0
    profile = Plane(origin=start, x_dir=(1, 0, 0), z_dir=path % 0) * make_face(
        Polyline([(-0.9, -0.6), (0.4, 0), (-0.9, 0.6)], close=True)
    )
    return body + sweep(profile, path, is_frenet=True)


def toothed() -> Part:
    """Hole with twelve straight-sided teeth."""
    corners = []
    for k in range(12):
        for radius, turn in ((6.0, -0.3), (6.0, -0.1), (7.5, 0.1), (7.5, 0.3)):
            angle = 2 * math.pi * (k + turn + 0.5) / 12
            corners.append((radius * math.cos(angle), radius * math.sin(angle)))
    return _holed(Polygon(*corners, align=None))


def knurl() -> Part:
    """Hole with forty small ridges."""
    corners = []
    for k in range(80):
        radius = 6.0 if k % 2 else 6.25
        angle = math.pi * k / 40
        corners.append((radius * math.cos(angle), radius * math.sin(angle)))
    return _holed(Polygon(*corners, align=None))


def rounded_outside() -> Part:
    """Plate whose corners are rounded: no boss either."""
    return extrude(RectangleRounded(30, 20, 8), 6)


def ring() -> Part:
    """Torus, whose inner and outer equators are nearly cylinders."""
    return Torus(30, 10)


def thin_ring() -> Part:
    """O-ring."""
    return Torus(10, 1.5)


def ball() -> Part:
    """Sphere of 24."""
    return Sphere(12)


def socket() -> Part:
    """Plate with half a ball of 16 in it."""
    return Box(30, 30, 20) - Pos(0, 0, 10) * Sphere(8)


def ring_groove() -> Part:
    """Block with an O-ring's half-round groove in its face."""
    block = extrude(RectangleRounded(40, 40, 8), 10)
    return block - Pos(0, 0, 10) * Torus(12, 2)


FRIENDS: dict[str, Callable[[], Part]] = {
    build.__name__: build
    for build in (
        slot,
        short_slot,
        hexagon,
        octagon,
        three_sided,
        rectangle,
        channel,
        double_d,
        involute_teeth,
        ellipse,
        d_shape,
        cone,
        slender_cone,
        lobes,
        many_lobes,
        fillets,
        inner_fillet,
        letters,
        toothed,
        knurl,
        rounded_outside,
        thread,
        ring,
        thin_ring,
        ball,
        socket,
        ring_groove,
    )
}
