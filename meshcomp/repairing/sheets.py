"""Faces that enclose nothing: stray ones, fins, walls without thickness."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh
from meshcomp.repairing.cracks import crack_limit
from meshcomp.repairing.flatness import are_flat
from meshcomp.repairing.patchwork import Patchwork, untouched
from meshcomp.repairing.shells import shells_of
from meshcomp.repairing.turning import plain_surfaces
from meshcomp.topology import components, topology_of

__all__ = ["without_sheets"]

# Shares of the surface: what is larger is no accident, but half of something.
_LARGEST_SHEET = 0.05
_LARGEST_PARTITION = 0.25
_LARGEST_CRUMB = 1e-4  # apart from all else, so that it may lie anywhere
_TRIES = 20


def without_sheets(work: Patchwork) -> tuple[Patchwork, int]:
    """Drop sheets, where the rest is closed and as large as the whole was.

    Returns
    -------
    work : Patchwork
    dropped : int
        How many faces went.
    """
    before = len(work.mesh.faces)
    if not topology_of(work.mesh).is_closed:
        every = untouched(work.mesh)
        found = _without_rims(every)
        if found is None or not _is_whole(found, work, _LARGEST_SHEET):
            found = _without_partitions(every)
        if found is not None and _is_whole(found, work, _LARGEST_PARTITION):
            work = work.only(found.parents)
    if topology_of(work.mesh).is_closed:
        work = _without_flaps(_without_flakes(work))
    return work, before - len(work.mesh.faces)


def _is_whole(found: Patchwork, work: Patchwork, share: float) -> bool:
    """Whether what is left is closed, and has the box and most of the surface of all.

    What is gone must have been flat: a body with a hole in it is no sheet. The parents of
    `found` are faces of `work`.
    """
    if not topology_of(found.mesh).is_closed:
        return False
    gone = np.ones(len(work.mesh.faces), dtype=bool)
    gone[found.parents] = False
    dropped = Mesh(work.mesh.vertices, work.mesh.faces[gone])
    largest = share * float(_areas(work.mesh).sum())
    if _areas(dropped).sum() > largest or _sticks_out(dropped, found.mesh, work.mesh):
        return False
    return are_flat(dropped, crack_limit(work.mesh))


def _sticks_out(dropped: Mesh, left: Mesh, whole: Mesh) -> bool:
    """Whether faces lie outside the box of what is left, but for crumbs of no size."""
    a, b, c = dropped.faces.T
    links = np.concatenate([np.column_stack([a, b]), np.column_stack([b, c])])
    label = components(len(dropped.vertices), links)
    hangs = np.isin(label[a], label[left.faces])
    areas = _areas(dropped)
    crumbs = ~hangs & (
        np.bincount(label[a], areas)[label[a]] <= (_LARGEST_CRUMB * _areas(whole).sum())
    )
    points = dropped.corners[~crumbs].reshape(-1, 3)
    low, high = left.bounds + np.array([[-1.0], [1.0]]) * 1e-3 * whole.diagonal
    return bool(((points < low) | (points > high)).any())


def _areas(mesh: Mesh) -> NDArray[np.float64]:
    return np.asarray(np.linalg.norm(mesh.area_vectors, axis=1))


def _without_rims(work: Patchwork) -> Patchwork | None:
    """Drop surfaces that have a rim: stray faces and fins."""
    topology = topology_of(work.mesh)
    label = components(len(work.mesh.faces), topology.pairs // 3)
    rimmed = np.unique(label[topology.open_half_edges // 3])
    keep = ~np.isin(label, rimmed)
    return work.only(keep) if keep.any() else None


def _without_partitions(work: Patchwork) -> Patchwork | None:
    """Drop the smallest patches at edges of an odd number of faces, one by one."""
    for _ in range(_TRIES):
        patch, _ = plain_surfaces(work.mesh)
        odd = _at_odd_edges(work)
        if len(odd) == 0:
            return work
        areas = np.bincount(patch, _areas(work.mesh))
        at_odd = np.unique(patch[odd // 3])
        smallest = at_odd[np.argmin(areas[at_odd])]
        if len(at_odd) == len(areas) == 1:
            return None
        work = work.only(patch != smallest)
    return None


def _at_odd_edges(work: Patchwork) -> NDArray[np.int64]:
    """Half-edges of edges with one face, or three, or five ..."""
    return np.flatnonzero(_faces_at_edges(work) % 2)


def _without_flakes(work: Patchwork) -> Patchwork:
    """Drop closed surfaces that enclose nothing, if most of the surface is left then."""
    shells = shells_of(work.mesh)
    flakes = shells.are_sheets
    if shells.areas[flakes].sum() > _LARGEST_PARTITION * shells.areas.sum():
        return work
    return work.only(~flakes[shells.of_face])


def _without_flaps(work: Patchwork) -> Patchwork:
    """Drop two faces back to back that have an edge of their own: they stick out flat.

    Bodies that touch have such faces too, but other faces at each of their edges. Where
    they are more than accidents, all stay.
    """
    whole, areas = work, _areas(work.mesh).sum()
    for _ in range(_TRIES):
        topology = topology_of(work.mesh)
        if not topology.crowded:
            return work
        faces = work.mesh.faces
        twins = topology.twins.reshape(-1, 3)
        same = np.sort(faces, axis=1)[:, None] == np.sort(faces[twins // 3], axis=2)
        # An edge that only these two share: their twins agree, and it is not crowded.
        own = same.all(axis=2) & (_faces_at_edges(work) <= 2).reshape(-1, 3)  # noqa: PLR2004
        flat = own.any(axis=1)
        if not flat.any() or flat.all():
            return work
        work = work.only(~flat)
        left = _areas(work.mesh).sum()
        if left < (1 - _LARGEST_PARTITION) * areas:
            return whole
    return work


def _faces_at_edges(work: Patchwork) -> NDArray[np.int64]:
    """How many faces share the edge of each half-edge, (3m,)."""
    faces, count = work.mesh.faces, len(work.mesh.vertices)
    starts, ends = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    keys = np.minimum(starts, ends) * count + np.maximum(starts, ends)
    _, index, counts = np.unique(keys, return_inverse=True, return_counts=True)
    return np.asarray(counts[index.ravel()])
