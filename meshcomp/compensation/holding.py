"""Hold back what moves where the mesh would be unsound, a little more at each try.

Every vertex has the share of its motion that it may make, and every cylinder the share
of its change of radius. At each place that is unsound, what matters least is held first:
vertices of plain walls, then of straight walls, then whole cylinders, which first lose
their new facets and then part of their change; where all of them stand still already,
their neighbours follow.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import all_of, any_of, lengths
from meshcomp.compensation.targets import Targets
from meshcomp.meshes import Mesh

__all__ = ["Holding", "held_more", "held_still", "left_coarse", "nothing_held"]

_LAST_SHARE = 0.2  # smaller shares become none
_SLOPE = 0.1  # motions of neighbours differ by at most this share of their distance
_ROUNDS = 12
_PLAIN, _STRAIGHT, _ROUND, _STILL = range(4)


@dataclass(frozen=True, slots=True, eq=False)
class Holding:
    """Shares of the wanted motions, 0 to 1."""

    vertices: NDArray[np.float64]  # (n,) of the inspected mesh
    cylinders: NDArray[np.float64]  # (features,)
    coarse: NDArray[np.bool_]  # (features,) cylinders whose facets are kept as they are
    undivided: NDArray[np.bool_]  # (features,) cylinders that move by all or nothing


def nothing_held(vertices: int, undivided: NDArray[np.bool_]) -> Holding:
    """Let everything move as asked.

    Parameters
    ----------
    vertices : int
        Of the inspected mesh.
    undivided : (features,) bool
        Cylinders that something else is done about where they cannot move all the way.
    """
    coarse = np.zeros(len(undivided), dtype=bool)
    return Holding(np.ones(vertices), np.ones(len(undivided)), coarse, undivided)


def held_more(
    holding: Holding,
    mesh: Mesh,
    wanted: Targets,
    bad: NDArray[np.int64],
    most: float,
    rings: int = 0,
) -> Holding:
    """Hold back a little more at unsound places.

    Parameters
    ----------
    holding : Holding
        What is held so far.
    mesh : Mesh
        Refined, before anything moves; its first vertices are the inspected ones.
    wanted : Targets
        What the faces and vertices are asked.
    bad : (k, 3) int
        Vertices of unsound faces, an array of three or six to each place.
    most : float
        Largest motion asked, mm.
    rings : int, optional
        How many rings of neighbours on walls are held as well, so that what is unsound
        does not go round a rim from one vertex to the next, a try each.
    """
    tiers, owners = _tiers(holding, mesh, wanted)
    places = tiers[bad]
    least = places.min(axis=1)
    stuck = least == _STILL
    mine = (places == least[:, None]) & ~stuck[:, None]
    struck = np.unique(bad[mine & _foremost(np.where(mine, owners[bad], -1))])
    if stuck.any():
        around = _neighbourhood(mesh, bad[stuck].ravel())
        struck = np.union1d(struck, around[tiers[around] != _STILL])
    round_ones = np.unique(owners[struck[tiers[struck] == _ROUND]])
    cylinders, coarse = holding.cylinders.copy(), holding.coarse.copy()
    tried = round_ones[coarse[round_ones]]
    cylinders[tried] = np.where(holding.undivided[tried], 0.0, _lessened(cylinders[tried]))
    coarse[round_ones] = True
    walls = struck[tiers[struck] != _ROUND]
    for _ in range(rings):
        around = _neighbourhood(mesh, walls)
        walls = np.union1d(walls, around[tiers[around] < _ROUND])
    shares = holding.vertices.copy()
    shares[walls] = _lessened(shares[walls])
    stiff = tiers[: len(shares)] != _PLAIN
    stiff[walls] = False
    shares = _eased(shares, mesh, stiff, most)
    return replace(holding, vertices=shares, cylinders=cylinders, coarse=coarse)


def held_still(
    holding: Holding,
    mesh: Mesh,
    wanted: Targets,
    vertices: NDArray[np.int64],
    most: float,
    rings: int = 0,
) -> Holding:
    """Hold some vertices of the refined mesh, and the cylinders they are on, altogether.

    Parameters are those of `held_more`; the vertices `rings` edges around are held too.
    """
    for _ in range(rings):
        before, vertices = vertices, _neighbourhood(mesh, vertices)
        if len(vertices) == len(before):  # no further face hangs on them
            break
    held = np.zeros(len(mesh.vertices), dtype=bool)
    held[vertices] = True
    owners = wanted.owner[held[wanted.vertex]]
    cylinders, coarse = holding.cylinders.copy(), holding.coarse.copy()
    cylinders[owners], coarse[owners] = 0.0, True
    shares = np.where(held[: len(holding.vertices)], 0.0, holding.vertices)
    stiff = _tiers(holding, mesh, wanted)[0][: len(shares)] != _PLAIN
    stiff |= held[: len(shares)]
    shares = _eased(shares, mesh, stiff, most)
    return replace(holding, vertices=shares, cylinders=cylinders, coarse=coarse)


def left_coarse(holding: Holding, wanted: Targets, vertices: NDArray[np.int64]) -> Holding:
    """Let the cylinders that some vertices are on keep the facets they have."""
    coarse = holding.coarse.copy()
    coarse[wanted.owner[np.isin(wanted.vertex, vertices)]] = True
    return replace(holding, coarse=coarse)


def _foremost(owners: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Mark, in each row of owners, those that are there most often; all where none is.

    Of two cylinders that meet, a boss and a bore in it, say, one may do; of like ones,
    two bores that grow into each other, neither goes before.
    """
    counts = (owners[:, :, None] == owners[:, None, :]).sum(axis=2)
    counts[owners < 0] = 0
    return np.asarray(counts == counts.max(axis=1, keepdims=True))


def _lessened(shares: NDArray[np.float64]) -> NDArray[np.float64]:
    halves = shares / 2
    return np.where(halves < _LAST_SHARE, 0.0, halves)


def _tiers(
    holding: Holding, mesh: Mesh, wanted: Targets
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """How willingly each vertex is held, and the cylinder that it is on."""
    count = len(mesh.vertices)
    tiers = np.full(count, _PLAIN)
    tiers[mesh.faces[wanted.is_straight].ravel()] = _STRAIGHT
    still = np.zeros(count, dtype=bool)
    still[: len(holding.vertices)] = holding.vertices == 0
    tiers[still] = _STILL
    # The vertices of a cylinder that is held altogether are as those of any wall.
    on = ~np.isnan(wanted.radius)
    on[on] = holding.cylinders[wanted.owner[on]] > 0
    owners = np.full(count, -1)
    owners[wanted.vertex[on]] = wanted.owner[on]
    # New points beside cylinders go as their neighbours do: those are held for them.
    tiers[len(holding.vertices) :] = _STILL
    tiers[owners >= 0] = _ROUND
    return tiers, owners


def _neighbourhood(mesh: Mesh, vertices: NDArray[np.int64]) -> NDArray[np.int64]:
    """Vertices of the faces at some vertices."""
    marked = np.zeros(len(mesh.vertices), dtype=bool)
    marked[vertices] = True
    return np.unique(mesh.faces[any_of(marked[mesh.faces])])


def _near_held(shares: NDArray[np.float64], mesh: Mesh, far: float) -> NDArray[np.int64]:
    """Faces on vertices with a share, in the box about held ones, and so far around."""
    faces, held = mesh.faces, np.flatnonzero(shares < 1)
    points = np.take(mesh.vertices, held, axis=0)
    if len(held) == 0:
        return faces[:0]
    inside = np.arange(len(mesh.vertices)) < len(shares)
    for axis, own in zip(mesh.vertices.T, points.T, strict=True):
        inside &= (axis >= own.min() - far) & (axis <= own.max() + far)
    return faces[all_of(inside[faces])]


def _eased(
    shares: NDArray[np.float64], mesh: Mesh, stiff: NDArray[np.bool_], most: float
) -> NDArray[np.float64]:
    """Let shares rise slowly away from held vertices, so that no face is torn."""
    faces = _near_held(shares, mesh, most / _SLOPE)
    a = np.concatenate([faces[:, 0], faces[:, 1], faces[:, 2]])
    b = np.concatenate([faces[:, 1], faces[:, 2], faces[:, 0]])
    ways = np.take(mesh.vertices, a, axis=0) - np.take(mesh.vertices, b, axis=0)
    rise = lengths(ways) * _SLOPE / most
    short = rise < 1
    a, b, rise = a[short], b[short], rise[short]
    eased = shares.copy()
    for _ in range(_ROUNDS):
        before = eased.copy()
        np.minimum.at(eased, a, before[b] + rise)
        np.minimum.at(eased, b, before[a] + rise)
        eased[stiff] = shares[stiff]
        if (eased == before).all():
            break
    return eased
