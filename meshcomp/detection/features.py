"""From found faces to named features, in an order a person can follow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import angle_between
from meshcomp.detection.cylinders import CylinderFaces
from meshcomp.detection.entries import entry_faces
from meshcomp.detection.flares import ending_of, flares_of
from meshcomp.detection.growing import ON_CYLINDER_LIMIT
from meshcomp.detection.holes import with_steps
from meshcomp.detection.openings import open_through
from meshcomp.detection.pairing import Pair, wall_of
from meshcomp.detection.polygons import COARSE, evidence
from meshcomp.detection.scenes import Scene
from meshcomp.detection.walls import Profile
from meshcomp.features import Cylinder, Feature, Wall

__all__ = ["cylinder_features", "numbered", "wall_features"]

_UP = np.array([0.0, 0.0, 1.0])


def cylinder_features(scene: Scene, found: list[CylinderFaces]) -> list[Cylinder]:
    """Describe found cylinders as bores and bosses, with the entries that follow them."""
    free = np.ones(len(scene.mesh.faces), dtype=bool)
    for cylinder in found:
        free[cylinder.faces] = False
    features = []
    found = sorted(found, key=lambda c: -c.diameter)
    for cylinder, is_open in zip(found, open_through(scene, found), strict=True):
        entries = entry_faces(scene, cylinder, free)
        free[entries] = False
        doubts = [evidence(cylinder, found)] if cylinder.facets <= COARSE else []
        described = _cylinder(scene, cylinder, entries, doubts, is_open=is_open)
        features.append(described)
    return with_steps(features)


def _cylinder(
    scene: Scene,
    c: CylinderFaces,
    entries: NDArray[np.int64],
    doubts: list[str],
    *,
    is_open: bool,
) -> Cylinder:
    direction = c.frame[2]
    point = c.centre @ c.frame[:2] + (c.start + c.end) / 2 * direction
    notes = [*doubts]
    if c.span < 359.0:  # noqa: PLR2004 - degrees
        notes.append(f"interrupted: covers {c.span:.0f} of 360 degrees")
    if c.form_deviation > ON_CYLINDER_LIMIT:
        notes.append(
            f"corners are up to {c.form_deviation:.3f} mm off the circle, as where a mesh "
            "was made anew: the size is no better known than that"
        )
    is_through = c.is_internal and is_open
    flares = flares_of(scene, c, entries)
    ending = ending_of(scene, c, entries, flares, is_through=is_through)
    return Cylinder(
        id="",
        kind="bore" if c.is_internal else "boss",
        nominal_size=c.diameter,
        point=point,
        direction=direction,
        start=c.start,
        end=c.end,
        is_through=is_through,
        ending=ending if c.is_internal else "",
        flares=flares,
        span=c.span,
        build_angle=angle_between(direction, _UP),
        facets=c.facets,
        size_across_flats=c.size_across_flats,
        form_deviation=c.form_deviation,
        faces=c.faces,
        entry_faces=entries,
        notes=tuple(notes),
    )


def wall_features(scene: Scene, found: list[Pair], rest: list[Profile]) -> list[Wall]:
    """Describe pairs of walls and profiles."""
    walls = [wall_of(pair, "slot" if pair.is_internal else "wall") for pair in found]
    return walls + [_profile(scene, profile) for profile in rest]


def _profile(scene: Scene, profile: Profile) -> Wall:
    corners = scene.mesh.vertices[scene.mesh.vertices_of(profile.faces)]
    low, high = corners.min(axis=0), corners.max(axis=0)
    return Wall(
        id="",
        kind="profile",
        is_internal=profile.is_internal,
        nominal_size=None,
        point=(low + high) / 2,
        direction=_UP,
        start=float(low[2]),
        end=float(high[2]),
        level=(float(low[2]), float(high[2])),
        curve_length=profile.curve_length,
        faces=profile.faces,
    )


def numbered(features: list[Feature]) -> tuple[Feature, ...]:
    """Give ids: by kind, then from left to right, front to back, bottom to top."""
    named: list[Feature] = []
    for kind in ("bore", "boss", "wall", "slot", "distance", "profile"):
        mine = sorted((f for f in features if f.kind == kind), key=_place)
        digits = max(2, len(str(len(mine))))
        named += [
            replace(feature, id=f"{kind}-{number:0{digits}d}")
            for number, feature in enumerate(mine, 1)
        ]
    return tuple(named)


def _place(feature: Feature) -> tuple[float, ...]:
    """Place and size to 0.01 mm, so that another triangulation sorts alike."""
    place = (round(float(x), 2) + 0.0 for x in feature.point)
    return (*place, round(feature.nominal_size or 0.0, 2))
