"""Cones about any axis but the upright one: holes and spigots that taper.

The planes of a cone's facets all pass through its tip, and their normals all lean alike
against its axis.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import distinct
from meshcomp._vectors import dot, highest, unit
from meshcomp.association import associate_circle
from meshcomp.detection.blends import runs_on_curving
from meshcomp.detection.scenes import Scene, frame_along
from meshcomp.detection.turns import LEAST_SPAN, angles_of, coverage
from meshcomp.errors import AssociationError
from meshcomp.features import Shape, Wall

__all__ = ["leaning_cones"]

_LEAST_REGIONS = 7
_UPRIGHT = 1 - 1e-4  # cosine: sections show cones that stand
_LEAST_LEAN, _MOST_LEAN = 0.003, 0.995  # sine of half the angle: else a cylinder, a plane
_TWISTED = 0.1  # sine, of a facet between rims that are divided each for itself
_STEPS, _LOOKED_AT = 6, 2
_FAR_OFF = 0.2  # mm: steps that have not come nearer by then lead nowhere
_OFF = 0.01  # mm, of a corner from the cone
_LEAST_HEIGHT = 0.3  # mm along the axis


@dataclass(frozen=True, slots=True, eq=False)
class _Cone:
    """A cone by its axis, tip, radius per height, and how its normals lean, a sine."""

    axis: NDArray[np.float64]
    tip: NDArray[np.float64]
    slope: float
    lean: float


def leaning_cones(scene: Scene, free: NDArray[np.bool_]) -> list[Wall]:
    """Find cones whose axis lies or slants, each as one profile with its shape.

    Parameters
    ----------
    scene : Scene
        The part.
    free : (m,) bool
        Faces that belong to no cylinder and no entry of one.

    Returns
    -------
    cones : list of Wall
        Without ids: angle in degrees, and both widths in mm, as their shape.
    """
    found: list[Wall] = []
    left = free & scene.bends.is_curved
    for is_internal in (True, False):
        for faces, axis, lean in _patches(scene, left, is_internal=is_internal):
            if not left[faces].all():
                continue
            cone = _cone_of(scene, faces, left, (axis, lean))
            if cone is not None and cone.is_internal == is_internal:
                found.append(cone)
                left[cone.faces] = False
    return found


def _patches(
    scene: Scene, allowed: NDArray[np.bool_], *, is_internal: bool
) -> Iterator[tuple[NDArray[np.int64], NDArray[np.float64], float]]:
    """Smooth patches, nowhere convex or nowhere concave, whose normals lean alike.

    Faces of each, (k,), sorted, the axis against which they lean, and the sine of it.
    """
    bends = scene.bends
    rising = bends.rising if is_internal else -bends.rising
    smooth = bends.among(allowed) & (rising >= 0)
    inside = np.flatnonzero(allowed)
    labels, rows = bends.joined(inside, smooth)
    if len(labels) == 0:
        return
    regions = distinct(bends.of_face[inside], len(scene.regions.areas))
    is_large = np.bincount(labels) >= _LEAST_REGIONS
    known = is_large[labels]  # regions of patches with enough of them
    inside, rows = inside[known[rows]], rows[known[rows]]
    labels = (np.cumsum(is_large) - 1)[labels]
    regions = regions[known]
    axes, leans, spread = _axes_of(
        labels[known], scene.regions.normals[regions], scene.regions.areas[regions]
    )
    good = (leans > _LEAST_LEAN) & (leans < _MOST_LEAN) & (spread <= _TWISTED)
    good &= np.abs(axes[:, 2]) <= _UPRIGHT
    of_face = labels[rows]
    order = np.argsort(of_face, kind="stable")  # faces of each patch stay sorted
    bounds = np.flatnonzero(np.diff(of_face[order], prepend=-1, append=-1))
    for k in np.flatnonzero(good).tolist():
        yield inside[order[bounds[k] : bounds[k + 1]]], axes[k], float(leans[k])


def _axes_of(
    labels: NDArray[np.int64], normals: NDArray[np.float64], areas: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Directions against which the normals of each patch lean most alike, (p, 3).

    With the sine by which they do, >= 0, (p,), and how far one is off that at most, (p,).
    """
    weights = areas / np.bincount(labels, areas)[labels]
    middles = np.array([np.bincount(labels, weights * n) for n in normals.T], float).T
    away = normals - middles[labels]
    spreads = np.zeros((len(middles), 3, 3))
    for i, j in combinations_with_replacement(range(3), 2):
        shared = np.bincount(labels, weights * away[:, i] * away[:, j])
        spreads[:, i, j] = spreads[:, j, i] = shared
    axes: NDArray[np.float64] = np.linalg.eigh(spreads)[1][:, :, 0].copy()
    axes *= np.where(dot(middles, axes) < 0, -1.0, 1.0)[:, None]
    leans = dot(middles, axes)
    off = np.zeros(len(axes))
    np.maximum.at(off, labels, np.abs(dot(normals, axes[labels]) - leans[labels]))
    return axes, leans, off


def _cone_of(
    scene: Scene,
    faces: NDArray[np.int64],
    free: NDArray[np.bool_],
    leaning: tuple[NDArray[np.float64], float],
) -> Wall | None:
    """Describe faces, and what goes on from them, as a cone; None if they are none."""
    axis, lean = leaning
    regions, first = np.unique(scene.regions.of_face[faces], return_index=True)
    normals = scene.regions.normals[regions]
    mesh = scene.mesh
    on_planes = mesh.vertices[mesh.faces[faces[first], 0]]
    middle = on_planes.mean(axis=0)
    levels = dot(normals, on_planes - middle)
    tip = middle + np.linalg.lstsq(normals, levels, rcond=None)[0]
    corners = mesh.vertices[mesh.vertices_of(faces)]
    cone = _Cone(axis, tip, lean / np.sqrt(1 - lean * lean), lean)
    for step in range(_STEPS):
        cone = _settled(cone, corners)
        if step == _LOOKED_AT and not _are_on(scene, cone, faces, _FAR_OFF).all():
            return None
    if not _LEAST_LEAN < abs(cone.slope) < 1 / _LEAST_LEAN:
        return None
    if abs(cone.axis[2]) > _UPRIGHT or not _are_on(scene, cone, faces).all():
        return None
    faces = _grown(scene, cone, faces, free)
    if runs_on_curving(scene, faces, cone.axis):
        return None
    return _described(scene, faces, cone.axis, cone.tip)


def _settled(cone: _Cone, corners: NDArray[np.float64]) -> _Cone:
    """Tilt and shift a cone so that corners lie on it: a Gauss-Newton step.

    Corners lie on the cone, facets inside it, and those between two rims that are
    divided each for itself do not even pass through its tip.
    """
    frame = frame_along(cone.axis)
    local = (corners - cone.tip) @ frame.T
    radii, z = np.hypot(local[:, 0], local[:, 1]), local[:, 2]
    u = local[:, :2] / np.maximum(radii, 1e-12)[:, None]
    terms = np.column_stack([u, z[:, None] * u, z, np.ones(len(z))])
    x, y, tilt_x, tilt_y, slope, rise = np.linalg.lstsq(terms, radii, rcond=None)[0]
    if abs(slope) < _LEAST_LEAN:
        return cone
    axis = unit(cone.axis + tilt_x * frame[0] + tilt_y * frame[1])
    tip = cone.tip + x * frame[0] + y * frame[1] - rise / slope * cone.axis
    return _Cone(axis, tip, abs(float(slope)), cone.lean)


def _are_on(
    scene: Scene, cone: _Cone, faces: NDArray[np.int64], limit: float = _OFF
) -> NDArray[np.bool_]:
    """Whether all corners of each face lie on a cone, and it leans as the cone does."""
    mesh = scene.mesh
    local = (mesh.vertices[mesh.faces[faces]] - cone.tip) @ frame_along(cone.axis).T
    off = np.hypot(local[..., 0], local[..., 1]) - cone.slope * np.abs(local[..., 2])
    leans = np.abs(scene.regions.face_normals[faces] @ cone.axis - cone.lean) < _TWISTED
    return np.asarray((highest(np.abs(off)) <= limit) & leans)


def _grown(
    scene: Scene, cone: _Cone, faces: NDArray[np.int64], free: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Add the free faces on a cone that hang together with some of it, sorted."""
    known = np.zeros(len(free), dtype=bool)
    known[faces] = True
    front = faces
    while len(front):
        beside = np.unique(scene.topology.neighbours_of(front))
        beside = beside[(beside >= 0)]
        beside = beside[free[beside] & ~known[beside]]
        front = beside[_are_on(scene, cone, beside)]
        known[front] = True
    return np.flatnonzero(known)


def _described(
    scene: Scene,
    faces: NDArray[np.int64],
    axis: NDArray[np.float64],
    tip: NDArray[np.float64],
) -> Wall | None:
    mesh = scene.mesh
    frame = frame_along(axis)
    corners = mesh.vertices[mesh.faces[faces]]
    local = (corners - tip) @ frame.T
    low, high = float(local[..., 2].min()), float(local[..., 2].max())
    if coverage(*angles_of(local[..., :2])) < LEAST_SPAN or high - low < _LEAST_HEIGHT:
        return None
    sizes = _sizes(local.reshape(-1, 3), (low, high))
    if sizes is None:
        return None
    angle = 2 * float(np.degrees(np.arctan2(abs(sizes[1] - sizes[0]), 2 * (high - low))))
    outward = np.median(
        dot(scene.regions.face_normals[faces] @ frame[:2].T, local.mean(axis=1)[:, :2])
    )
    flat = corners.reshape(-1, 3)
    base = float(tip @ axis)
    return Wall(
        id="",
        kind="profile",
        is_internal=bool(outward < 0),
        nominal_size=None,
        point=(flat.min(axis=0) + flat.max(axis=0)) / 2,
        direction=axis,
        start=base + low,
        end=base + high,
        level=(float(flat[:, 2].min()), float(flat[:, 2].max())),
        curve_length=float(np.pi * max(sizes)),
        faces=faces,
        shape=Shape(
            name="cone",
            measures=(("angle", angle), ("from", min(sizes)), ("to", max(sizes))),
        ),
    )


def _sizes(
    local: NDArray[np.float64], ends: tuple[float, float]
) -> tuple[float, float] | None:
    """Diameters at both ends, mm; 0 at the tip. None where an end is not round."""
    sizes = []
    for at in ends:
        rim = local[np.abs(local[:, 2] - at) < _OFF, :2]
        if float(np.hypot(*rim.T).max()) < _OFF:
            sizes.append(0.0)
            continue
        try:
            sizes.append(associate_circle(np.unique(rim.round(9), axis=0))[1])
        except AssociationError:
            return None
    return sizes[0], sizes[1]
