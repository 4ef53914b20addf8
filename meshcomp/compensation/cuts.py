"""Points where the edges of a cylinder pass planes through its axis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import rows_of
from meshcomp._vectors import basis_across
from meshcomp.compensation.quads import Quads, edge_keys
from meshcomp.features import Cylinder
from meshcomp.meshes import Mesh

__all__ = ["Cuts", "cut_edges", "on_edge"]


@dataclass(frozen=True, slots=True, eq=False)
class Cuts:
    """New points on edges: those of edge i follow from `firsts[i]`, by rising level."""

    keys: NDArray[np.int64]  # (e,) sorted edge keys
    firsts: NDArray[np.int64]  # (e,) index of the first new vertex
    low_vertex: NDArray[np.int64]  # (e,) where the level is low
    counts: NDArray[np.int64]  # (e,)


def cut_edges(
    mesh: Mesh,
    faces: NDArray[np.int64],
    levels: NDArray[np.int64],
    angles: list[tuple[Cylinder, NDArray[np.float64]]],
    quads: Quads,
) -> tuple[Cuts, NDArray[np.float64]]:
    """Put points on the edges where they pass the planes between their ends.

    Diagonals of quads are left out: they go.
    """
    starts, ends = mesh.faces[faces].ravel(), np.roll(mesh.faces[faces], -1, axis=1).ravel()
    a, b = levels.ravel(), np.roll(levels, -1, axis=1).ravel()
    keys = edge_keys(starts, ends, len(mesh.vertices))
    keys, first = np.unique(keys, return_index=True)
    rising = a[first] <= b[first]
    low = np.where(rising, a[first], b[first])
    high = np.where(rising, b[first], a[first])
    low_vertex = np.where(rising, starts[first], ends[first])
    high_vertex = np.where(rising, ends[first], starts[first])
    counts = np.maximum(high - low - 1, 0)
    counts[np.isin(keys, quads.diagonals(len(mesh.vertices)))] = 0
    firsts = len(mesh.vertices) + np.concatenate([[0], np.cumsum(counts)[:-1]])
    cuts = Cuts(keys, firsts, low_vertex, counts)

    edge = np.repeat(np.arange(len(keys)), counts)
    level = low[edge] + 1 + np.arange(len(edge)) + len(mesh.vertices) - firsts[edge]
    points = _points_at(
        mesh.vertices[low_vertex[edge]], mesh.vertices[high_vertex[edge]], level, angles
    )
    return cuts, points


def _points_at(
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    level: NDArray[np.int64],
    angles: list[tuple[Cylinder, NDArray[np.float64]]],
) -> NDArray[np.float64]:
    """Where edges pass their planes, (k, 3) mm."""
    points = np.zeros_like(low)
    mine_of = rows_of(level >> 32, len(angles))
    for number, (cylinder, planes) in enumerate(angles):
        mine = mine_of[number]
        angle = planes[(level[mine] - (number << 32)) % len(planes)]
        frame = basis_across(cylinder.direction)
        a, b = (
            (low[mine] - cylinder.point) @ frame.T,
            (high[mine] - cylinder.point) @ frame.T,
        )
        normal = np.column_stack([-np.sin(angle), np.cos(angle)])
        from_a, from_b = (a * normal).sum(axis=1), (b * normal).sum(axis=1)
        share = np.clip(from_a / (from_a - from_b), 0.0, 1.0)[:, None]
        points[mine] = low[mine] + share * (high[mine] - low[mine])
    return points


def on_edge(
    cuts: Cuts,
    a: NDArray[np.int64],
    b: NDArray[np.int64],
    level: NDArray[np.int64],
    ends: tuple[NDArray[np.int64], NDArray[np.int64], int],
) -> NDArray[np.int64]:
    """Vertex where the edge from a to b passes a level between (or at) its ends."""
    level_a, level_b, count = ends
    index = np.searchsorted(cuts.keys, edge_keys(a, b, count))
    index = np.minimum(index, len(cuts.keys) - 1)
    # Counted from this face's own level, which may be a whole turn from its neighbour's.
    inner = cuts.firsts[index] + level - np.minimum(level_a, level_b) - 1
    return np.where(level == level_a, a, np.where(level == level_b, b, inner))
