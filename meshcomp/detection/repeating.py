"""Make one feature of the walls of teeth, lobes and ridges, which are one curve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from meshcomp.detection.scenes import Scene
from meshcomp.features import Feature, Shape, Wall

__all__ = ["with_one_curve"]

_REPEATING = {"lobes", "teeth", "ridges"}
_UP = np.array([0.0, 0.0, 1.0])


def with_one_curve(
    scene: Scene, features: Sequence[Feature], lengths: dict[int, float]
) -> list[Feature]:
    """Put the walls of an outline that repeats itself together as one profile.

    Parallel flanks or roots of teeth are no slots.

    Parameters
    ----------
    scene : Scene
        The part.
    features : sequence of Feature
        With shapes.
    lengths : dict of int to float
        Length of the outline of each shape, mm, by the shape's identity.
    """
    walls: dict[int, list[Wall]] = {}
    for feature in features:
        if isinstance(feature, Wall) and _repeats(feature.shape):
            walls.setdefault(id(feature.shape), []).append(feature)
    gone = {id(wall) for mine in walls.values() for wall in mine}
    kept = [feature for feature in features if id(feature) not in gone]
    return kept + [_one(scene, mine, lengths[key]) for key, mine in walls.items()]


def _repeats(shape: Shape | None) -> bool:
    return shape is not None and shape.name.rpartition(" ")[2] in _REPEATING


def _one(scene: Scene, walls: list[Wall], length: float) -> Wall:
    faces = np.sort(np.concatenate([wall.faces for wall in walls]))
    corners = scene.mesh.vertices[np.unique(scene.mesh.faces[faces])]
    low, high = corners.min(axis=0), corners.max(axis=0)
    return replace(
        walls[0],
        kind="profile",
        nominal_size=None,
        point=(low + high) / 2,
        direction=_UP,
        start=float(low[2]),
        end=float(high[2]),
        level=(float(low[2]), float(high[2])),
        curve_length=length,
        faces=faces,
    )
