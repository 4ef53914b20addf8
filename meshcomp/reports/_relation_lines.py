"""Holes of several steps, chains and patterns as lines of text."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshcomp.features import Cylinder, Group, Pattern
from meshcomp.inspections import Inspection
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._rows import grouped, ids_in_words
from meshcomp.reports._tables import titled
from meshcomp.stands import Stand

__all__ = ["relation_lines"]

_TOLD = {"countersink", "drill point"}  # flares worth a word; chamfers are not


def relation_lines(inspection: Inspection) -> list[str]:
    """Return what belongs together: groups about one axis, pockets, then patterns.

    Groups that read alike share a line.
    """
    cylinders = {c.id: c for c in inspection.cylinders}
    walls = {w.id for w in inspection.walls}
    steps = [
        (_group_words(group, [cylinders[name] for name in group.members]), group.id)
        for group in inspection.groups
        if group.kind != "coaxial" and group.members[0] in cylinders
    ]
    chains = [
        f"{group.id}: {ids_in_words(group.members)}"
        for group in inspection.groups
        if group.kind == "coaxial"
    ]
    sentences = [f"{ids}: {words}" for ids, words in grouped(steps)]
    sentences += [f"{line}, on one axis" for line in chains]
    pockets = [
        (f"{group.kind}, {_ends(group)}: {ids_in_words(group.members)}", group.id)
        for group in inspection.groups
        if group.members[0] in walls
    ]
    sentences += [f"{ids}: {words}" for ids, words in grouped(pockets)]
    stand = inspection.part.stand
    sentences += [_pattern_words(pattern, stand) for pattern in inspection.patterns]
    return titled("What belongs together", sentences)


def _group_words(group: Group, members: Sequence[Cylinder]) -> str:
    """Say kind, sizes from end to end and how a hole ends."""
    sizes = ", ".join(numbers.size(c.nominal_size) for c in members)
    cones = [
        f"{flare.kind} {numbers.angle(flare.angle)}° to {numbers.size(flare.size)}"
        for c in members
        for flare in c.flares
        if flare.kind in _TOLD and flare.angle is not None
    ]
    if not members[0].is_internal:
        return f"{group.kind} boss: {sizes}"
    return ", ".join([f"{group.kind}, {_ends(group)}: {sizes}", *cones])


def _ends(group: Group) -> str:
    return "through" if group.is_through else "blind"


def _pattern_words(pattern: Pattern, stand: Stand) -> str:
    what = numbers.size(pattern.nominal_size)
    count = f" {numbers.TIMES} ".join(str(n) for n in pattern.counts)
    pitch = " and ".join(numbers.size(p) for p in pattern.pitch)
    if pattern.circle_size is not None:
        place = f"evenly on a circle of {numbers.size(pattern.circle_size)}"
    else:
        place = f"{pitch} apart"
    members = ids_in_words(pattern.members)
    for at in pattern.empty:
        members += f"; none at ({numbers.place(stand.to_file(np.array(at)).tolist())})"
    return f"{pattern.id}: {count} of {what}, {place}: {members}"
