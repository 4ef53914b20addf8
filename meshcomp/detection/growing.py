"""From a circle seen in sections to the faces of the mesh that are on it.

A section proposes; the mesh decides: only faces whose corners lie on the cylinder and
that look along its radius are its own.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, highest, lowest, median, quantile, turned
from meshcomp.association import associate_circle
from meshcomp.detection.bends import WIDEST_FACET
from meshcomp.detection.scenes import Circle, Prospect
from meshcomp.detection.seeds import Seed
from meshcomp.detection.trimming import without_roundings
from meshcomp.errors import AssociationError
from meshcomp.topology import Topology, components

__all__ = ["ON_CYLINDER_LIMIT", "STRICT_LIMIT", "connected_to", "grown", "telling_corners"]

STRICT_LIMIT = 2e-3  # normal along the axis, sine: facets that run along the axis
ON_CYLINDER_LIMIT = 0.01  # mm, corner to cylinder
_COARSE_SECTION = 0.004  # radii: sections of coarse or remeshed walls cut corners
_EXACT = 5e-4  # mm: a smaller limit keeps roundings away by itself
_WIDER_THAN_USUAL = 3.5  # a facet so much wider than the median is a flat, not a facet
_ROW = 3  # wide facets that follow each other
_SAME_WAY = 0.3  # of a facet's width, between directions of its triangles
_ADJOINING = (0.02, 0.25)  # of the wider facet, that ends may be apart: sure, at most
_STEPS = 4
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
    limit, count = _first_limit(view, seed), 0
    for _ in range(_STEPS):
        candidates = _faces_on(view, circle, limit, free)
        faces = connected_to(view.scene.topology, candidates, seed.faces)
        if len(faces) > 0 and limit > _EXACT:
            faces = without_roundings(view, circle, faces)
        faces = _without_flats(view, circle, faces, limit)
        if len(faces) < 6:  # noqa: PLR2004 - fewer make no circle
            return None
        found = _associated(view, circle, faces, limit)
        if found is None:
            return None
        settled = len(faces) == count and abs(found[0].radius - circle.radius) < _SETTLED
        circle, scatter, diameter = found
        if settled:
            break
        count = len(faces)
        limit = ON_CYLINDER_LIMIT
        if scatter <= view.scene.limit:  # else some corners may be off by any amount
            limit = min(limit, 3 * view.scene.limit + 8 * scatter)
    return Circle(circle.centre, diameter / 2, circle.is_internal), faces


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


def _associated(
    view: Prospect, circle: Circle, faces: NDArray[np.int64], limit: float
) -> tuple[Circle, float, float] | None:
    """Associate a circle; return it by its median radius, the scatter, the diameter."""
    corners = telling_corners(view, faces)[:, :2]
    outside = np.hypot(*(corners - circle.centre).T) >= circle.radius - limit
    corners = corners[outside]  # those amid a chord say nothing
    try:
        centre, diameter = associate_circle(corners)
        if not _are_on(corners, centre, 3 * view.scene.limit):
            corners = _on_outer_circle(corners, centre, 3 * view.scene.limit)
            centre, diameter = associate_circle(corners)
    except AssociationError:
        return None
    # The median is not drawn away by the first band of a fillet at the rim.
    distances = np.hypot(*(corners - centre).T)
    radius = median(distances)
    scatter = median(np.abs(distances - radius))
    return Circle(centre, radius, circle.is_internal), scatter, diameter


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
    scene = view.scene
    count = len(scene.regions.areas)
    vertices = scene.mesh.faces[faces]
    keys = (vertices * count + scene.regions.of_face[faces][:, None]).ravel()
    keys.sort(kind="stable")  # quick where neighbours follow each other
    vertices = keys[np.diff(keys, prepend=-1) > 0] // count  # one a vertex and region
    begins = np.flatnonzero(np.diff(vertices, prepend=-1))
    shared = vertices[begins[np.diff(begins, append=len(vertices)) > 1]]
    vertices = vertices[begins]
    telling = shared if len(shared) >= _LEAST_SHARED else vertices
    return turned(scene.mesh.vertices[telling], view.frame)


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
    chord[lost] = _are_narrow(across[lost], circle.radius, limit, WIDEST_FACET)
    good &= chord
    rows, distance = rows[good], distance[good]
    touching = distance >= circle.radius - limit
    return np.sort(view.faces[rows[_held(view, rows, touching)]])


def _are_narrow(
    across: NDArray[np.float64], radius: float, limit: float, widest: float
) -> NDArray[np.bool_]:
    """Whether all corners of faces lie on a circle, at most so many degrees apart, (k,).

    Corners that are off by the limit tilt a narrow facet's plane any way.
    """
    first, second, third = (np.ascontiguousarray(across[:, k]) for k in range(3))
    nearest = np.full(len(across), np.inf)
    for a, b in ((first, second), (second, third), (third, first)):
        nearest = np.minimum(nearest, dot(a, b))
    is_on = np.sqrt(lowest(dot(across, across))) >= radius - limit
    return np.asarray(is_on & (nearest >= radius * radius * np.cos(np.radians(widest))))


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
    held = keys[np.diff(keys, prepend=-1) > 0] // count  # once a corner
    corners = np.searchsorted(held, regions, "right") - np.searchsorted(held, regions)
    return np.asarray(corners >= np.where(view.leaning[rows] > STRICT_LIMIT, 3, 1))


def connected_to(
    topology: Topology, candidates: NDArray[np.int64], seeds: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Those candidates that hang together with a seed."""
    if len(candidates) == 0:
        return candidates
    neighbours = topology.neighbours_of(candidates)
    position = np.minimum(np.searchsorted(candidates, neighbours), len(candidates) - 1)
    known = candidates[position] == neighbours
    rows = np.repeat(np.arange(len(candidates)), 3)[known.ravel()]
    labels = components(
        len(candidates), np.column_stack([rows, position.ravel()[known.ravel()]])
    )
    wanted = np.zeros(int(labels.max()) + 1, dtype=bool)
    wanted[labels[np.isin(candidates, seeds)]] = True
    return np.asarray(candidates[wanted[labels]])


def _without_flats(
    view: Prospect, circle: Circle, faces: NDArray[np.int64], limit: float
) -> NDArray[np.int64]:
    """Drop faces on chords too wide to be facets of this circle: the side of a D.

    A narrow facet's plane, which its corners tilt by chance, does not count. Wide facets
    that follow each other are a part of the turn that was divided more coarsely.
    """
    if len(faces) == 0:
        return faces
    scene = view.scene
    normals = turned(scene.regions.face_normals[faces], view.frame[:2])
    corners = turned(scene.mesh.vertices[scene.mesh.faces[faces, 0]], view.frame[:2])
    reach = np.abs(dot(normals, corners - circle.centre)) / circle.radius
    widths = 2 * np.arccos(np.clip(reach, -1, 1))
    usual = median(widths)
    widest = min(np.radians(WIDEST_FACET), max(_WIDER_THAN_USUAL * usual, 0.02))
    kept = widths <= widest
    lost = np.flatnonzero(~kept)
    corners = turned(scene.mesh.vertices[scene.mesh.faces[faces[lost]]], view.frame[:2])
    across = corners - circle.centre
    kept[lost] = _are_narrow(across, circle.radius, limit, float(np.degrees(widest)))
    wide = lost[widths[lost] <= np.radians(WIDEST_FACET)]
    directions = np.arctan2(normals[wide, 1], normals[wide, 0])
    kept[wide] |= _in_rows(directions, widths[wide], limit / circle.radius)
    return np.asarray(faces[kept])


def _in_rows(
    directions: NDArray[np.float64], widths: NDArray[np.float64], limit: float
) -> NDArray[np.bool_]:
    """Whether facets, by direction and width in radians, adjoin like ones, (k,).

    Three make a row; the two flats of a double D do not adjoin. A limit in radii, by
    which corners may be off, makes widths uncertain.
    """
    order = np.argsort(directions % (2 * np.pi), kind="stable")
    ways, wide = directions[order] % (2 * np.pi), widths[order]
    # Triangles of one facet, which noise tilts, look nearly the same way.
    is_new = (ways - np.roll(ways, 1)) % (2 * np.pi) > _SAME_WAY * wide
    label = (np.cumsum(is_new) - 1) % max(int(is_new.sum()), 1)
    ways, wide = ways[is_new], wide[is_new]
    if len(ways) < _ROW:
        return np.zeros(len(order), dtype=bool)
    after = np.roll(wide, -1)
    apart = (np.roll(ways, -1) - ways) % (2 * np.pi)
    most = np.maximum(wide, after)
    spare = _ADJOINING[0] * most + 2 * limit / np.sin(most / 2)
    spare = np.minimum(spare, _ADJOINING[1] * most)
    adjoins = np.abs(apart - (wide + after) / 2) <= spare
    adjoins &= most <= _WIDER_THAN_USUAL * np.minimum(wide, after)
    before = np.roll(adjoins, 1)
    is_middle = adjoins & before
    in_row = (
        is_middle | (adjoins & np.roll(is_middle, -1)) | (before & np.roll(is_middle, 1))
    )
    return np.asarray(in_row[label][np.argsort(order)])
