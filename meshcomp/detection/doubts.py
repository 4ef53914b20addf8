"""Reasons why faces near a cylinder are none: cones, blends, rings, drawn curves."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import quantile
from meshcomp._vectors import along, lengths, turned
from meshcomp.detection.growing import ON_CYLINDER_LIMIT
from meshcomp.detection.scenes import Circle, Prospect
from meshcomp.detection.turns import angles_about

__all__ = ["is_doubtful", "leans_one_way"]

_LEAST_TAPER = 5e-4  # mm, change of radius from end to end
_LEAN_LIMIT = 2e-3  # mean sine of the normals along the axis
_ONE_SIDED = 0.5  # mean over root mean square of the faces' lean
_LEAST_BEND = 2e-4  # mm, root mean square
_BENT = 0.2  # root mean square over range: 0.3 for a parabola, little for a rim's fillet
_SCATTER_LIMIT = 0.004  # mm: three corners in four lie nearer to the circle
_LETTERING_SIZE = 3.0  # mm: smaller rings that are shallow may be engraved letters
_LETTERING_DEPTH = 1.0
_INDEPENDENT = 1.0  # 2 for chance alone, 0 for a smooth curve
_SINGLE = 2.0**-24  # relative rounding of a 32-bit coordinate


def is_doubtful(
    view: Prospect,
    circle: Circle,
    faces: NDArray[np.int64],
    telling: NDArray[np.int64],
    limit: float,
) -> bool:
    """Whether faces on a circle are no cylinder, by their corners and normals.

    Parameters
    ----------
    view : Prospect
        The scene along the axis.
    circle : Circle
        As associated to the corners.
    faces : (k,) int
        Faces on it.
    telling : (n,) int
        Their vertices at which facets meet, sorted.
    limit : float
        How far a corner may be off the circle, mm; more than `ON_CYLINDER_LIMIT` where
        the mesh was made anew.
    """
    corners = turned(view.scene.mesh.vertices[telling], view.frame)
    deviations = np.hypot(*(corners[:, :2] - circle.centre).T) - circle.radius
    on = np.abs(deviations) <= limit  # those amid a chord say nothing
    if not on.any():
        return True
    corners, deviations = corners[on], deviations[on]
    return (
        _is_tapered(corners[:, 2], deviations)
        or leans_one_way(view, faces)
        or _is_bent(view, circle, faces, telling)
        or _is_scattered(deviations, limit)
        or _is_lettering(view, circle, corners, deviations)
    )


def _is_tapered(heights: NDArray[np.float64], deviations: NDArray[np.float64]) -> bool:
    """Whether the radius changes along the axis by more than its scatter explains."""
    away = heights - heights.mean()
    slope = float(away @ deviations) / max(float(away @ away), 1e-12)
    taper = abs(slope) * float(np.ptp(heights))
    if taper <= _LEAST_TAPER:
        return False
    return taper > _LEAST_TAPER + 4 * float(np.std(deviations - slope * away))


def _is_scattered(deviations: NDArray[np.float64], limit: float) -> bool:
    """Whether too many corners lie far from the circle."""
    most = _SCATTER_LIMIT if limit <= ON_CYLINDER_LIMIT else limit
    return quantile(np.abs(deviations), 0.75) > most


def leans_one_way(view: Prospect, faces: NDArray[np.int64]) -> bool:
    """Whether faces look along the axis, like a cone's; a cylinder's lean both ways."""
    scene = view.scene
    weights = lengths(scene.mesh.area_vectors[faces])
    leaning = along(scene.regions.face_normals[faces], view.frame[2])
    mean = (leaning * weights).sum() / weights.sum()
    if abs(mean) <= _LEAN_LIMIT:
        return False
    spread = (leaning**2 * weights).sum() / weights.sum()
    return bool(abs(mean) > _LEAN_LIMIT + _ONE_SIDED * np.sqrt(spread))


def _is_bent(
    view: Prospect, circle: Circle, faces: NDArray[np.int64], telling: NDArray[np.int64]
) -> bool:
    """Whether the wall swells or narrows amid its length: a barrel, a ring, a bent tube.

    Corners count by the area around them, so that the first bands of a fillet at an end,
    a hair off the circle, weigh little.
    """
    mesh = view.scene.mesh
    vertices = mesh.vertices_of(faces)
    points = turned(mesh.vertices[vertices], view.frame)
    off = np.hypot(*(points[:, :2] - circle.centre).T) - circle.radius
    if np.ptp(off) < _LEAST_BEND:
        return False
    areas = lengths(mesh.area_vectors[faces])
    place = np.searchsorted(vertices, mesh.faces[faces].ravel())
    weights = np.bincount(place, np.repeat(areas, 3)) / (3 * areas.sum())
    # Corners amid a chord lie inside the circle by right, and at the ends most of all.
    kept = (off >= 0) | (off < -_sagitta(view, circle, faces))
    kept |= np.isin(vertices, telling)
    points, off, weights = points[kept], off[kept], weights[kept] / weights[kept].sum()
    x, y = ((points[:, :2] - circle.centre) / circle.radius).T
    height = points[:, 2] - points[:, 2].mean()
    tilted = np.column_stack(
        [tilt := np.stack([np.ones(len(x)), x, y], axis=1), height[:, None] * tilt]
    )
    bent = np.column_stack([tilted, height[:, None] ** 2 * tilt])
    before, after = (_unexplained(terms, off, weights) for terms in (tilted, bent))
    bend = np.sqrt(max(before - after, 0.0))
    return bool(bend > _LEAST_BEND and bend > _BENT * np.ptp(off) and after < before / 2)


def _sagitta(view: Prospect, circle: Circle, faces: NDArray[np.int64]) -> float:
    """How far inside the circle the middle of the widest facet's chord lies, mm."""
    widest = float(angles_about(view, faces, circle.centre)[1].max())
    return circle.radius * (1 - math.cos(widest / 2))


def _unexplained(
    terms: NDArray[np.float64], values: NDArray[np.float64], weights: NDArray[np.float64]
) -> float:
    """Mean of weighted squares that is left of values when terms are fitted to them."""
    roots = np.sqrt(weights)
    terms, values = roots[:, None] * terms, roots * values
    found = np.linalg.lstsq(terms, values, rcond=None)[0]
    return float(((values - terms @ found) ** 2).sum())


def _is_lettering(
    view: Prospect,
    circle: Circle,
    corners: NDArray[np.float64],
    deviations: NDArray[np.float64],
) -> bool:
    """Whether a small shallow ring is less round than its coordinates could be.

    Letters are drawn with splines; a bore's corners lie on its circle to rounding, or
    off it by chance.
    """
    if 2 * circle.radius >= _LETTERING_SIZE or np.ptp(corners[:, 2]) > _LETTERING_DEPTH:
        return False
    rounding = 2e-5 + 4 * _SINGLE * float(np.abs(view.scene.mesh.vertices).max())
    return bool(np.abs(deviations).max() > rounding) and not _is_by_chance(
        corners[:, :2] - circle.centre, deviations
    )


def _is_by_chance(across: NDArray[np.float64], deviations: NDArray[np.float64]) -> bool:
    """Whether what corners are off tells nothing of their neighbours around the axis.

    By the ratio of von Neumann: mean square of successive differences over variance.
    """
    ordered = deviations[np.argsort(np.arctan2(across[:, 1], across[:, 0]), kind="stable")]
    steps = ordered - np.roll(ordered, 1)
    return bool((steps**2).mean() > _INDEPENDENT * np.var(ordered))
