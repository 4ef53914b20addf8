"""Mechanical parts drawn at random, built by the B-rep kernel.

Source: OpenCASCADE through build123d. What holes they have is read off the exact solid
(`cylinders`), since holes may cut each other or break an edge.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from build123d import (
    Axis,
    Box,
    Circle,
    Line,
    Plane,
    Pos,
    Rectangle,
    RectangleRounded,
    Solid,
    ThreePointArc,
    extrude,
    make_face,
    revolve,
)

__all__ = ["random_part"]

Profile = list[tuple[float, float]]


def random_part(seed: int) -> Solid:
    """Return a plate, a block, a turned part or a clamp, valid to the kernel."""
    rng = np.random.default_rng(seed)
    made = MAKERS[seed % len(MAKERS)](rng)
    solid = max(made.solids(), key=lambda each: each.volume)
    if not solid.is_valid:
        raise ValueError(f"part {seed}: the kernel finds the solid invalid")
    return solid


def turned(profile: Profile, mouth: Plane) -> Solid:
    """Return a solid of revolution about a normal, of (radius, height) from its top."""
    points = [(0.0, profile[0][1]), *profile, (0.0, profile[-1][1])]
    spots = [(r, 0.0, z) for r, z in points]
    edges = [
        Line(a, b)
        for a, b in zip(spots, [*spots[1:], spots[0]], strict=True)
        if math.dist(a, b) > 1e-9
    ]
    return (mouth.location * revolve(make_face(edges), Axis.Z, 360)).solid()


def hole(rng, mouth: Plane, depth: float, most: float) -> Solid:
    """Draw a hole into material so deep, no wider than `most` but for its mouth."""
    r = rng.uniform(0.5, most / 2)
    end = (r, -depth - 1)
    at = -depth * rng.uniform(0.25, 0.7)
    wide = r * rng.uniform(1.2, 2.0)
    kinds: list[Profile] = [
        [(r, 1), end],
        [(r, 1), (r, at)],
        [(r, 1), (r, at), (0, at - r / math.tan(math.radians(59)))],
        [(wide, 1), (wide, at), (r, at), end],
        [(wide + 1, 1), (r, min(r - wide, -0.1)), end],
        [(r, 1), (r, at), (1.15 * r, at), (1.15 * r, at - 0.15 * depth), end],
        [(r + 1.4, 1), (r, -0.4), end],
    ]
    kinds[5].insert(4, (r, at - 0.15 * depth))
    if rng.random() < 0.15:
        return _rounded_hole(r, depth, mouth)
    return turned(kinds[rng.integers(len(kinds))], mouth)


def _rounded_hole(r: float, depth: float, mouth: Plane) -> Solid:
    """Return a through hole with a rounded mouth."""
    f = min(1.0, depth / 3)
    low = f * (1 - math.sqrt(0.5))
    edges = [
        Line((0, 0, 1), (r + f, 0, 1)),
        Line((r + f, 0, 1), (r + f, 0, 0)),
        ThreePointArc((r + f, 0, 0), (r + low, 0, -low), (r, 0, -f)),
        Line((r, 0, -f), (r, 0, -depth - 1)),
        Line((r, 0, -depth - 1), (0, 0, -depth - 1)),
        Line((0, 0, -depth - 1), (0, 0, 1)),
    ]
    return (mouth.location * revolve(make_face(edges), Axis.Z, 360)).solid()


def plate(rng) -> Solid:
    """Return a plate with holes here and there, one of them through its length at times."""
    width, depth, height = rng.uniform(30, 60), rng.uniform(25, 50), rng.uniform(2, 14)
    sketch = (
        RectangleRounded(width, depth, 5) if rng.random() < 0.5 else Rectangle(width, depth)
    )
    tools = []
    for _ in range(int(rng.integers(2, 6))):
        x, y = rng.uniform(-0.42, 0.42, 2) * (width, depth)
        top = rng.random() < 0.7
        mouth = Plane((x, y, height if top else 0), z_dir=(0, 0, 1 if top else -1))
        tools.append(hole(rng, mouth, height, 12))
    if height > 6:
        mouth = Plane((width / 2, rng.uniform(-8, 8), height / 2), z_dir=(1, 0, 0))
        tools.append(hole(rng, mouth, width, height / 2))
    return extrude(sketch, height).solid().cut(*tools)


def block(rng) -> Solid:
    """Return a block whose holes cross each other, one of them about no coordinate axis."""
    size = rng.uniform(20, 40, 3)
    tools = []
    for _ in range(int(rng.integers(3, 6))):
        axis = int(rng.integers(3))
        normal = np.eye(3)[axis]
        spot = rng.uniform(-0.35, 0.35, 3) * size * (1 - normal) + normal * size / 2
        tools.append(hole(rng, Plane(tuple(spot), z_dir=tuple(normal)), size[axis], 9))
    way = rng.normal(size=3)
    way /= np.linalg.norm(way)
    foot = rng.uniform(-0.2, 0.2, 3) * size - 60 * way
    tools.append(
        Solid.make_cylinder(rng.uniform(1, 4), 120, Plane(tuple(foot), z_dir=tuple(way)))
    )
    return Box(*size.tolist()).solid().cut(*tools)


def shaft(rng) -> Solid:
    """Return steps about one axis, with grooves, chamfers, a bore, a cross bore."""
    profile: Profile = []
    z = 0.0
    for _ in range(int(rng.integers(2, 5))):
        r, length = rng.uniform(3, 15), rng.uniform(2, 15)
        if rng.random() < 0.4:
            profile += [(r - 0.5, z), (r, z - 0.5)]
        else:
            profile += [(r, z)]
        if length > 6 and rng.random() < 0.5:
            profile += [(r, z - 3), (0.9 * r, z - 3), (0.9 * r, z - 4), (r, z - 4)]
        z -= length
        profile += [(r, z)]
    least = min(r for r, _ in profile)
    tools = [hole(rng, Plane.XY, -z, 1.2 * least)]
    across = Plane((-40, 0, z / 2), z_dir=(1, 0, 0))
    tools.append(Solid.make_cylinder(rng.uniform(0.5, 1.5), 80, across))
    return turned(profile, Plane.XY).cut(*tools)


def clamp(rng) -> Solid:
    """Return a split clamp with the hole of its screw."""
    r, wall, height = rng.uniform(3, 12), rng.uniform(3, 6), rng.uniform(8, 18)
    ears = Pos(r + wall + 4, 0, height / 2) * Box(12 + wall, 14, height)
    body = extrude(Circle(r + wall), height).solid().fuse(ears.solid())
    slit = Pos(25, 0, height / 2) * Box(50, 2, height + 2)
    screw = hole(rng, Plane((r + wall + 5, 7, height / 2), z_dir=(0, 1, 0)), 14, 4)
    bore = Solid.make_cylinder(r, height + 2, Plane((0, 0, -1)))
    return body.cut(bore, slit.solid(), screw)


MAKERS: tuple[Callable[[np.random.Generator], Solid], ...] = (plate, block, shaft, clamp)
