"""The surface to look at: how far each point of it moved, and which feature it is of."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import pieces
from meshcomp._vectors import lengths
from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Plan
from meshcomp.results import Compensated, Surface
from meshcomp.thinning import sharp_edges, with_fewer_faces

__all__ = ["surface_of"]

MOST_FACES = 100_000  # shown; parts with more are thinned out for the picture
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
        return _whole(shown, moved, owners)
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


def _whole(mesh: Mesh, moved: NDArray[np.float64], owners: NDArray[np.int64]) -> Surface:
    return Surface(
        vertices=mesh.vertices,
        faces=mesh.faces,
        displacements=moved,
        owners=owners,
        edges=sharp_edges(mesh, owners),
        triangles=len(mesh.faces),
        strayed=0.0,
    )


def _fewer(
    mesh: Mesh, moved: NDArray[np.float64], owners: NDArray[np.int64], most: int
) -> Surface:
    """Thin a surface out, as far as that can be done."""
    made = with_fewer_faces(mesh, owners + 1, most)
    if made is None:
        return _whole(mesh, moved, owners)
    faces, groups, edges, strayed = made
    shown = Mesh(mesh.vertices, faces).vertices_of(np.arange(len(faces)))
    place = np.full(len(mesh.vertices), -1)
    place[shown] = np.arange(len(shown))
    edges = place[edges]
    return Surface(
        vertices=mesh.vertices[shown],
        faces=place[faces],
        displacements=_moves_at(mesh, moved, owners, faces, groups - 1),
        owners=groups - 1,
        edges=edges[(edges >= 0).all(axis=1)],
        triangles=len(mesh.faces),
        strayed=strayed,
    )


def _moves_at(
    mesh: Mesh,
    moved: NDArray[np.float64],
    owners: NDArray[np.int64],
    faces: NDArray[np.int64],
    of_face: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Mean displacement by vertex and feature, at the corners of a thinned mesh."""
    shown = np.zeros(len(mesh.vertices), dtype=bool)
    shown[faces] = True
    rows, corners = np.nonzero(shown[mesh.faces])
    width = int(owners.max(initial=-1)) + 2
    keys = mesh.faces[rows, corners] * width + owners[rows] + 1
    known, inverse, counts = np.unique(keys, return_inverse=True, return_counts=True)
    means = np.bincount(inverse, weights=moved[rows, corners]) / counts
    wanted = faces * width + (of_face + 1)[:, None]
    at = np.minimum(np.searchsorted(known, wanted), len(known) - 1)
    return np.where(known[at] == wanted, means[at], 0.0)
