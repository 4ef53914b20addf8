"""Surfaces that a file draws twice, the second time with other triangles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot
from meshcomp.meshes import Mesh
from meshcomp.repairing.cracks import crack_limit
from meshcomp.repairing.duplicates import amid_edges, are_parts, edge_numbers
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.repairing.turning import plain_surfaces
from meshcomp.topology import topology_of

__all__ = ["without_redrawn"]

# Share of the surface: bodies that touch share half of it, or what an inlay fills.
_MOSTLY = 0.9
_SHIFTED = 0.01  # of a surface's size: how far apart the middles of two drawings may be
_MIXED = np.uint64(0x9E3779B97F4A7C15)
_BITS = np.uint64(29)


@dataclass(frozen=True, slots=True, eq=False)
class _Patches:
    """Surfaces between edges of one face or of more than two, numbered from 0."""

    of_face: NDArray[np.int64]  # (m,)
    rims: NDArray[np.uint64]  # (p,) equal for equal rims, whichever way they run, or 0
    ways: NDArray[np.int64]  # (p,) which way each runs round its rim, 1 or -1
    areas: NDArray[np.float64]  # (p,) mm²
    under: NDArray[np.float64]  # (p,) mm³ between surface and a point of its rim
    middles: NDArray[np.float64]  # (p, 3) mm


def without_redrawn(work: Patchwork) -> tuple[Patchwork, int]:
    """Keep the first of surfaces that have one rim and enclose nothing between them.

    Surfaces that look to opposite sides are left where bodies touch; only where nearly
    everything is drawn twice is one kept whichever way it looks.

    Parameters
    ----------
    work : Patchwork
        Each surface turned to look to one side, mm.

    Returns
    -------
    work : Patchwork
    dropped : int
        How many faces went.

    Examples
    --------
    >>> from meshcomp.repairing.patchwork import untouched
    >>> square = [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 0, 1)]
    >>> sides = [(0, 4, 1), (1, 4, 2), (2, 4, 3), (3, 4, 0)]
    >>> faces = [*sides, (0, 1, 2), (0, 2, 3), (0, 1, 3), (1, 2, 3)]
    >>> without_redrawn(untouched(Mesh(square, faces)))[1]
    2
    """
    if not topology_of(work.mesh).crowded:
        return work, 0
    patches = _patches(work.mesh)
    same = _alike(patches, crack_limit(work.mesh) / 2)
    doubled = np.bincount(same)[same] > 1
    if not doubled.any():
        return work, 0
    is_mostly = patches.areas[doubled].sum() > _MOSTLY * patches.areas.sum()
    keys = same if is_mostly else 2 * same + (patches.ways > 0)
    kept = np.zeros(len(keys), dtype=bool)
    kept[np.unique(keys, return_index=True)[1]] = True  # patches are in the file's order
    rows = kept[patches.of_face]
    rows[_shared(work.mesh, patches.of_face, rows)] = True
    return (work, 0) if rows.all() else (work.only(rows), int((~rows).sum()))


def _shared(
    mesh: Mesh, label: NDArray[np.int64], kept: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Faces of second drawings in which two bodies touch, one of them inside out."""
    edges = edge_numbers(mesh.faces)
    total = np.bincount(edges[kept].ravel(), minlength=int(edges.max()) + 1)
    left = np.flatnonzero(~kept)
    wanted = (total % 2 == 1) & (total > 1)
    shared = amid_edges(label[left], edges[left].ravel(), wanted)
    return np.asarray(left[shared & are_parts(mesh, left, label[left])])


def _patches(mesh: Mesh) -> _Patches:
    label, pairs = plain_surfaces(mesh)
    count = int(label.max(initial=-1)) + 1
    on_rim = np.ones(mesh.faces.size, dtype=bool)
    on_rim[pairs] = False
    rims, ways, first = _rims(mesh, label, np.flatnonzero(on_rim), count)
    areas = mesh.area_vectors
    sizes = np.linalg.norm(areas, axis=1)
    away = mesh.corners.mean(axis=1) - mesh.vertices[first[label]]
    total = np.bincount(label, sizes, count).astype(float)
    moments = [np.bincount(label, sizes * column, count) for column in away.T]
    return _Patches(
        of_face=label,
        rims=rims,
        ways=ways,
        areas=total,
        under=np.bincount(label, dot(away, areas) / 3, count).astype(float),
        middles=np.column_stack(moments) / np.maximum(total, 1e-300)[:, None],
    )


def _rims(
    mesh: Mesh, label: NDArray[np.int64], half_edges: NDArray[np.int64], count: int
) -> tuple[NDArray[np.uint64], NDArray[np.int64], NDArray[np.int64]]:
    """Sum up each rim, tell which way it runs, and return a vertex of it, (p,) each."""
    starts, ends = mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel()
    starts, ends = starts[half_edges], ends[half_edges]
    owner = label[half_edges // 3]
    there = _summed(owner, _keys(starts, ends, mesh), count)
    back = _summed(owner, _keys(ends, starts, mesh), count)
    # Where a surface lies on both sides of an edge, as those of bodies that touch there,
    # that edge is no rim of it.
    edges = np.column_stack([owner, np.minimum(starts, ends), np.maximum(starts, ends)])
    edges = edges[np.lexsort(edges.T)]
    twice = (np.diff(edges, axis=0) == 0).all(axis=1)
    rims = there + back
    rims[edges[1:][twice, 0]] = 0
    first = np.full(count, len(mesh.vertices))
    np.minimum.at(first, owner, starts)
    first[first == len(mesh.vertices)] = 0
    return rims, np.where(there > back, 1, -1), first


def _keys(
    starts: NDArray[np.int64], ends: NDArray[np.int64], mesh: Mesh
) -> NDArray[np.uint64]:
    """Scatter directed edges over 64 bits, so that sums of them tell rims apart."""
    keys = (starts * len(mesh.vertices) + ends + 1).astype(np.uint64)
    for _ in range(3):
        keys = (keys ^ (keys >> _BITS)) * _MIXED
    return keys


def _summed(
    owner: NDArray[np.int64], keys: NDArray[np.uint64], count: int
) -> NDArray[np.uint64]:
    """Add up keys by owner, modulo 2^64; zero where there is none."""
    sums = np.zeros(count, dtype=np.uint64)
    np.add.at(sums, owner, keys)
    return sums


def _alike(patches: _Patches, thickness: float) -> NDArray[np.int64]:
    """Give patches of one rim that lie on each other the same number, (p,)."""
    under = patches.under * patches.ways
    order = np.lexsort([under, patches.rims])
    one, two = order[:-1], order[1:]
    least = np.minimum(patches.areas[one], patches.areas[two])
    shift = np.linalg.norm(patches.middles[two] - patches.middles[one], axis=1)
    goes_on = (
        (patches.rims[two] == patches.rims[one])
        & (patches.rims[two] != 0)
        & (under[two] - under[one] <= thickness * least)
        & (shift <= _SHIFTED * np.sqrt(least))
    )
    numbers = np.zeros(len(order), dtype=np.int64)
    numbers[order[1:]] = np.cumsum(~goes_on)
    return numbers
