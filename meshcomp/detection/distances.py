"""Distances between walls that belong to other features: they follow from those."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.detection.pairing import Pair, pair_of, wall_of
from meshcomp.detection.planes import Couples, Planes, nearest_of
from meshcomp.features import Feature, Wall
from meshcomp.meshes import Mesh
from meshcomp.topology import bodies_of

__all__ = ["distances"]

_LEAST_SIDE = 1.0  # mm, of the stretch that both planes have
_EVEN = 1e-3  # mm, that a plane may lean by: of more it is at no one place
_SAME = 3  # decimals of mm, of places that count as one
_CURVES = {"lobes", "teeth", "ridges", "thread", "text"}


def distances(
    mesh: Mesh,
    planes: Planes,
    couples: Couples,
    gaps: Couples,
    features: Sequence[Feature],
) -> list[Wall]:
    """List the distances between outside planes that no wall and no slot has.

    A distance is listed where each of the two planes is the nearest, or the farthest,
    that the other faces away from, and across each open slot. A plane in none of these,
    nor in a wall, is listed with the one that it has most in common with. Of equal
    distances between the same places one is listed.

    Parameters
    ----------
    mesh : Mesh
    planes, couples, gaps
        The straight walls, which of them are opposite, and across open slots.
    features : sequence of Feature
        All others, with ids.
    """
    owners = _owners(mesh, planes, features)
    outside = (couples.distance > 0) & ~planes.is_internal[couples.first]
    outside &= np.minimum(couples.width, couples.height) >= _LEAST_SIDE
    facing_away = _measurable(mesh, planes, couples.where(outside), owners)
    across = _measurable(mesh, planes, gaps, owners).best_first()
    sized = [i for i, f in enumerate(features) if f.nominal_size is not None]
    taken = np.isin(owners, sized)
    chosen = [*_extreme(facing_away, len(owners)), *across]
    taken[[row for couple in chosen for row in couple]] = True
    chosen += _left_over(facing_away, taken)
    known = {_places(f) for f in features if isinstance(f, Wall)}
    listed: dict[tuple[float, ...], Wall] = {}
    for couple in chosen:
        pair = pair_of(mesh, planes, couple, is_open=couple in across)
        names = (features[owners[couple[0]]].id, features[owners[couple[1]]].id)
        is_first_low = (
            float(planes.boxes[couple[0]].mean(axis=0) @ pair.normal)
            < (pair.start + pair.end) / 2
        )
        distance = _distance(pair, names if is_first_low else names[::-1])
        is_new = (at := _places(distance)) not in known
        if is_new and _is_even(mesh, planes, couple, pair.normal):
            listed.setdefault(at, distance)
    return list(listed.values())


def _owners(mesh: Mesh, planes: Planes, features: Sequence[Feature]) -> NDArray[np.int64]:
    """Index of the feature that has all of a plane, (k,); -1 if none is, or no flat one."""
    owner = np.full(len(mesh.faces), -1)
    for index, feature in enumerate(features):
        if isinstance(feature, Wall) and not _is_curve(feature):
            owner[feature.faces] = index
    return np.array(
        [owner[f[0]] if (owner[f] == owner[f[0]]).all() else -1 for f in planes.faces],
        dtype=np.int64,
    )


def _is_curve(wall: Wall) -> bool:
    """Whether a wall's flats are parts of a curve: of teeth, a thread, letters."""
    return wall.shape is not None and wall.shape.name.rpartition(" ")[2] in _CURVES


def _measurable(
    mesh: Mesh, planes: Planes, couples: Couples, owners: NDArray[np.int64]
) -> Couples:
    """Keep couples of planes of one body that both belong to something."""
    bodies = bodies_of(mesh)
    body = np.array([bodies[faces[0]] for faces in planes.faces], dtype=np.int64)
    first, second = couples.first, couples.second
    owned = (owners[first] >= 0) & (owners[second] >= 0)
    return couples.where(owned & (body[first] == body[second]))


def _is_even(
    mesh: Mesh, planes: Planes, couple: tuple[int, int], normal: NDArray[np.float64]
) -> bool:
    """Whether each of two planes is at one place from end to end."""
    places = (mesh.vertices[mesh.faces[planes.faces[row]]] @ normal for row in couple)
    return all(float(np.ptp(at)) <= _EVEN for at in places)


def _extreme(couples: Couples, count: int) -> list[tuple[int, int]]:
    """Couples in which each plane is the nearest, or the farthest, of the other."""
    nearest = nearest_of(couples, count)
    farthest = nearest_of(couples, count, farthest=True)
    return couples.where(nearest | farthest).best_first()


def _left_over(couples: Couples, taken: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """For each plane that nothing measures yet, the one it has most in common with."""
    lonely = couples.where(~taken[couples.first] | ~taken[couples.second])
    settled = taken.copy()
    found = []
    for couple in lonely.best_first():
        if not settled[list(couple)].all():
            settled[list(couple)] = True
            found.append(couple)
    return found


def _distance(pair: Pair, between: tuple[str, str]) -> Wall:
    own = wall_of(pair, "distance")
    nothing = np.zeros(0, dtype=np.int64)
    return replace(own, faces=nothing, between=between, planes=pair.faces)


def _places(wall: Wall) -> tuple[float, ...]:
    """Where a wall's planes are, whatever stretch of them it has."""
    ends = (*wall.direction.tolist(), wall.start, wall.end)
    return tuple(round(x, _SAME) + 0.0 for x in ends)
