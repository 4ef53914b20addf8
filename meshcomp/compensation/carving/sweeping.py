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

from meshcomp._vectors import any_of, dot, unit
from meshcomp.compensation.carving.checks import mended, unsound_faces
from meshcomp.compensation.carving.cutting import known_points, taken_away
from meshcomp.compensation.carving.outlines_kept import joined_or_parted
from meshcomp.compensation.carving.presence import are_there
from meshcomp.compensation.carving.ways import Short, Ways, ways_of
from meshcomp.compensation.films import in_films
from meshcomp.compensation.limits import (
    BROUGHT,
    MOST_SUNK,
    is_of_crossing,
    limited,
    mostly_bent,
)
from meshcomp.compensation.refining import Refined
from meshcomp.files.welding import weld
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Plan
from meshcomp.results import Limit
from meshcomp.solids.hulls import united_hulls
from meshcomp.topology import bodies_and_holes, bodies_of

__all__ = ["brought_to_place"]

# mm, that a solid begins before its face: where faces coincide, films stay. Where rounding
# makes needles, the other one may not.
_BACK, _OTHER_BACK = 0.02, 0.013
_JOINED = 0.3  # mm of height, over which outlines may join or part
_MOST_CUTS = 6
_MOST_FACES = 200_000  # looked at by all cuts together, about
_IN_VAIN = 2  # cuts in a row
_MOST_HULLS = 5_000  # of a group
_MOST_TOOLS = 12  # groups of a part: of letters there are very many
_CRUMB = (0.01, 1e-6)  # mm³, and of the part's volume: bodies that a cut may leave behind


@dataclass(frozen=True, slots=True, eq=False)
class _Tool:
    """What a group of faces sweeps."""

    faces: NDArray[np.int64]  # refined
    solid: Mesh
    back: float  # mm, that it begins before them


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
    brought: list[_Tool] = []
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
    areas = np.linalg.norm(ways.refined.mesh.area_vectors, axis=1)
    ranked = sorted(
        groups,
        key=lambda faces: (
            not sized[ways.wanted.feature[faces]].any(),
            -float(areas[faces].sum()),
        ),
    )
    return ranked[:_MOST_TOOLS]


def _tools(ways: Ways, groups: Sequence[NDArray[np.int64]]) -> list[_Tool]:
    """Solids of all groups that are not too large, those that sweep most first."""
    some = [faces for faces in groups if len(faces) <= _MOST_HULLS]
    made = [_tool(ways, faces, _BACK) for faces in some]
    whole = [tool for tool in made if len(tool.solid.faces)]
    return sorted(whole, key=lambda tool: -tool.solid.volume)


def _tool(ways: Ways, faces: NDArray[np.int64], back: float) -> _Tool:
    return _Tool(faces, united_hulls(ways.swept(faces, back)), back)


def _brought(
    ways: Ways, before: Refined, batches: list[list[_Tool]], cuts: _Cuts
) -> tuple[Refined, list[_Tool]]:
    """Use all tools that do no harm, some at a time; tell which."""
    batches = [some for some in batches if some]
    done: list[_Tool] = []
    in_vain = 0
    while batches and cuts.left > 0 and in_vain < _IN_VAIN:
        some = batches.pop(0)
        cuts.left -= 1
        after, bad = _cut(ways, before, some)
        in_vain = in_vain + 1 if after is None else 0
        if after is None:
            first, last = _parted(ways, some, bad)
            batches = [*first, *batches, *([tool] for tool in last)]
        else:
            before, done = after, done + some
    return before, done


def _parted(
    ways: Ways, tools: list[_Tool], bad: list[int]
) -> tuple[list[list[_Tool]], list[_Tool]]:
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


def _by_feature(ways: Ways, tool: _Tool) -> list[_Tool]:
    """Part a tool into those of its features, the largest ones first."""
    owners = ways.wanted.feature[tool.faces]
    some = [tool.faces[owners == owner] for owner in np.unique(owners)]
    return [tool] if len(some) == 1 else _tools(ways, some)


def _cut(
    ways: Ways, before: Refined, tools: list[_Tool]
) -> tuple[Refined | None, list[int]]:
    """Take tools away, or add them; None where that does harm, and which tools do."""
    owners = [_own(ways, before, tool) for tool in tools]
    gone = [k for k, own in enumerate(owners) if len(own) == 0]
    if gone:  # something else has taken a wall along
        return None, gone
    mesh, old, made_by, _ = taken_away(
        before.mesh,
        [tool.solid for tool in tools],
        owners=[int(own[0]) for own in owners],
        adds=ways.grows(tools[0].faces),
        unit=before.unit,
    )
    welded = weld(mesh.vertices, mesh.faces)  # as whoever reads the file will
    mesh, old, made_by = (
        Mesh(welded.points, welded.faces),
        old[welded.kept],
        made_by[welded.kept],
    )
    new = ~known_points(mesh.vertices, before.mesh.vertices)
    mesh, kept = _tidied(mesh, new)
    old, made_by = old[kept], made_by[kept]
    sunk = np.abs(mesh.bounds - before.mesh.bounds)[:, 2].max()
    came_from = np.where(old < 0, -1, before.parents[old])
    lost = [
        k
        for k, tool in enumerate(tools)
        for same in [ways.in_planes_of(tool.faces, came_from)]
        if not are_there(ways, tool.faces, mesh, same | (made_by == k))
    ]
    if lost or sunk > MOST_SUNK:
        return None, lost if len(lost) < len(tools) else []
    bad: NDArray[np.float64] | None = None
    for after in mended(replace(before, mesh=mesh, parents=old), new):
        if bodies_and_holes(after.mesh) != ways.holes:
            continue
        faces = unsound_faces(before, after, needles=True)
        if len(faces) == 0:
            solids = [tool.solid for tool in tools]
            joined = joined_or_parted(before.mesh, after.mesh, solids) > _JOINED
            if joined.any():
                return None, np.flatnonzero(joined).tolist()
            return _with_parents(ways, before, after, np.concatenate(owners)), []
        if bad is None or len(faces) < len(bad):
            bad = after.mesh.corners[faces]
    return None, [] if bad is None else _nearest(ways, tools, bad)


def _nearest(ways: Ways, tools: list[_Tool], corners: NDArray[np.float64]) -> list[int]:
    """Tools whose faces are nearest to some triangles, (k, 3, 3)."""
    from scipy.spatial import cKDTree

    middles, mesh = corners.mean(axis=1), ways.refined.mesh
    trees = [cKDTree(mesh.vertices[mesh.faces[t.faces]].mean(axis=1)) for t in tools]
    away = np.array([tree.query(middles)[0] for tree in trees])
    return [int(k) for k in np.unique(np.argmin(away, axis=0))]


def _own(ways: Ways, before: Refined, tool: _Tool) -> NDArray[np.int64]:
    """Faces of the moved mesh that came from those of a group, or any of its body."""
    own = np.flatnonzero(ways.in_planes_of(tool.faces, before.parents))
    if len(own) == 0 and not bodies_of(before.mesh).any():
        return np.zeros(1, dtype=np.int64)
    return own


def _tidied(mesh: Mesh, new: NDArray[np.bool_]) -> tuple[Mesh, NDArray[np.int64]]:
    """Drop films, and bodies or hollows too small to be anything; tell what is left."""
    left = np.flatnonzero(~in_films(mesh, any_of(new[mesh.faces])))
    whole = Mesh(mesh.vertices, mesh.faces[left])
    bodies = bodies_of(whole)
    first = np.take(mesh.vertices - mesh.bounds.mean(axis=0), whole.faces[:, 0], axis=0)
    volumes = np.abs(np.bincount(bodies, dot(first, whole.area_vectors)) / 3)
    most, share = _CRUMB
    kept = np.flatnonzero((volumes > min(most, share * float(volumes.sum())))[bodies])
    return Mesh(mesh.vertices, whole.faces[kept]), left[kept]


def _with_parents(
    ways: Ways, before: Refined, after: Refined, own: NDArray[np.int64]
) -> Refined:
    """Say of new faces that they are of those that look most as they do, there or beside.

    `own` are faces of `before` that were to be brought to their places. Of bores beside
    them no face is new.
    """
    from scipy.spatial import cKDTree

    near = np.zeros(len(before.mesh.vertices), dtype=bool)
    near[before.mesh.faces[own]] = True
    is_bore = np.isin(before.parents, ways.refined.parents[ways.is_bore])
    beside = np.flatnonzero(any_of(near[before.mesh.faces]) & ~is_bore)
    beside = np.union1d(beside, own)
    new = np.flatnonzero(after.parents < 0)
    looks = cKDTree(unit(before.mesh.area_vectors[beside]))
    parents = after.parents.copy()
    parents[new] = beside[looks.query(unit(after.mesh.area_vectors[new]))[1]]
    return replace(before, mesh=after.mesh, parents=before.parents[parents])


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
