"""The surface to look at: how far each point of it moved, and which feature it is of."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import along, lengths, pieces
from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Plan
from meshcomp.results import Compensated, Surface
from meshcomp.solids import thinned
from meshcomp.topology import next_half_edge, topology_of

__all__ = ["surface_of"]

MOST_FACES = 100_000  # shown; parts with more are thinned out for the picture
_FIRST_TOLERANCE = 2e-5  # of the part's diagonal
_FACTOR = 3
_MANY = 4  # times as many faces as are shown
_TRIES = 8
_SHARP = 0.88  # cosine of the angle between faces, 28 degrees
_THIN = 1e-3  # mm
_ANY_WAY = np.array([0.6180339887, 0.7548776662, 0.3176721962])  # few points lie level
_SLIVER = 1e-6  # mm: a face so low has no normal to speak of


def surface_of(
    inspection: Inspection, plan: Plan, made: Compensated | None, most: int = MOST_FACES
) -> Surface:
    """Return the surface of a compensated part with the displacement of its corners.

    Parameters
    ----------
    inspection, plan
        Features and what was planned for them.
    made : Compensated or None
        What came out; None for a dry run, whose surface is that of the part before.
    most : int
        Faces, above which the surface is thinned out.

    Examples
    --------
    >>> import meshcomp
    >>> found = meshcomp.inspect(meshcomp.demo_part("shaft_spacer"))
    >>> wider = meshcomp.plan(found, meshcomp.ByHand(bore_opening=0.2))
    >>> surface = surface_of(found, wider, None)
    >>> bore = surface.owners == 0
    >>> surface.displacements[bore].max().round(6)  # mm: material is taken away
    np.float64(-0.1)
    """
    mesh = inspection.part.mesh
    owners = _owners(inspection.features, len(mesh.faces))
    if made is None:
        offsets = np.array([*(c.offset for c in plan.corrections), 0.0])
        moved = np.repeat(offsets[owners][:, None], 3, axis=1)
        shown = mesh
    else:
        shown = made.part.mesh
        if plan.axes is not None:
            # What moved for the features' sake is seen once the axes have drawn it.
            shown = shown.moved(plan.axes.drawn(shown.vertices))
        moved = _moved(mesh, shown, made.parents)
        owners = owners[made.parents]
        _measure_from_axes(moved, shown, inspection.features, made.parents)
    if len(shown.faces) <= most:
        return _surface(shown, moved, owners, len(shown.faces), 0.0)
    return _fewer(shown, moved, owners, most)


def _owners(features: tuple[Feature, ...], count: int) -> NDArray[np.int64]:
    """Index of the feature that each face belongs to, (m,): those with a size first."""
    owners = np.full(count, -1, dtype=np.int64)
    order = sorted(range(len(features)), key=lambda i: features[i].nominal_size is not None)
    for index in order:
        feature = features[index]
        owners[feature.faces] = index
        if isinstance(feature, Cylinder):
            owners[feature.entry_faces] = index
    return owners


def _moved(before: Mesh, after: Mesh, parents: NDArray[np.int64]) -> NDArray[np.float64]:
    """How far each corner lies outside the plane of the face it came from, (m, 3)."""
    moved = np.zeros((len(after.faces), 3))
    for rows in pieces(len(after.faces)):
        came_from = parents[rows]
        vectors, is_flat = (
            before.area_vectors[came_from],
            before.heights[came_from] > _SLIVER,
        )
        scales = np.where(is_flat, lengths(vectors), 1.0)
        normals = np.where(is_flat[:, None], vectors, 0.0) / scales[:, None]
        points = before.vertices[before.faces[came_from, 0]]
        gaps = np.take(after.vertices, after.faces[rows], axis=0) - points[:, None, :]
        moved[rows] = np.einsum("ijk,ik->ij", gaps, normals)
    return moved


def _measure_from_axes(
    moved: NDArray[np.float64],
    after: Mesh,
    features: tuple[Feature, ...],
    parents: NDArray[np.int64],
) -> None:
    """Measure cylinders from the circle that their corners lay on, not from the facets.

    Between the corners of a facet the circle was missing before: there a face moves
    further than the feature does.
    """
    place = np.full(int(parents.max(initial=-1)) + 1, False)
    for feature in features:
        if not isinstance(feature, Cylinder):
            continue
        place[:] = False
        place[feature.faces[feature.faces < len(place)]] = True
        mine = place[parents]
        arms = after.vertices[after.faces[mine]] - feature.point
        heights = arms @ feature.direction
        radii = lengths(arms - heights[..., None] * feature.direction)
        grown = radii - feature.nominal_size / 2
        moved[mine] = -grown if feature.is_internal else grown


def _edges(mesh: Mesh, owners: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return where features end, and where faces meet sharply, (k, 2) vertices."""
    pairs = topology_of(mesh).pairs
    one, two = pairs.T // 3
    normals = mesh.area_vectors
    normals = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-30)[:, None]
    is_thin = mesh.heights < _THIN
    is_sharp = np.einsum("ij,ij->i", normals[one], normals[two]) < _SHARP
    # A sliver in a flat face may point anywhere.
    is_sharp &= ~(is_thin[one] | is_thin[two])
    starts = pairs[is_sharp | (owners[one] != owners[two]), 0]
    corners = mesh.faces.ravel()
    return np.column_stack([corners[starts], corners[next_half_edge(starts)]])


def _surface(
    mesh: Mesh,
    moved: NDArray[np.float64],
    owners: NDArray[np.int64],
    triangles: int,
    strayed: float,
) -> Surface:
    return Surface(
        vertices=mesh.vertices,
        faces=mesh.faces,
        displacements=moved,
        owners=owners,
        edges=_edges(mesh, owners),
        triangles=triangles,
        strayed=strayed,
    )


def _fewer(
    mesh: Mesh, moved: NDArray[np.float64], owners: NDArray[np.int64], most: int
) -> Surface:
    """Thin a surface out, more and more, until it has few faces.

    Each time what is left is thinned, which is quicker than all of it; it strays by as
    much as all steps together.
    """
    coarse, groups = mesh, owners + 1
    tolerance, strayed = _FIRST_TOLERANCE * mesh.diagonal, 0.0
    if len(mesh.faces) > _MANY * most:  # the first of all takes longest
        tolerance *= _FACTOR
    for _ in range(_TRIES):
        made = thinned(coarse, groups, tolerance)
        if made is None:
            break
        coarse, groups = made
        strayed += tolerance
        if len(coarse.faces) <= most:
            moves = _moves_at(mesh, moved, owners, coarse, groups - 1)
            return _surface(coarse, moves, groups - 1, len(mesh.faces), strayed)
        tolerance *= _FACTOR
    return _surface(mesh, moved, owners, len(mesh.faces), 0.0)


def _moves_at(
    mesh: Mesh,
    moved: NDArray[np.float64],
    owners: NDArray[np.int64],
    coarse: Mesh,
    of_face: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Mean displacement by vertex and feature, at the corners of a thinned mesh."""
    place = _places(mesh.vertices, coarse.vertices)
    shown = np.zeros(len(mesh.vertices), dtype=bool)
    shown[place] = True
    rows, corners = np.nonzero(shown[mesh.faces])
    width = int(owners.max(initial=-1)) + 2
    keys = mesh.faces[rows, corners] * width + owners[rows] + 1
    known, inverse, counts = np.unique(keys, return_inverse=True, return_counts=True)
    means = np.bincount(inverse, weights=moved[rows, corners]) / counts
    wanted = place[coarse.faces] * width + (of_face + 1)[:, None]
    at = np.minimum(np.searchsorted(known, wanted), len(known) - 1)
    return np.where(known[at] == wanted, means[at], 0.0)


def _places(vertices: NDArray[np.float64], some: NDArray[np.float64]) -> NDArray[np.int64]:
    """Index of each of some vertices among all."""
    levels = along(vertices, _ANY_WAY)
    order = np.argsort(levels)
    at = np.searchsorted(levels, along(some, _ANY_WAY), sorter=order)
    place = order[np.minimum(at, len(order) - 1)]
    if np.array_equal(vertices[place], some):  # no two of them lie level
        return np.asarray(place)
    from scipy.spatial import cKDTree

    return np.asarray(cKDTree(vertices).query(some)[1], dtype=np.int64)
