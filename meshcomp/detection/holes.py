"""Cylinders that belong together: the steps of one hole or shaft, and coaxial chains."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from meshcomp._vectors import dot
from meshcomp.features import Cylinder, Feature, Group, Wall
from meshcomp.topology import components

__all__ = ["groups", "with_steps"]

_PARALLEL = 1 - 1e-6  # cosine
_SAME_AXIS = 0.02  # mm
_TOUCHING = 0.05  # mm between the end of one step and the start of the next
_TWO = 2  # a bore and its counterbore or groove
_SHALLOW = 1.0  # diameters: a counterbore is no deeper


def with_steps(cylinders: Sequence[Cylinder]) -> list[Cylinder]:
    """Say of each bore that goes on narrower that it ends in a step.

    A bore of several steps is through only if every step of it is.
    """
    settled = list(cylinders)
    for members in _touching(cylinders):
        mine = [cylinders[i] for i in members]
        is_through = mine[0].is_internal and all(c.is_through for c in mine)
        for i, cylinder in zip(members, mine, strict=True):
            if not cylinder.is_internal:
                continue
            others = [c for c in mine if c.nominal_size < cylinder.nominal_size]
            goes_on = any(_touch(cylinder, other) for other in others)
            ending = "step" if goes_on else cylinder.ending
            settled[i] = replace(cylinder, is_through=is_through, ending=ending)
    return settled


def groups(features: Iterable[Feature]) -> tuple[Group, ...]:
    """Find holes with more than one step, shafts, chains of bores, and pockets.

    Parameters
    ----------
    features : iterable of Feature
        With ids; the order of the groups follows theirs.

    Returns
    -------
    groups : tuple of Group
        Holes, shafts, chains, pockets. A bore is in one hole at most, and in one chain
        at most.
    """
    found_features = tuple(features)
    cylinders = [f for f in found_features if isinstance(f, Cylinder)]
    walls = [f for f in found_features if isinstance(f, Wall)]
    steps = [[cylinders[i] for i in members] for members in _touching(cylinders)]
    found = [_stepped(members) for members in steps if _is_told(members)]
    holes = [("hole", *f) for f in found if f[1][0].is_internal]
    shafts = [("shaft", *f) for f in found if not f[1][0].is_internal]
    chains = [("chain", "coaxial", c) for c in _chains(cylinders, steps)]
    return (
        *_numbered(holes),
        *_numbered(shafts),
        *_numbered(chains),
        *_pockets(walls),
    )


def _pockets(walls: list[Wall]) -> list[Group]:
    """Pockets whose outline runs along several walls, such as a hexagon's three slots."""
    of_shape: dict[int, list[Wall]] = {}
    for wall in walls:
        if wall.shape is not None and wall.shape.measures and wall.is_internal:
            of_shape.setdefault(id(wall.shape), []).append(wall)
    found = [sorted(w.id for w in mine) for mine in of_shape.values() if len(mine) > 1]
    names = {w.id: w.shape.name for w in walls if w.shape is not None}
    through = {w.id: w.is_through for w in walls}
    digits = max(2, len(str(len(found))))
    return [
        Group(
            id=f"pocket-{number:0{digits}d}",
            kind=names[members[0]],
            members=tuple(members),
            is_through=all(through[name] for name in members),
        )
        for number, members in enumerate(sorted(found), 1)
    ]


def _is_told(members: list[Cylinder]) -> bool:
    """Whether a set is worth a name: a lone cylinder only if it is countersunk."""
    return len(members) > 1 or _is_countersunk(members[0])


def _is_countersunk(cylinder: Cylinder) -> bool:
    return any(flare.kind == "countersink" for flare in cylinder.flares)


def _stepped(members: list[Cylinder]) -> tuple[str, list[Cylinder]]:
    """Name what touching cylinders are, and put them in order along the axis."""
    ordered = sorted(members, key=lambda c: _position(members[0], c))
    if not ordered[0].is_internal:
        return "stepped", ordered
    if len(ordered) == 1:
        return "countersunk", ordered
    if len(ordered) == _TWO and (_is_groove(*ordered) or _is_groove(*reversed(ordered))):
        return "grooved", ordered
    return ("counterbored" if _is_counterbored(ordered) else "stepped"), ordered


def _is_counterbored(members: list[Cylinder]) -> bool:
    """Whether a bore begins wider, not deeper than wide, with a flat shoulder."""
    if len(members) != _TWO:
        return False
    wide = max(members, key=lambda c: c.nominal_size)
    length = wide.end - wide.start
    # Where no cone lies between, the shoulder is flat.
    (a, b), (c, d) = (_ends(members[0], m, with_flares=False) for m in members)
    is_flat = min(abs(c - b), abs(a - d)) <= _TOUCHING
    return is_flat and length <= _SHALLOW * wide.nominal_size


def _position(first: Cylinder, other: Cylinder) -> float:
    """Middle of a cylinder along the axis of another, mm."""
    return float(other.point @ first.direction)


def _ends(
    first: Cylinder, other: Cylinder, *, with_flares: bool = True
) -> tuple[float, float]:
    """Return the ends of a cylinder along the axis of another, flares included, mm."""
    flares = other.flares if with_flares else ()
    low = min([other.start, *(f.start for f in flares)])
    high = max([other.end, *(f.end for f in flares)])
    # Positions count along each cylinder's own direction, from the same origin.
    if float(first.direction @ other.direction) < 0:
        low, high = -high, -low
    return low, high


def _touch(a: Cylinder, b: Cylinder) -> bool:
    """Whether coaxial cylinders follow on each other, flares included.

    Those that lie one inside the other, such as a pocket about a bored boss, do not.
    """
    (a_low, a_high), (b_low, b_high) = _ends(a, a), _ends(a, b)
    follow = abs(max(a_low, b_low) - min(a_high, b_high)) <= _TOUCHING
    return follow or _is_groove(a, b) or _is_groove(b, a)


def _is_groove(wide: Cylinder, bore: Cylinder) -> bool:
    """Whether a wider cylinder interrupts a bore amid its length."""
    low, high = _ends(wide, bore)
    is_amid = wide.start > low + _TOUCHING and wide.end < high - _TOUCHING
    return wide.is_internal and wide.nominal_size > bore.nominal_size and is_amid


def _touching(cylinders: Sequence[Cylinder]) -> list[list[int]]:
    """Return sets of cylinders, by index, that touch each other about one axis."""
    return [
        part
        for line in _on_one_axis(cylinders)
        for part in _components(
            line, [p for p in pairwise(_sorted(cylinders, line)) if _pair(cylinders, p)]
        )
    ]


def _sorted(cylinders: Sequence[Cylinder], line: list[int]) -> list[int]:
    first = cylinders[line[0]]
    return sorted(line, key=lambda i: (_position(first, cylinders[i]), i))


def _pair(cylinders: Sequence[Cylinder], pair: tuple[int, int]) -> bool:
    return _touch(cylinders[pair[0]], cylinders[pair[1]])


def _on_one_axis(cylinders: Sequence[Cylinder]) -> list[list[int]]:
    """Return sets of cylinders, by index, that share an axis and its side."""
    i, j = np.triu_indices(len(cylinders), 1)
    if len(i) == 0:
        return [[k] for k in range(len(cylinders))]
    ways = np.array([c.direction for c in cylinders])
    points = np.array([c.point for c in cylinders])
    inside = np.array([c.is_internal for c in cylinders])
    rough = np.array([c.form_deviation for c in cylinders])
    near = (inside[i] == inside[j]) & (np.abs(dot(ways[i], ways[j])) > _PARALLEL)
    i, j = i[near], j[near]
    apart = points[j] - points[i]
    across = np.linalg.norm(apart - dot(apart, ways[i])[:, None] * ways[i], axis=1)
    close = across <= _SAME_AXIS + rough[i] + rough[j]
    edges = list(zip(i[close].tolist(), j[close].tolist(), strict=True))
    return _components(list(range(len(cylinders))), edges)


def _components(nodes: list[int], edges: list[tuple[int, int]]) -> list[list[int]]:
    place = {node: k for k, node in enumerate(nodes)}
    pairs = np.array([(place[a], place[b]) for a, b in edges], dtype=np.int64)
    parts: dict[int, list[int]] = {}
    labels = components(len(nodes), pairs.reshape(-1, 2))
    for node, label in zip(nodes, labels.tolist(), strict=True):
        parts.setdefault(label, []).append(node)
    return sorted(sorted(part) for part in parts.values())


def _chains(cylinders: list[Cylinder], steps: list[list[Cylinder]]) -> list[list[Cylinder]]:
    """Bores on one axis that make up more than one hole."""
    hole = {c.id: number for number, members in enumerate(steps) for c in members}
    found = []
    for line in _on_one_axis(cylinders):
        mine = [cylinders[i] for i in _sorted(cylinders, line)]
        if mine[0].is_internal and len({hole[c.id] for c in mine}) > 1:
            found.append(mine)
    return found


def _numbered(found: list[tuple[str, str, list[Cylinder]]]) -> list[Group]:
    ordered = sorted(found, key=lambda entry: min(c.id for c in entry[2]))
    digits = max(2, len(str(len(ordered))))
    return [
        Group(
            id=f"{name}-{number:0{digits}d}",
            kind=kind,
            members=tuple(c.id for c in members),
            is_through=all(c.is_through for c in members),
        )
        for number, (name, kind, members) in enumerate(ordered, 1)
    ]
