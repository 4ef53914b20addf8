"""Bores and bosses along one direction, from arcs seen in sections."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import distinct
from meshcomp._vectors import along, dot, highest, lowest, turned
from meshcomp.arcs import arcs
from meshcomp.detection.blends import is_band_of_a_curve
from meshcomp.detection.doubts import is_doubtful
from meshcomp.detection.flats import is_flattened
from meshcomp.detection.growing import (
    ON_CYLINDER_LIMIT,
    STRICT_LIMIT,
    grown,
    telling_vertices,
)
from meshcomp.detection.helices import is_helical
from meshcomp.detection.nominal import nominal_radius
from meshcomp.detection.parting import parted
from meshcomp.detection.patches import round_patches
from meshcomp.detection.rough import grown_roughly, rough_limit, was_made_anew
from meshcomp.detection.scenes import (
    LEANING_LIMIT,
    Circle,
    Prospect,
    Scene,
    frame_along,
    prospect,
)
from meshcomp.detection.seeds import Seed, linked
from meshcomp.detection.turns import LEAST_SPAN, angles_about, coverage, gaps
from meshcomp.sections import Outlines, cut, heights_through

__all__ = ["CylinderFaces", "cylinders_along", "cylinders_on", "take"]

_LEAST_KEPT = 0.5  # of a seed's faces, where a rough cylinder may have all
_MOST_CUTS, _FEW_CUTS = 400, 80
_LEFT_OVER = 0.7  # share of a patch that no exact cylinder has taken
_LEAST_ROUGH_SPAN = 300.0  # degrees
_WHOLE_TURN = 359.0  # degrees
_SAME_DIRECTION = 2e-3  # radians between facets that look alike


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CylinderFaces:
    """Faces that make up one cylinder, and the cylinder associated to them."""

    frame: NDArray[np.float64]  # (3, 3) rows: across, across, along
    centre: NDArray[np.float64]  # (2,) in the frame, mm
    diameter: float
    is_internal: bool
    faces: NDArray[np.int64]
    start: float
    end: float
    span: float  # degrees
    facets: int
    size_across_flats: float
    form_deviation: float


def cylinders_along(
    scene: Scene,
    direction: NDArray[np.float64],
    taken: NDArray[np.bool_],
    *,
    whole: bool = True,
) -> tuple[list[CylinderFaces], Outlines]:
    """Find the bores and bosses whose axis runs along a direction.

    Facets that run along the axis are looked at first; what they leave over may be
    triangles that lean, of meshes that were made anew.

    Parameters
    ----------
    scene : Scene
        The part.
    direction : (3,) float
        Unit vector.
    taken : (m,) bool
        Faces that belong to a feature already.
    whole : bool
        Whether to cut all walls, and to look for smooth patches too: else only facets
        that bend about the direction are looked at.

    Returns
    -------
    cylinders : list of CylinderFaces
        Each with an extent, an angle covered, its facets.
    outlines : Outlines
        The sections that were cut.
    """
    leaning = np.abs(along(scene.regions.normals, direction))[scene.regions.of_face]
    upright = (leaning < LEANING_LIMIT) & ~taken
    strict = upright & (leaning < STRICT_LIMIT) & scene.bends.along(direction)
    outlines = _sections(scene, direction, upright if whole else strict)
    upright = (upright & scene.bends.is_curved) | (scene.bends.is_sliver & ~taken)
    seeds = _seen_in(outlines, strict, scene.limit)
    if not (seeds or whole):
        return [], outlines
    view = prospect(scene, direction, upright)
    found = _confirmed(view, seeds, upright)
    return found + _smooth(view, upright) if whole else found, outlines


def cylinders_on(
    scene: Scene, direction: NDArray[np.float64], faces: NDArray[np.int64]
) -> list[CylinderFaces]:
    """Find the bores and bosses about a direction among some faces only."""
    leaning = np.abs(along(scene.regions.face_normals[faces], direction))
    upright = np.zeros(len(scene.mesh.faces), dtype=bool)
    upright[faces[(leaning < LEANING_LIMIT) | scene.bends.is_sliver[faces]]] = True
    view = prospect(scene, direction, upright)
    return _smooth(view, upright)


def take(taken: NDArray[np.bool_], found: list[CylinderFaces]) -> None:
    """Mark the faces of cylinders, (m,) bool, in place."""
    for cylinder in found:
        taken[cylinder.faces] = True


def _smooth(view: Prospect, upright: NDArray[np.bool_]) -> list[CylinderFaces]:
    """Cylinders seen as smooth patches, the exact ones first."""
    patches = round_patches(view, upright)
    exact = _confirmed(view, patches, upright)
    left = [seed for seed in patches if upright[seed.faces].mean() > _LEFT_OVER]
    return exact + _confirmed(view, left, upright, is_rough=True)


def _seen_in(outlines: Outlines, allowed: NDArray[np.bool_], limit: float) -> list[Seed]:
    """Circles that sections show on allowed faces."""
    upright = np.zeros(len(outlines.points), dtype=bool)
    upright[outlines.panel_of_face[allowed[outlines.faces]]] = True
    return linked(arcs(outlines, upright, limit), outlines)


def _confirmed(
    view: Prospect,
    seeds: list[Seed],
    free: NDArray[np.bool_],
    *,
    is_rough: bool = False,
) -> list[CylinderFaces]:
    """Grow cylinders from seeds, each on faces that none before has taken."""
    grow = grown_roughly if is_rough else grown
    found = []
    for seed in seeds:
        if not free[seed.faces].any():
            continue
        result = grow(view, seed, free)
        if result is not None and not is_rough and _is_by_chance(view, seed, result[1]):
            continue
        for cylinder in [] if result is None else _pieces(view, *result, is_rough=is_rough):
            free[cylinder.faces] = False
            found.append(cylinder)
    return found


def _is_by_chance(view: Prospect, seed: Seed, faces: NDArray[np.int64]) -> bool:
    """Whether few faces of a wall made anew lie on its circle exactly: it is rough."""
    if not was_made_anew(view.scene, seed.faces, view.frame[2]):
        return False
    return float(np.isin(seed.faces, faces).mean()) < _LEAST_KEPT


def _pieces(
    view: Prospect, circle: Circle, faces: NDArray[np.int64], *, is_rough: bool
) -> list[CylinderFaces]:
    """Describe faces on one circle: as several cylinders where each is one by itself."""
    parts = parted(view, faces)
    found = [_described(view, circle, part, is_rough=is_rough) for part in parts]
    whole = [cylinder for cylinder in found if cylinder is not None]
    if len(parts) == 1 or len(whole) == len(parts):
        return whole
    cylinder = _described(view, circle, faces, is_rough=is_rough)
    return [] if cylinder is None else [cylinder]


def _sections(
    scene: Scene, direction: NDArray[np.float64], upright: NDArray[np.bool_]
) -> Outlines:
    """Cut so that every planar region with an upright face is met.

    Lying walls amid what is curved both ways are nothing that has a size: few cuts do.
    """
    frame, most = frame_along(direction), _MOST_CUTS
    if not direction[2] and scene.bends.is_double.any():
        upright, most = upright & ~scene.bends.is_double, _FEW_CUTS
    levels = along(scene.mesh.vertices, direction)
    faces = np.flatnonzero(upright)
    heights = levels[scene.mesh.faces[faces]]
    region = scene.regions.of_face[faces]
    lows = np.full(len(scene.regions.areas), np.inf)
    highs = np.full(len(scene.regions.areas), -np.inf)
    np.minimum.at(lows, region, lowest(heights))
    np.maximum.at(highs, region, highest(heights))
    at = heights_through(lows, highs, levels, most=most)
    return cut(scene.mesh, scene.topology, scene.regions.of_face, frame, at)


def _described(
    view: Prospect, circle: Circle, faces: NDArray[np.int64], *, is_rough: bool
) -> CylinderFaces | None:
    scene = view.scene
    limit = rough_limit(circle.radius) if is_rough else ON_CYLINDER_LIMIT
    angles = angles_about(view, faces, circle.centre)
    span = coverage(*angles)
    if span < (_LEAST_ROUGH_SPAN if is_rough else LEAST_SPAN):
        return None
    telling = telling_vertices(scene, faces)
    if is_doubtful(view, circle, faces, telling, limit):
        return None
    if span < _WHOLE_TURN and is_flattened(view, circle, faces, gaps(*angles)):
        return None
    if is_helical(view, circle, faces) or is_band_of_a_curve(scene, faces, view.frame[2]):
        return None
    heights = along(scene.mesh.vertices[scene.mesh.vertices_of(faces)], view.frame[2])
    corners = turned(scene.mesh.vertices[telling], view.frame[:2])
    deviations = np.hypot(*(corners - circle.centre).T) - circle.radius
    on = np.abs(deviations) <= limit  # those amid a chord say nothing
    one_a_region = np.unique(scene.regions.of_face[faces], return_index=True)[1]
    return CylinderFaces(
        frame=view.frame,
        centre=circle.centre,
        diameter=2 * nominal_radius(view, circle, faces, corners),
        is_internal=circle.is_internal,
        faces=faces,
        start=float(heights.min()),
        end=float(heights.max()),
        span=span,
        facets=_facets(view, faces),
        size_across_flats=_across_flats(view, circle, faces[one_a_region]),
        form_deviation=float(np.abs(deviations[on]).max()),
    )


def _facets(view: Prospect, faces: NDArray[np.int64]) -> int:
    """Count the directions that facets look in."""
    known = view.scene.regions
    regions = distinct(known.of_face[faces], len(known.areas))
    x, y = turned(known.normals[regions], view.frame[:2]).T
    steps = np.round(np.arctan2(y, x) / _SAME_DIRECTION).astype(np.int64)
    turn = round(2 * np.pi / _SAME_DIRECTION)
    ways = distinct(steps % turn, turn)
    # Two steps that follow each other are one direction that straddles their border.
    return len(ways) - int((np.append(ways[1:], ways[0] + turn) - ways == 1).sum())


def _across_flats(view: Prospect, circle: Circle, faces: NDArray[np.int64]) -> float:
    """Twice the least distance of a facet's plane from the axis, mm."""
    scene = view.scene
    normals = turned(scene.regions.face_normals[faces], view.frame[:2])
    corners = turned(scene.mesh.vertices[scene.mesh.faces[faces, 0]], view.frame[:2])
    lengths = np.maximum(np.linalg.norm(normals, axis=1), 1e-12)
    return 2 * float((np.abs(dot(normals, corners - circle.centre)) / lengths).min())
