"""Walls that crossing faces held back are brought to their places by solids.

Where a strip of small faces beside a wall would be overrun, moving its vertices only goes
so far. The solid that each face of the wall sweeps on its way, the convex hull of the face
and of where it is to go, can be taken away from the part, or added to it, whatever lies
beside: the wall is then where it should be, and what would be overrun ends at it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import lengths
from meshcomp.compensation.carving.trying import Tool, tried
from meshcomp.compensation.carving.ways import Short, Ways, ways_of
from meshcomp.compensation.limits import (
    BROUGHT,
    is_of_crossing,
    limited,
    mostly_bent,
)
from meshcomp.compensation.refining import Refined
from meshcomp.inspections import Inspection
from meshcomp.plans import Plan
from meshcomp.results import Limit
from meshcomp.solids.hulls import united_hulls

__all__ = ["brought_to_place"]

# mm, that a solid begins before its face: where faces coincide, films stay. Where rounding
# makes needles, the other one may not.
_BACK, _OTHER_BACK = 0.02, 0.013
_MOST_CUTS = 6
_MOST_FACES = 200_000  # looked at by all cuts together, about
_IN_VAIN = 2  # cuts in a row
_MOST_HULLS = 5_000  # of a group
_MOST_TOOLS = 12  # groups of a part: of letters there are very many


@dataclass(slots=True)
class _Cuts:
    """How many more cuts may be tried."""

    left: int


def brought_to_place(
    inspection: Inspection,
    plan: Plan,
    made: tuple[Refined, tuple[Limit, ...]],
    short: Short,
) -> tuple[Refined, tuple[Limit, ...]]:
    """Bring walls and bosses to where they should be that crossing faces have held back.

    Parameters
    ----------
    inspection, plan
        Features and their corrections, in the same order.
    made : (Refined, tuple of Limit)
        The part after its offsets, and what was held back.
    short : Short
        How far all went.

    Returns
    -------
    result : Refined
        The same where nothing could be brought to its place without harm.
    limits : tuple of Limit
        Features whose walls were brought there say so, and have their offset.
    """
    result, limits = made
    cuts = _Cuts(min(_MOST_CUTS, _MOST_FACES // len(result.mesh.faces)))
    is_held = any(is_of_crossing(x) and x.used != x.wanted for x in limits)
    if not (is_held and cuts.left):
        return made
    ways = ways_of(inspection, plan, short, result)
    sized = np.array([f.nominal_size is not None for f in inspection.features])
    brought: list[Tool] = []
    tools = [
        _tools(ways, _that_matter(ways, some, sized)) for some in (ways.groups, ways.beside)
    ]
    for grows in (False, True):
        some = [[t for t in every if ways.grows(t.faces) is grows] for every in tools]
        result, done = _brought(ways, result, some, cuts)
        brought += done
    if not brought:
        return made
    faces = np.concatenate([tool.faces for tool in brought])
    bent = _still_bent(inspection, ways, faces)
    told = _told(inspection, plan, (limits, bent), _now(ways, short, faces))
    is_lower = (result.mesh.bounds != made[0].mesh.bounds)[:, 2].any()
    # What takes something off an end of the part must be told.
    return (
        made if is_lower and not any(x.reason == BROUGHT for x in told) else (result, told)
    )


def _that_matter(
    ways: Ways, groups: Sequence[NDArray[np.int64]], sized: NDArray[np.bool_]
) -> list[NDArray[np.int64]]:
    """Choose groups to try: those of features that have a size, (f,), then by area."""
    areas = lengths(ways.refined.mesh.area_vectors)
    ranked = sorted(
        groups,
        key=lambda faces: (
            not sized[ways.wanted.feature[faces]].any(),
            -float(areas[faces].sum()),
        ),
    )
    return ranked[:_MOST_TOOLS]


def _tools(ways: Ways, groups: Sequence[NDArray[np.int64]]) -> list[Tool]:
    """Solids of all groups that are not too large, those that sweep most first."""
    some = [faces for faces in groups if len(faces) <= _MOST_HULLS]
    made = [_tool(ways, faces, _BACK) for faces in some]
    whole = [tool for tool in made if len(tool.solid.faces)]
    return sorted(whole, key=lambda tool: -tool.solid.volume)


def _tool(ways: Ways, faces: NDArray[np.int64], back: float) -> Tool:
    return Tool(faces, united_hulls(ways.swept(faces, back)), back)


def _brought(
    ways: Ways, before: Refined, batches: list[list[Tool]], cuts: _Cuts
) -> tuple[Refined, list[Tool]]:
    """Use all tools that do no harm, some at a time; tell which."""
    batches = [some for some in batches if some]
    done: list[Tool] = []
    in_vain = 0
    while batches and cuts.left > 0 and in_vain < _IN_VAIN:
        some = batches.pop(0)
        cuts.left -= 1
        after, bad = tried(ways, before, some)
        in_vain = in_vain + 1 if after is None else 0
        if after is None:
            first, last = _parted(ways, some, bad)
            batches = [*first, *batches, *([tool] for tool in last)]
        else:
            before, done = after, done + some
    return before, done


def _parted(
    ways: Ways, tools: list[Tool], bad: list[int]
) -> tuple[list[list[Tool]], list[Tool]]:
    """Part tools that do harm together: batches to try next, and tools to try at last."""
    if 0 < len(bad) < len(tools):
        good = [tool for k, tool in enumerate(tools) if k not in bad]
        return [good], [tools[k] for k in bad]
    if len(tools) > 1:
        middle = len(tools) // 2
        return [tools[:middle], tools[middle:]], []
    (tool,) = tools
    if tool.back == _BACK and bad:  # rounding may do better
        return [], [_tool(ways, tool.faces, _OTHER_BACK)]
    some = _by_feature(ways, tool)
    return [], some if len(some) > 1 else []


def _by_feature(ways: Ways, tool: Tool) -> list[Tool]:
    """Part a tool into those of its features, the largest ones first."""
    owners = ways.wanted.feature[tool.faces]
    some = [tool.faces[owners == owner] for owner in np.unique(owners)]
    return [tool] if len(some) == 1 else _tools(ways, some)


def _still_bent(inspection: Inspection, ways: Ways, brought: NDArray[np.int64]) -> set[str]:
    """Name features with planes that are bent beside faces that were held."""
    beside = np.concatenate([np.zeros(0, dtype=np.int64), *ways.beside])
    left = np.setdiff1d(beside, brought)
    return {inspection.features[k].id for k in np.unique(ways.wanted.feature[left])}


def _now(ways: Ways, short: Short, brought: NDArray[np.int64]) -> Short:
    """Tell how far all are once some faces are in their places."""
    done = np.zeros(len(ways.refined.mesh.faces), dtype=bool)
    done[brought] = True
    left = np.concatenate([faces[~done[faces]] for faces in (*ways.groups, *ways.beside)])
    held = np.zeros(len(ways.is_short), dtype=bool)
    held[ways.refined.mesh.faces[left]] = True
    arrived = np.zeros(len(held), dtype=bool)
    arrived[ways.refined.mesh.faces[done]] = True
    arrived &= ~held
    shares = np.where(arrived[: len(short.holding.vertices)], 1.0, short.holding.vertices)
    cylinders = short.holding.cylinders.copy()
    whole = np.setdiff1d(ways.wanted.feature[done], ways.wanted.feature[left])
    cylinders[whole] = 1.0
    holding = replace(short.holding, vertices=shares, cylinders=cylinders)
    return replace(short, holding=holding, d=np.where(arrived[:, None], ways.d, short.d))


def _told(
    inspection: Inspection,
    plan: Plan,
    before: tuple[tuple[Limit, ...], set[str]],
    short: Short,
) -> tuple[Limit, ...]:
    """Tell what is held back still, and what was brought to its place.

    `before` has the limits before, and the features that are bent still: those stay.
    """
    limits, still_bent = before
    went = short.went[: len(short.holding.vertices)]
    left = limited(inspection, plan, short.holding, short.places, went)
    still = {x.feature_id for x in left}
    stay = [x for x in limits if x.feature_id in still_bent - still]
    done = [x for x in limits if x.feature_id not in still | still_bent]
    # Their places are where neighbours that move otherwise let them be.
    bent = {
        x.feature_id: x
        for x in mostly_bent(inspection, plan, went, {x.feature_id for x in done})
    }
    now = (bent.get(x.feature_id, replace(x, used=x.wanted, reason=BROUGHT)) for x in done)
    return (*left, *stay, *now)
