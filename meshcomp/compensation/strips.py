"""Faces cut into strips by planes through an axis, and those beyond the rims fanned."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.cuts import Cuts, on_edge
from meshcomp.compensation.quads import edge_keys
from meshcomp.meshes import Mesh

__all__ = ["fans", "strips"]


def strips(
    mesh: Mesh, faces: NDArray[np.int64], levels: NDArray[np.int64], cuts: Cuts
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Cut faces into strips between neighbouring planes.

    Returns the triangles, the face of each, and the lower of its two planes.
    """
    order = np.argsort(levels, axis=1, kind="stable")
    level = np.take_along_axis(levels, order, axis=1)
    corner = np.take_along_axis(mesh.faces[faces], order, axis=1)
    # A sorting that leaves exactly one corner in place turned the face over.
    flipped = (order == [0, 1, 2]).sum(axis=1) == 1

    counts = level[:, 2] - level[:, 0]
    flat = counts == 0
    face = np.repeat(np.arange(len(faces)), counts)
    steps = np.arange(len(face)) - np.repeat(np.cumsum(counts) - counts, counts)
    lower = level[face, 0] + steps
    long_way = [
        _on_long(cuts, corner, level, face, lower + k, len(mesh.vertices)) for k in (0, 1)
    ]
    short_way = [
        _on_short(cuts, corner, level, face, lower + k, len(mesh.vertices), upper=k == 0)
        for k in (0, 1)
    ]
    first = np.column_stack([long_way[0], long_way[1], short_way[1]])
    second = np.column_stack([long_way[0], short_way[1], short_way[0]])
    # Sorted low, middle, high keeps the orientation unless the sorting was odd; the long
    # edge runs against it.
    triangles = np.concatenate([first, second])
    owner = np.concatenate([face, face])
    triangles = np.where(flipped[owner][:, None], triangles, triangles[:, ::-1])
    real = (
        (triangles[:, 0] != triangles[:, 1])
        & (triangles[:, 1] != triangles[:, 2])
        & (triangles[:, 2] != triangles[:, 0])
    )
    kept = mesh.faces[faces[flat]]
    return (
        np.concatenate([triangles[real], kept]),
        np.concatenate([faces[owner[real]], faces[flat]]),
        np.concatenate([np.concatenate([lower, lower])[real], level[flat, 0]]),
    )


def _on_long(
    cuts: Cuts,
    corner: NDArray[np.int64],
    level: NDArray[np.int64],
    face: NDArray[np.int64],
    at: NDArray[np.int64],
    count: int,
) -> NDArray[np.int64]:
    a, b = corner[face, 0], corner[face, 2]
    return on_edge(cuts, a, b, at, (level[face, 0], level[face, 2], count))


def _on_short(  # noqa: PLR0913 - one strip's worth of arrays
    cuts: Cuts,
    corner: NDArray[np.int64],
    level: NDArray[np.int64],
    face: NDArray[np.int64],
    at: NDArray[np.int64],
    count: int,
    *,
    upper: bool,
) -> NDArray[np.int64]:
    """Pass the middle corner: below it on the first edge, above it on the second.

    `upper` tells the strip's lower side, which at the middle corner's plane belongs to
    the second edge; both edges meet in the corner there.
    """
    middle = level[face, 1]
    second = (at > middle) | ((at == middle) & upper)
    a = np.where(second, corner[face, 1], corner[face, 0])
    b = np.where(second, corner[face, 2], corner[face, 1])
    level_a = np.where(second, middle, level[face, 0])
    level_b = np.where(second, level[face, 2], middle)
    found = on_edge(cuts, a, b, at, (level_a, level_b, count))
    return np.where(at == middle, corner[face, 1], found)


def fans(
    mesh: Mesh, faces: NDArray[np.int64], cuts: Cuts
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Split faces beyond the rims, one edge at a time, from the corner opposite."""
    corners, parents = mesh.faces[faces], faces
    for _ in range(3):
        keys = edge_keys(corners, np.roll(corners, -1, axis=1), len(mesh.vertices))
        fresh = (corners >= len(mesh.vertices)) | (
            np.roll(corners, -1, axis=1) >= len(mesh.vertices)
        )
        index = np.minimum(np.searchsorted(cuts.keys, keys), len(cuts.keys) - 1)
        cut = (cuts.keys[index] == keys) & (cuts.counts[index] > 0) & ~fresh
        hit = cut.any(axis=1)
        if not hit.any():
            break
        side = np.argmax(cut[hit], axis=1)
        edge = index[hit][np.arange(len(side)), side]
        fan, owner = _fan(corners[hit], side, edge, cuts)
        corners = np.concatenate([corners[~hit], fan])
        parents = np.concatenate([parents[~hit], parents[hit][owner]])
    return corners, parents


def _fan(
    corners: NDArray[np.int64],
    side: NDArray[np.int64],
    edge: NDArray[np.int64],
    cuts: Cuts,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    rows = np.arange(len(side))
    start, end = corners[rows, side], corners[rows, (side + 1) % 3]
    apex = corners[rows, (side + 2) % 3]
    counts = cuts.counts[edge]
    owner = np.repeat(rows, counts + 1)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(counts + 1) - counts - 1, counts + 1)
    forward = (start == cuts.low_vertex[edge])[owner]
    first, count = cuts.firsts[edge][owner], counts[owner]

    def chain(k: NDArray[np.int64]) -> NDArray[np.int64]:
        inner = first + np.where(forward, k - 1, count - k)
        return np.where(k == 0, start[owner], np.where(k == count + 1, end[owner], inner))

    return np.column_stack([chain(step), chain(step + 1), apex[owner]]), owner
