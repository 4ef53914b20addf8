"""Plates whose round holes have rings of corners as exporters are seen to draw them.

The corners lie on the true circles by construction; trimesh extrudes the outline. What
is drawn: evenly or unevenly spaced corners, two halves divided differently, facets split
by slivers, eight to twelve facets. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon
from trimesh.creation import extrude_polygon

from meshcomp.meshes import Mesh
from outside.cylinders import STEPS, TrueCylinder

__all__ = ["RINGS", "ringed_plate"]

Angles = NDArray[np.float64]
WIDEST = np.radians(45.5)  # eight facets; wider ones are sides of a polygon
UP = np.array([0.0, 0.0, 1.0])


def usual(rng) -> Angles:
    return _even(int(rng.integers(13, 120)), rng)


def coarse(rng) -> Angles:
    return _even(int(rng.integers(8, 13)), rng)


def halves(rng) -> Angles:
    return _halves(*rng.integers(6, 80, 2), rng)


def coarse_halves(rng) -> Angles:
    return _halves(*rng.integers(4, 8, 2), rng)


def uneven(rng) -> Angles:
    """Give gaps of up to three times each other."""
    gaps = rng.uniform(1, rng.uniform(1.5, 3.0), int(rng.integers(10, 120)))
    return np.cumsum(gaps * 2 * np.pi / gaps.sum()) + rng.uniform(0, 6)


def slivers(rng) -> Angles:
    """Split a quarter of the facets very near to one of their corners."""
    angles = _even(int(rng.integers(12, 100)), rng)
    split = rng.choice(angles, max(1, len(angles) // 4), replace=False)
    beside = 10.0 ** rng.uniform(-3.3, -1.5, len(split))
    return np.concatenate([angles, split + np.minimum(beside, np.pi / len(angles))])


def _even(count: int, rng) -> Angles:
    return 2 * np.pi * (np.arange(count) / count + rng.random())


def _halves(one: int, other: int, rng) -> Angles:
    sides = [np.arange(one) / one, 1 + np.arange(other) / other]
    return np.pi * np.concatenate(sides) + rng.uniform(0, 6)


RINGS: dict[str, Callable[[np.random.Generator], Angles]] = {
    each.__name__: each for each in (usual, coarse, halves, coarse_halves, uneven, slivers)
}


def ringed_plate(kind: str, seed: int) -> tuple[Mesh, list[TrueCylinder]]:
    """Return a plate with nine holes whose rings are of one kind, and its true bores."""
    rng = np.random.default_rng(seed)
    height = float(rng.uniform(1, 12))
    holes, true = [], []
    for place in np.mgrid[-18:19:18, -18:19:18].reshape(2, -1).T:
        radius = float(np.exp(rng.uniform(np.log(0.6), np.log(7))))
        angles = _angles(kind, rng)
        holes.append(place + radius * np.column_stack([np.cos(angles), np.sin(angles)]))
        foot = np.array([*place, 0.0])
        true.append(_bore(radius, foot, height))
    outline = [(-30, -30), (30, -30), (30, 30), (-30, 30)]
    plate = extrude_polygon(Polygon(outline, holes), height)
    return Mesh(np.array(plate.vertices), np.array(plate.faces)), true


def _bore(radius: float, foot: NDArray[np.float64], height: float) -> TrueCylinder:
    return TrueCylinder(
        diameter=2 * radius,
        axis=UP,
        foot=foot,
        start=0.0,
        end=height,
        is_internal=True,
        turns=np.ones(STEPS, dtype=bool),
    )


def _angles(kind: str, rng) -> Angles:
    while True:
        angles = np.sort(RINGS[kind](rng) % (2 * np.pi))
        if np.diff(angles, append=angles[0] + 2 * np.pi).max() < WIDEST:
            return angles
