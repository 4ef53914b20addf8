"""Bores and bosses: arcs seen in sections, grown over the faces of the mesh.

A section proposes (a circle and the faces it was seen on); the mesh decides: only faces
whose corners lie on the cylinder and that look along its radius are its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across, dot
from meshcomp.association import associate_circle
from meshcomp.detection.seeds import LEAST_SPAN, Seed, coverage, linked
from meshcomp.errors import AssociationError
from meshcomp.meshes import Mesh
from meshcomp.sections import Ring, arcs, cut, heights_between
from meshcomp.segmentation import Regions, flatness_limit
from meshcomp.topology import Topology, components

__all__ = ["CylinderFaces", "Scene", "cylinders_along", "frame_along"]

UPRIGHT_LIMIT = 0.2  # normal along the axis, sine: facets of coarse meshes lean a little
ON_CYLINDER_LIMIT = 0.01  # mm, corner to cylinder
WIDEST_FACET = 46.0  # degrees: eight facets make a circle, six make a hexagon
_SAME_DIRECTION = 2e-3  # radians between facets that look alike
_LEAST_TAPER = 5e-4  # mm, change of radius from end to end
_WIDER_THAN_USUAL = 3.5  # a facet so much wider than the median is a flat, not a facet


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A mesh with what is known of its faces, shared by all detectors."""

    mesh: Mesh
    topology: Topology
    regions: Regions


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


def frame_along(direction: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return right-handed unit rows (3, 3), the last one along `direction`."""
    return np.vstack([basis_across(direction), direction])


def cylinders_along(
    scene: Scene, direction: NDArray[np.float64], taken: NDArray[np.bool_]
) -> tuple[list[CylinderFaces], list[Ring]]:
    """Find the bores and bosses whose axis runs along a direction.

    Parameters
    ----------
    scene : Scene
        The part.
    direction : (3,) float
        Unit vector.
    taken : (m,) bool
        Faces that belong to a feature already.

    Returns
    -------
    cylinders : list of CylinderFaces
        Each with an extent, an angle covered, its facets.
    rings : list of Ring
        The sections that were cut.
    """
    frame = frame_along(direction)
    leaning = np.abs(scene.regions.face_normals @ direction)
    upright = (leaning < UPRIGHT_LIMIT) & ~taken
    rings = _sections(scene, frame, upright)
    limit = flatness_limit(scene.mesh)
    seeds = [
        arc
        for ring in _different(rings)
        for arc in arcs(ring, _upright_panels(ring, upright), limit)
    ]
    found = []
    free = upright.copy()
    for seed in linked(seeds):
        if free[seed.faces].any():
            cylinder = _grow(scene, frame, seed, free)
            if cylinder is not None:
                free[cylinder.faces] = False
                found.append(cylinder)
    return found, rings


def _different(rings: list[Ring]) -> list[Ring]:
    """One ring of those that run through the same planar regions."""
    return list({np.sort(ring.regions).tobytes(): ring for ring in rings}.values())


def _sections(
    scene: Scene, frame: NDArray[np.float64], upright: NDArray[np.bool_]
) -> list[Ring]:
    faces = scene.mesh.faces[upright]
    if len(faces) == 0:
        return []
    along = (scene.mesh.vertices @ frame[2])[faces]
    heights = heights_between(along.min(axis=1), along.max(axis=1))
    return cut(scene.mesh, scene.topology, scene.regions.of_face, frame, heights)


def _upright_panels(ring: Ring, upright: NDArray[np.bool_]) -> NDArray[np.bool_]:
    panels = np.zeros(len(ring.points), dtype=bool)
    panels[ring.panel_of_face[upright[ring.faces]]] = True
    return panels


def _grow(
    scene: Scene, frame: NDArray[np.float64], seed: Seed, free: NDArray[np.bool_]
) -> CylinderFaces | None:
    """Take the connected faces on the seed's cylinder; None if they make no cylinder."""
    centre, radius = seed.centre, seed.radius
    limit = ON_CYLINDER_LIMIT + 0.004 * radius  # sections of coarse meshes cut corners
    for _ in range(4):
        candidates = _faces_on(
            scene, frame, (centre, radius, seed.is_internal), limit, free
        )
        faces = _connected_to(scene.topology, candidates, seed.faces)
        faces = _without_flats(scene, frame, (centre, radius, seed.is_internal), faces)
        if len(faces) < 6:  # noqa: PLR2004
            return None
        corners = scene.mesh.vertices[np.unique(scene.mesh.faces[faces])] @ frame[:2].T
        corners = corners[np.hypot(*(corners - centre).T) >= radius - limit]
        try:
            centre, diameter = associate_circle(corners)
        except AssociationError:
            return None
        # The median is not drawn away by the first band of a fillet at the rim.
        distances = np.hypot(*(corners - centre).T)
        radius = float(np.median(distances))
        scatter = float(np.median(np.abs(distances - radius)))
        limit = min(ON_CYLINDER_LIMIT, 3 * flatness_limit(scene.mesh) + 8 * scatter)
    return _described(scene, frame, (centre, diameter / 2, seed.is_internal), faces)


_Circle = tuple[NDArray[np.float64], float, bool]


def _faces_on(
    scene: Scene,
    frame: NDArray[np.float64],
    circle: _Circle,
    limit: float,
    free: NDArray[np.bool_],
) -> NDArray[np.int64]:
    """Free faces in the plane of a chord that look along the radius.

    No corner lies outside the circle, and each planar region has a corner on it. Corners
    amid a chord, where another face meets it, lie inside the circle by right.
    """
    centre, radius, is_internal = circle
    faces = np.flatnonzero(free)
    across = scene.mesh.vertices @ frame[:2].T - centre
    distance = np.hypot(across[:, 0], across[:, 1])
    furthest = distance[scene.mesh.faces[faces]].max(axis=1)
    nearest = distance[scene.mesh.faces[faces]].min(axis=1)
    narrow = np.cos(np.radians(WIDEST_FACET / 2))
    near = (furthest <= radius + limit) & (nearest >= radius * narrow - limit)
    faces, furthest = faces[near], furthest[near]
    normals = scene.regions.face_normals[faces] @ frame[:2].T
    plane = dot(normals, across[scene.mesh.faces[faces, 0]])
    chord = (-plane if is_internal else plane) >= (radius * narrow - limit) * 0.95
    faces, furthest = faces[chord], furthest[chord]
    touches = np.zeros(len(scene.regions.areas), dtype=bool)
    touches[scene.regions.of_face[faces[furthest >= radius - limit]]] = True
    return np.asarray(faces[touches[scene.regions.of_face[faces]]])


def _connected_to(
    topology: Topology, candidates: NDArray[np.int64], seeds: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Those candidates that hang together with a seed."""
    if len(candidates) == 0:
        return candidates
    neighbours = topology.neighbours[candidates]
    position = np.minimum(np.searchsorted(candidates, neighbours), len(candidates) - 1)
    known = candidates[position] == neighbours
    rows = np.repeat(np.arange(len(candidates)), 3)[known.ravel()]
    labels = components(
        len(candidates), np.column_stack([rows, position.ravel()[known.ravel()]])
    )
    wanted = np.unique(labels[np.isin(candidates, seeds)])
    return np.asarray(candidates[np.isin(labels, wanted)])


def _angles(
    scene: Scene,
    frame: NDArray[np.float64],
    centre: NDArray[np.float64],
    faces: NDArray[np.int64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lowest angle and width of each face about the axis, radians."""
    across = scene.mesh.vertices[scene.mesh.faces[faces]] @ frame[:2].T - centre
    angles = np.arctan2(across[..., 1], across[..., 0])
    # Measured from the first corner, so that no face is torn at half a turn.
    turned = (angles - angles[:, :1] + np.pi) % (2 * np.pi) - np.pi
    lowest = turned.min(axis=1)
    return (angles[:, 0] + lowest) % (2 * np.pi), turned.max(axis=1) - lowest


def _without_flats(
    scene: Scene,
    frame: NDArray[np.float64],
    circle: _Circle,
    faces: NDArray[np.int64],
) -> NDArray[np.int64]:
    """Drop faces on chords too wide to be facets of this circle: the side of a D."""
    if len(faces) == 0:
        return faces
    centre, radius, _ = circle
    normals = scene.regions.face_normals[faces] @ frame[:2].T
    corners = scene.mesh.vertices[scene.mesh.faces[faces, 0]] @ frame[:2].T - centre
    widths = 2 * np.arccos(np.clip(np.abs(dot(normals, corners)) / radius, -1, 1))
    usual = float(np.median(widths))
    widest = min(np.radians(WIDEST_FACET), max(_WIDER_THAN_USUAL * usual, 0.02))
    return np.asarray(faces[widths <= widest])


def _described(
    scene: Scene, frame: NDArray[np.float64], circle: _Circle, faces: NDArray[np.int64]
) -> CylinderFaces | None:
    centre, radius, is_internal = circle
    span = coverage(*_angles(scene, frame, centre, faces))
    if span < LEAST_SPAN:
        return None
    corners = scene.mesh.vertices[np.unique(scene.mesh.faces[faces])] @ frame.T
    deviations = np.hypot(*(corners[:, :2] - centre).T) - radius
    on = np.abs(deviations) <= ON_CYLINDER_LIMIT  # those amid a chord say nothing
    if _is_tapered(corners[on, 2], deviations[on]):
        return None
    one_a_region = np.unique(scene.regions.of_face[faces], return_index=True)[1]
    return CylinderFaces(
        frame=frame,
        centre=centre,
        diameter=2 * radius,
        is_internal=is_internal,
        faces=faces,
        start=float(corners[:, 2].min()),
        end=float(corners[:, 2].max()),
        span=span,
        facets=_facets(scene, frame, faces),
        size_across_flats=_across_flats(scene, frame, centre, faces[one_a_region]),
        form_deviation=float(np.abs(deviations[on]).max()),
    )


def _is_tapered(heights: NDArray[np.float64], deviations: NDArray[np.float64]) -> bool:
    """Whether the radius changes along the axis by more than its scatter explains."""
    along = heights - heights.mean()
    slope = float(along @ deviations) / max(float(along @ along), 1e-12)
    scatter = float(np.std(deviations - slope * along))
    return abs(slope) * float(np.ptp(heights)) > _LEAST_TAPER + 4 * scatter


def _facets(scene: Scene, frame: NDArray[np.float64], faces: NDArray[np.int64]) -> int:
    """Count the directions that facets look in."""
    regions = np.unique(scene.regions.of_face[faces])
    x, y = (scene.regions.normals[regions] @ frame[:2].T).T
    steps = np.round(np.arctan2(y, x) / _SAME_DIRECTION).astype(np.int64)
    turn = round(2 * np.pi / _SAME_DIRECTION)
    distinct = np.unique(steps % turn)
    # Two steps that follow each other are one direction that straddles their border.
    return len(distinct) - int((np.diff(distinct, append=distinct[0] + turn) == 1).sum())


def _across_flats(
    scene: Scene,
    frame: NDArray[np.float64],
    centre: NDArray[np.float64],
    faces: NDArray[np.int64],
) -> float:
    """Twice the least distance of a facet's plane from the axis, mm."""
    normals = scene.regions.face_normals[faces] @ frame[:2].T
    corners = scene.mesh.vertices[scene.mesh.faces[faces, 0]] @ frame[:2].T - centre
    lengths = np.maximum(np.linalg.norm(normals, axis=1), 1e-12)
    return 2 * float((np.abs(dot(normals, corners)) / lengths).min())
