"""Where a part that crossed itself before does so with more faces than it did.

Planes that crossed before may go on crossing; but what they are made of is triangulated
anew as others are, and that may take more faces. Whoever counts them would say that
crossings were added. So where they have become more, the faces that cross are taken out of
their planes and stay the triangles they are; then bores keep their facets there, and at
last what is about such faces stays where it is.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.holding import Holding, held_still, left_coarse
from meshcomp.compensation.refining import Refined
from meshcomp.compensation.targets import Targets
from meshcomp.crossings import crossing_pairs
from meshcomp.meshes import Mesh
from meshcomp.segmentation import Regions
from meshcomp.topology import components

__all__ = ["held_at_tangles", "with_crossing_alone", "worse_tangled"]

_GENTLY = 2  # rounds in which cylinders lose their facets only
_LOCALLY = 5  # rounds in which nothing but the faces that cross is held


def with_crossing_alone(mesh: Mesh, regions: Regions) -> Regions:
    """Make each face that crosses another a planar region of its own."""
    crossing = np.unique(crossing_pairs(mesh))
    old = regions.of_face[crossing]
    labels = regions.of_face.copy()
    labels[crossing] = len(regions.areas) + np.arange(len(crossing))
    every = np.concatenate([np.arange(len(regions.areas)), old])
    return Regions(
        labels, regions.normals[every], regions.areas[every], regions.face_normals
    )


def worse_tangled(
    before: Mesh, regions: Regions, after: Refined, pairs: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Find the faces that cross where more of them do than before.

    Regions that cross each other, at one place or along a chain of such, are a tangle;
    only where a tangle as a whole has more crossing faces than before is it worse.

    Parameters
    ----------
    before : Mesh
        The inspected mesh.
    regions : Regions
        Its planar regions.
    after : Refined
        The moved mesh, and the old face of each face.
    pairs : (k, 2) int
        Faces of `after` that cross, where their regions did before.

    Returns
    -------
    worse : (r, 2) int
        Faces of `after` that cross, at least one of them of a region of which more faces
        cross than did.
    """
    if len(pairs) == 0:
        return pairs
    of_after = regions.of_face[after.parents]
    count = len(regions.areas)
    asked = np.zeros(count, dtype=bool)
    asked[of_after[pairs]] = True
    old = crossing_pairs(before, asked[regions.of_face])
    new = crossing_pairs(after.mesh, asked[of_after])
    was, now = (
        np.bincount(labels[np.unique(found)], minlength=count)
        for labels, found in ((regions.of_face, old), (of_after, new))
    )
    links = np.concatenate([regions.of_face[old], of_after[new]])
    tangle = components(count, links)
    grown = (np.bincount(tangle, now - was)[tangle] > 0) & (now > was)
    return np.asarray(new[grown[of_after[new]].any(axis=1)])


def held_at_tangles(
    holding: Holding,
    surface: tuple[Refined, Regions, Mesh],
    wanted: Targets,
    pairs: NDArray[np.int64],
    most: float,
    tries: int,
) -> tuple[Holding, NDArray[np.int64]]:
    """Hold what makes more faces cross than before, more strictly from try to try.

    Parameters
    ----------
    holding, wanted, most
        As for `meshcomp.compensation.holding.held_more`.
    surface : (Refined, Regions, Mesh)
        Before anything moves; planar regions of the inspected mesh; the moved mesh, its
        vertices with the same numbers.
    pairs : (k, 2) int
        Faces of the moved mesh, of `worse_tangled`, with the inspected faces they are of.
    tries : int
        How often this was tried.

    Returns
    -------
    holding : Holding
    corners : (k, 6) int
        Vertices of what is held.
    """
    refined, regions, moved = surface
    corners = moved.faces[pairs].reshape(-1, 6)
    vertices = corners.ravel()
    if tries <= _GENTLY:
        gentle = left_coarse(holding, wanted, vertices)
        if (gentle.coarse & ~holding.coarse).any():
            return gentle, corners
    if tries > _LOCALLY:
        at = np.isin(refined.mesh.faces, vertices).any(axis=1)
        whole = np.unique(regions.of_face[refined.parents[at]])
        rows = np.isin(regions.of_face[refined.parents], whole)
        vertices = refined.mesh.vertices_of(np.flatnonzero(rows))
    return held_still(holding, refined.mesh, wanted, vertices, most), corners
