"""Holes of several steps and broken bores, built by the B-rep kernel.

Source: OpenCASCADE through build123d; every size and angle is true by construction.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from build123d import (
    Box,
    Circle,
    Cone,
    Cylinder,
    Part,
    Pos,
    Rectangle,
    Rot,
    Sphere,
    extrude,
)

__all__ = ["BROKEN", "STEPPED"]


def _plate(height: float = 12.0) -> Part:
    return extrude(Rectangle(40, 30), height)


def _bore(diameter: float, low: float, high: float) -> Part:
    return Pos(0, 0, low) * extrude(Circle(diameter / 2), high - low)


def _cone(low: float, high: float, below: float, above: float) -> Part:
    middle = Pos(0, 0, (low + high) / 2)
    return middle * Cone(below / 2, above / 2, high - low)


def drilled() -> Part:
    """Blind hole of 6 to z = 5, its drill point of 118° below."""
    depth = 3 / math.tan(math.radians(59))
    return _plate() - _bore(6, 5, 12) - _cone(5 - depth, 5, 0, 6)


def flat_ended() -> Part:
    """Blind hole of 6 with a flat floor at z = 5."""
    return _plate() - _bore(6, 5, 12)


def ball_ended() -> Part:
    """Blind hole of 6 that a ball ends."""
    return _plate() - _bore(6, 5, 12) - Pos(0, 0, 5) * Sphere(3)


def counterbored() -> Part:
    """Through hole of 5 counterbored 10 from z = 7."""
    return _plate() - _bore(5, 0, 7) - _bore(10, 7, 12)


def counterbored_blind() -> Part:
    """Hole of 3 from z = 1, counterbored 10 from z = 9: deeper than a floor would be."""
    return _plate() - _bore(3, 1, 9) - _bore(10, 9, 12)


def countersunk() -> Part:
    """Through hole of 5 countersunk 90° to 11 at the top."""
    return _plate() - _bore(5, 0, 9) - _cone(9, 12, 5, 11)


def stepped() -> Part:
    """Through hole of 4, 8 and 14."""
    return _plate() - _bore(4, 0, 4) - _bore(8, 4, 8) - _bore(14, 8, 12)


def stepped_by_a_cone() -> Part:
    """Through hole of 6, a cone of 90° from 6 to 10, and 10 above it."""
    return _plate() - _bore(6, 0, 5) - _cone(5, 7, 6, 10) - _bore(10, 7, 12)


def grooved() -> Part:
    """Through hole of 10 with a groove of 12 from z = 5 to 7."""
    return _plate() - _bore(10, 0, 12) - _bore(12, 5, 7)


def fork() -> Part:
    """Two legs, each with a hole of 6 about one axis along X."""
    body = Box(30, 20, 20) - Pos(0, 0, 5) * Box(14, 20, 20)
    return body - Pos(0, 0, 4) * Rot(0, 90, 0) * Cylinder(3, 40)


def bored_boss() -> Part:
    """Pocket of 20 about a boss of 12 that has a hole of 5: nothing is stepped."""
    return _plate() - _bore(20, 4, 12) + _bore(12, 4, 12) - _bore(5, 0, 12)


def crossed() -> Part:
    """Hole of 8 along Z, crossed by one of 5 along X."""
    across = Pos(0, 0, 6) * Rot(0, 90, 0) * Cylinder(2.5, 60)
    return _plate() - _bore(8, 0, 12) - across


def keyed() -> Part:
    """Hole of 10 with a keyway 3 wide: the arc left follows from its width."""
    return _plate() - _bore(10, 0, 12) - Pos(4, 0, 6) * Box(5, 3, 12)


def split() -> Part:
    """Clamp: hole of 10 with a slit 2 wide to the edge."""
    return _plate() - _bore(10, 0, 12) - Pos(12, 0, 6) * Box(24, 2, 12)


def open_sided() -> Part:
    """Hole of 10 whose side is cut open over 60 degrees."""
    half = 5 * math.sin(math.radians(30))
    return _plate() - _bore(10, 0, 12) - Pos(12, 0, 6) * Box(24, 2 * half, 12)


STEPPED: dict[str, Callable[[], Part]] = {
    build.__name__: build
    for build in (
        drilled,
        flat_ended,
        ball_ended,
        counterbored,
        counterbored_blind,
        countersunk,
        stepped,
        stepped_by_a_cone,
        grooved,
        fork,
        bored_boss,
    )
}

# With the angle of the cylinder that is left, degrees.
BROKEN: dict[str, tuple[Callable[[], Part], float]] = {
    "crossed": (crossed, 360.0),
    "keyed": (keyed, 360.0 - 2 * math.degrees(math.asin(1.5 / 5))),
    "split": (split, 360.0 - 2 * math.degrees(math.asin(1 / 5))),
    "open_sided": (open_sided, 300.0),
}
