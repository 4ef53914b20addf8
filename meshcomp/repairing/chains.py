"""Straight edges between planar faces that a file divides by points amid them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot, unit
from meshcomp.loops import Rim
from meshcomp.meshes import Mesh
from meshcomp.segmentation import flatness_limit
from meshcomp.topology import Topology, components

__all__ = ["amid_straight_edges"]

_ROUNDS = 8
_TWO = 2


def amid_straight_edges(
    mesh: Mesh, topology: Topology, rim: Rim, held: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Mark points amid straight edges between two planar faces.

    Parameters
    ----------
    mesh : Mesh
    topology : Topology
    rim : Rim
        Of its planar regions.
    held : (k,) bool
        Regions whose points are all to stay.

    Returns
    -------
    amid : (n,) bool
        Vertices.
    """
    starts = topology.starts[rim.half_edges]
    amid = np.bincount(starts, minlength=len(mesh.vertices)) == _TWO
    amid[starts[held[rim.groups]]] = False
    one = rim.half_edges[rim.half_edges < topology.twins[rim.half_edges]]
    ends = np.column_stack([topology.starts[one], topology.starts[topology.twins[one]]])
    for left in range(_ROUNDS, 0, -1):
        points = _off_chords(mesh, ends, amid, every=left == 1)
        if len(points) == 0:
            break
        amid[points] = False
    return np.asarray(amid)


def _off_chords(
    mesh: Mesh, ends: NDArray[np.int64], amid: NDArray[np.bool_], *, every: bool
) -> NDArray[np.int64]:
    """Points to keep: of each bent chain the one farthest off its chord, or every one.

    A chain is a run of edges, (e, 2) vertices, between two points that are not marked;
    of what runs in a ring, every point is kept.
    """
    chains = _chains(ends, amid)
    low, high, is_run = _chain_ends(ends, amid, chains)
    rows, columns = np.nonzero(amid[ends])
    vertex, chain = ends[rows, columns], chains[rows]
    away = _off_line(mesh, vertex, low[chain], high[chain])
    worst = np.zeros(len(low))
    np.maximum.at(worst, chain, away)
    bent = is_run & (worst > flatness_limit(mesh))
    kept = (bent[chain] & (every | (away == worst[chain]))) | ~is_run[chain]
    return np.asarray(vertex[kept])


def _chains(ends: NDArray[np.int64], amid: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Label the runs of edges that marked points join, (e,)."""
    edge = np.repeat(np.arange(len(ends)), 2)
    vertex = ends.ravel()
    rows = np.flatnonzero(amid[vertex])
    rows = rows[np.argsort(vertex[rows], kind="stable")]  # two edges to each point
    return components(len(ends), edge[rows].reshape(-1, 2))


def _chain_ends(
    ends: NDArray[np.int64], amid: NDArray[np.bool_], chains: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
    """Both ends of each chain, and whether it has two different ones, (c,) each."""
    rows, columns = np.nonzero(~amid[ends])
    vertex, chain = ends[rows, columns], chains[rows]
    count = int(chains.max(initial=-1)) + 1
    low, high = np.full(count, np.iinfo(np.int64).max), np.full(count, -1)
    np.minimum.at(low, chain, vertex)
    np.maximum.at(high, chain, vertex)
    is_run = (np.bincount(chain, minlength=count) == _TWO) & (low < high)
    return np.where(is_run, low, 0), np.where(is_run, high, 0), is_run


def _off_line(
    mesh: Mesh, points: NDArray[np.int64], low: NDArray[np.int64], high: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Distances of vertices from the stretch between two others, (k,) mm."""
    start = mesh.vertices[low]
    chord, way = mesh.vertices[high] - start, mesh.vertices[points] - start
    forward = unit(chord)
    place = np.clip(dot(way, forward), 0, dot(chord, forward))
    return np.asarray(np.linalg.norm(way - place[:, None] * forward, axis=1))
