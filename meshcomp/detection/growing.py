"""From a circle seen in sections to the faces of the mesh that are on it.

A section proposes; the mesh decides: only faces whose corners lie on the cylinder and
that look along its radius are its own.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import are_in, median, quantile, runs
from meshcomp._vectors import dot, highest, lowest, turned
from meshcomp.association import associate_circle
from meshcomp.detection.bends import WIDEST_FACET
from meshcomp.detection.chords import are_narrow, without_flats
from meshcomp.detection.scenes import Circle, Prospect, Scene
from meshcomp.detection.sectors import turn_seen
from meshcomp.detection.seeds import Seed
from meshcomp.detection.trimming import without_roundings
from meshcomp.detection.turns import LEAST_SPAN, angles_about, coverage
from meshcomp.detection.waves import is_wavy
from meshcomp.errors import AssociationError
from meshcomp.topology import Topology, components

__all__ = [
    "ON_CYLINDER_LIMIT",
    "STRICT_LIMIT",
    "connected_to",
    "grown",
    "telling_corners",
    "telling_vertices",
]

STRICT_LIMIT = 2e-3  # normal along the axis, sine: facets that run along the axis
ON_CYLINDER_LIMIT = 0.01  # mm, corner to cylinder
_COARSE_SECTION = 0.004  # radii: sections of coarse or remeshed walls cut corners
_EXACT = 5e-4  # mm: a smaller limit keeps roundings away by itself
_STEPS = 4
_KEPT = 0.7  # of the faces, by a narrower limit
_LEAST_SHARED = 6  # corners, for a circle
_MANY = 0.15  # share of the corners
_SETTLED = 1e-7  # mm, change of the radius


def grown(
    view: Prospect, seed: Seed, free: NDArray[np.bool_]
) -> tuple[Circle, NDArray[np.int64]] | None:
    """Take the connected faces on the seed's cylinder.

    Parameters
    ----------
    view : Prospect
        The scene along the cylinder's axis.
    seed : Seed
        Where to begin.
    free : (m,) bool
        Faces that may be taken.

    Returns
    -------
    circle : Circle
        Associated to the corners of the faces.
    faces : (k,) int
        Sorted. None if they make no cylinder.
    """
    circle = Circle(seed.centre, seed.radius, seed.is_internal)
    limit, faces, is_exact = _first_limit(view, seed), np.zeros(0, dtype=np.int64), False
    corners, found = np.zeros((0, 2)), None
    for _ in range(_STEPS):
        nearer = _connected_on(view, circle, limit, free, seed)
        if is_exact and _is_too_few(view, circle, nearer, faces):
            break  # most corners lie on the circle so exactly that the others are lost
        if len(nearer) < 6:  # noqa: PLR2004 - fewer make no circle
            return None
        outer = _outer_corners(view, circle, nearer, limit)
        if not np.array_equal(outer, corners):
            found = _associated(outer, 3 * view.scene.limit, is_internal=seed.is_internal)
            corners = outer
        if found is None:
            return None
        settled = len(nearer) == len(faces)
        settled &= abs(found[0].radius - circle.radius) < _SETTLED
        faces, (circle, scatter, diameter) = nearer, found
        if settled:
            break
        limit, is_exact = ON_CYLINDER_LIMIT, scatter <= view.scene.limit
        if is_exact:  # else some corners may be off by any amount
            limit = min(limit, 3 * view.scene.limit + 8 * scatter)
    return Circle(circle.centre, diameter / 2, circle.is_internal), faces


def _connected_on(
    view: Prospect, circle: Circle, limit: float, free: NDArray[np.bool_], seed: Seed
) -> NDArray[np.int64]:
    """Free faces on a circle that hang together with a seed's, sorted."""
    candidates = _faces_on(view, circle, limit, free)
    faces = connected_to(view.scene.topology, candidates, seed.faces)
    if len(faces) > 0 and limit > _EXACT:
        faces = without_roundings(view, circle, faces)
    return without_flats(view, circle, faces, limit)


def _is_too_few(
    view: Prospect, circle: Circle, faces: NDArray[np.int64], before: NDArray[np.int64]
) -> bool:
    """Whether so many of the faces before are lost that the rest goes around no longer."""
    if len(faces) > _KEPT * len(before):
        return False
    looks = turn_seen(turned(view.scene.regions.face_normals[before], view.frame[:2]))
    spans = [_span(view, circle, each) for each in (faces, before)]
    if spans[0] >= LEAST_SPAN or min(spans[1], looks) < LEAST_SPAN:
        return False
    return not is_wavy(circle, telling_corners(view, before), _EXACT)


def _span(view: Prospect, circle: Circle, faces: NDArray[np.int64]) -> float:
    """Angle that faces cover about a circle's centre, degrees."""
    return coverage(*angles_about(view, faces, circle.centre)) if len(faces) else 0.0


def _first_limit(view: Prospect, seed: Seed) -> float:
    """How far corners of the seed's faces stand outside its circle, and some more.

    Nothing where facets run along the axis; the sagitta of a triangle where a section
    cuts it between its corners.
    """
    mesh = view.scene.mesh
    corners = turned(mesh.vertices[mesh.vertices_of(seed.faces)], view.frame[:2])
    outside = np.hypot(*(corners - seed.centre).T) - seed.radius
    excess = quantile(np.maximum(outside, 0.0), 0.9)
    most = ON_CYLINDER_LIMIT + _COARSE_SECTION * seed.radius
    return min(3 * view.scene.limit + 3 * excess, most)


def _outer_corners(
    view: Prospect, circle: Circle, faces: NDArray[np.int64], limit: float
) -> NDArray[np.float64]:
    """Telling corners, (k, 2) mm, without those amid a chord, that say nothing."""
    corners = telling_corners(view, faces)[:, :2]
    outside = np.hypot(*(corners - circle.centre).T) >= circle.radius - limit
    return np.asarray(corners[outside])


def _associated(
    corners: NDArray[np.float64], limit: float, *, is_internal: bool
) -> tuple[Circle, float, float] | None:
    """Associate a circle; return it by its median radius, the scatter, the diameter."""
    try:
        centre, diameter = associate_circle(corners)
        if not _are_on(corners, centre, limit):
            corners = _on_outer_circle(corners, centre, limit)
            centre, diameter = associate_circle(corners)
    except AssociationError:
        return None
    # The median is not drawn away by the first band of a fillet at the rim.
    distances = np.hypot(*(corners - centre).T)
    radius = median(distances)
    scatter = median(np.abs(distances - radius))
    return Circle(centre, radius, is_internal), scatter, diameter


def _are_on(
    corners: NDArray[np.float64], centre: NDArray[np.float64], limit: float
) -> bool:
    """Whether all corners lie on one circle, so that there is no outer one."""
    return bool(np.ptp(np.hypot(*(corners - centre).T)) <= limit)


def telling_corners(view: Prospect, faces: NDArray[np.int64]) -> NDArray[np.float64]:
    """Corners at which facets meet, (k, 3) in the view's frame, mm.

    Others may lie amid a facet's chord, inside the circle. All corners if too few are
    shared.
    """
    vertices = telling_vertices(view.scene, faces)
    return turned(view.scene.mesh.vertices[vertices], view.frame)


def telling_vertices(scene: Scene, faces: NDArray[np.int64]) -> NDArray[np.int64]:
    """Vertices at which planar regions of faces meet, sorted; all if those are too few."""
    count = len(scene.regions.areas)
    vertices = scene.mesh.faces[faces]
    keys = (vertices * count + scene.regions.of_face[faces][:, None]).ravel()
    keys.sort(kind="stable")  # quick where neighbours follow each other
    vertices = keys[runs(keys)[0]] // count  # one a vertex and region
    begins, sizes = runs(vertices)
    shared = vertices[begins[sizes > 1]]
    return shared if len(shared) >= _LEAST_SHARED else vertices[begins]


def _on_outer_circle(
    corners: NDArray[np.float64], centre: NDArray[np.float64], limit: float
) -> NDArray[np.float64]:
    """Corners on the outermost circle if many lie exactly on it, else all of them.

    Where leaning triangles were divided, corners amid their edges lie inside the circle
    of the others.
    """
    for nearest in (32 * limit, 4 * limit, limit):
        distances = np.hypot(*(corners - centre).T)
        near = np.abs(distances - quantile(distances, 0.95)) <= nearest
        if near.sum() < max(_LEAST_SHARED, _MANY * len(corners)):
            return corners
        centre = associate_circle(corners[near])[0]
    return np.asarray(corners[near])


def _faces_on(
    view: Prospect, circle: Circle, limit: float, free: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Free faces in the plane of a chord that look along the radius, sorted.

    No corner lies outside the circle, and each planar region has a corner on it. Corners
    amid a chord, where another face meets it, lie inside the circle by right.
    """
    narrow = circle.radius * np.cos(np.radians(WIDEST_FACET / 2)) - limit
    # A face in the plane of a chord has its middle no nearer to the axis than its plane.
    rows = view.around(circle, limit, least=0.9 * narrow)
    rows = rows[free[view.faces[rows]]]
    across = np.take(view.corners, rows, axis=0) - circle.centre
    normals = np.take(view.normals, rows, axis=0)
    distance = np.sqrt(dot(across, across))
    plane = dot(normals, across[:, 0])
    chord = (-plane if circle.is_internal else plane) >= 0.95 * narrow
    inside = lowest(distance) >= narrow
    good = (highest(distance) <= circle.radius + limit) & inside
    lost = np.flatnonzero(good & ~chord)
    chord[lost] = are_narrow(across[lost], circle.radius, limit, WIDEST_FACET)
    good &= chord
    rows, distance = rows[good], distance[good]
    touching = distance >= circle.radius - limit
    return np.sort(view.faces[rows[_held(view, rows, touching)]])


def _held(
    view: Prospect, rows: NDArray[np.int64], touching: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Whether each row's planar region has corners enough on the circle, (k,).

    A facet that runs along the axis is held by one, since its normal is known to be
    square to the axis; a region that leans lies on the cylinder with three.
    """
    scene = view.scene
    faces = view.faces[rows]
    count = len(scene.mesh.vertices)
    regions = scene.regions.of_face[faces]
    keys = (regions[:, None] * count + scene.mesh.faces[faces])[touching]
    keys.sort(kind="stable")
    held = keys[runs(keys)[0]] // count  # once a corner
    corners = np.searchsorted(held, regions, "right") - np.searchsorted(held, regions)
    return np.asarray(corners >= np.where(view.leaning[rows] > STRICT_LIMIT, 3, 1))


def connected_to(
    topology: Topology, candidates: NDArray[np.int64], seeds: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Those candidates that hang together with a seed, both ascending."""
    is_seed = are_in(candidates, seeds)
    if is_seed.all():
        return candidates
    neighbours = topology.neighbours_of(candidates)
    position = np.minimum(np.searchsorted(candidates, neighbours), len(candidates) - 1)
    known = candidates[position] == neighbours
    rows = np.repeat(np.arange(len(candidates)), 3)[known.ravel()]
    labels = components(
        len(candidates), np.column_stack([rows, position.ravel()[known.ravel()]])
    )
    wanted = np.zeros(int(labels.max()) + 1, dtype=bool)
    wanted[labels[is_seed]] = True
    return np.asarray(candidates[wanted[labels]])
