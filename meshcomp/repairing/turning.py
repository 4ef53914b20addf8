"""Faces turned so that all of one surface look to the same side."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.meshes import Mesh
from meshcomp.repairing.cracks import rim_edges
from meshcomp.repairing.patchwork import Patchwork
from meshcomp.topology import components, neighbours_about_edges, topology_of

__all__ = ["plain_edges", "plain_surfaces", "turned_alike"]


def plain_edges(mesh: Mesh) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Find the edges of exactly two faces.

    Returns
    -------
    pairs : (e, 2) int
        The two half-edges of each.
    alike : (e,) bool
        Whether the two faces look to the same side: their half-edges run opposite ways.
    """
    starts, ends = mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel()
    keys = np.minimum(starts, ends) * len(mesh.vertices) + np.maximum(starts, ends)
    order = np.argsort(keys, kind="stable")
    first = np.flatnonzero(np.diff(keys[order], prepend=-1))
    two = first[np.diff(first, append=len(keys)) == 2]  # noqa: PLR2004
    pairs = np.column_stack([order[two], order[two + 1]])
    return pairs, starts[pairs[:, 0]] != starts[pairs[:, 1]]


def plain_surfaces(mesh: Mesh) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Label faces that hang together over edges of exactly two faces.

    Returns
    -------
    label : (m,) int
        From 0, of each face.
    pairs : (e, 2) int
        The two half-edges of each of those edges.
    """
    pairs, _ = plain_edges(mesh)
    return components(len(mesh.faces), pairs // 3), pairs


def turned_alike(work: Patchwork) -> tuple[Patchwork, int]:
    """Turn the fewest faces that make each surface look to one side.

    Every face is two nodes of a graph, as it is and turned over; faces that share an
    edge join the nodes that go together, so each surface falls into two components.
    A surface with one side only, such as a Möbius strip, makes one and is left as it is.
    Where bodies touch, whole surfaces are then turned: about an edge, faces end and begin
    material by turns. What does not leave fewer edges without a neighbour is undone.

    Returns
    -------
    work : Patchwork
    turned : int
        How many faces were turned over.

    Examples
    --------
    >>> from meshcomp.meshes import Mesh
    >>> from meshcomp.repairing.patchwork import untouched
    >>> bent = Mesh(np.eye(4)[:, :3], [(0, 1, 2), (0, 1, 3)])
    >>> turned_alike(untouched(bent))[1]
    1
    """
    topology = topology_of(work.mesh)
    if not topology.crowded and len(rim_edges(work.mesh)) == len(topology.open_half_edges):
        return work, 0  # what has no twin has no other face at all
    was = work.mesh.faces
    pairs, alike = plain_edges(work.mesh)
    if not alike.all():
        work = work.turned(_turned(pairs // 3, alike, np.ones(len(was), np.int64)))
    if topology.crowded:
        work = _turned_at_contacts(work)
    return work, int((work.mesh.faces[:, 0] != was[:, 0]).sum())


def _turned_at_contacts(work: Patchwork) -> Patchwork:
    """Turn whole surfaces that do not fit the others at edges of four faces or more."""
    before = _misfits(work.mesh)
    if before == 0:
        return work
    pairs = neighbours_about_edges(work.mesh)
    label, _ = plain_surfaces(work.mesh)
    turned = _turned(label[pairs // 3], _run_opposite(work.mesh, pairs), np.bincount(label))
    done = work.turned(turned[label])
    return done if _misfits(done.mesh) < before else work


def _misfits(mesh: Mesh) -> int:
    """Count half-edges without a neighbour, and faces on each other that look alike."""
    pairs = neighbours_about_edges(mesh)
    apex = mesh.faces.ravel()[pairs - pairs % 3 + (pairs + 2) % 3]
    doubled = (apex[:, 0] == apex[:, 1]) & ~_run_opposite(mesh, pairs)
    rims = len(rim_edges(mesh))
    return len(topology_of(mesh).open_half_edges) - rims + int(doubled.sum())


def _run_opposite(mesh: Mesh, pairs: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether half-edges of one edge run opposite ways."""
    forward = (mesh.faces < np.roll(mesh.faces, -1, axis=1)).ravel()
    return np.asarray(forward[pairs[:, 0]] != forward[pairs[:, 1]])


def _turned(
    pairs: NDArray[np.int64], alike: NDArray[np.bool_], sizes: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Mark what to turn, so that pairs look alike; of both ways, the smaller in sum.

    `sizes` are those of the things, (k,), and `pairs`, (e, 2), number them.
    """
    count = len(sizes)
    a, b = pairs.T
    crossed = np.where(alike, 0, count)
    links = np.concatenate(
        [
            np.column_stack([a, b + crossed]),
            np.column_stack([a + count, b + count - crossed]),
        ]
    )
    label = components(2 * count, links)
    as_is, over = label[:count], label[count:]
    total = np.bincount(as_is, sizes, int(label.max()) + 1)
    # Of the two ways round, the one that more faces have already; ties by the label.
    more = total[over] > total[as_is]
    return np.asarray(more | ((total[over] == total[as_is]) & (over < as_is)))
