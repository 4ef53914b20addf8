"""Cut bores to size that could not be moved, since faces beside them would cross.

Where the surface around a rim is made of facets smaller than the way that the rim has to
go, they would be overrun. Taking a solid of the wanted shape out of the bore needs no
facet to move: its wall is as planned, and what lies about the rim ends at it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._stretches import merged
from meshcomp._vectors import (
    along,
    any_of,
    basis_across,
    dot,
    highest,
    lowest,
    ring_area,
    turned,
    unit,
)
from meshcomp.compensation.carving.checks import (
    crossing_near,
    holes_of,
    is_sound,
    with_rims,
)
from meshcomp.compensation.carving.cutting import prism, taken_away
from meshcomp.compensation.carving.outlines_kept import joined_or_parted
from meshcomp.compensation.limits import CUT, MOST_SUNK, is_of_crossing
from meshcomp.compensation.lying import edge_angles, radii
from meshcomp.compensation.refining import SAGITTA, Refined
from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh, concatenate
from meshcomp.plans import Correction, Plan
from meshcomp.results import Limit
from meshcomp.sections import rings_at
from meshcomp.topology import bodies_of, topology_of

__all__ = ["can_be_cut", "cut_to_size"]

_MOST_OFFSET = 0.5  # mm: more corrects no print, and takes other things along
_CORE = 0.9  # of the bore's radius: what must be free where it goes on
_BEYOND = 0.02  # mm, past an open end
_SLOPE = 3.0  # how much farther, where that is free as well, than the wall goes
_END = 0.5  # part of a normal along the axis: more is no wall
_MOST = 2.0  # times the volume expected, or something else was cut
_OPENED = 0.25  # of a bore's height, where it may come to open into another or no longer
_MOST_TOOLS = 64
_SMALLEST, _LARGEST = 24, 4096  # facets around


# By shares of a facet: where rounding makes slivers cross, other corners may do.
_TURNS = (0.0, 0.62, 0.24, 0.85)

_Asked = tuple[Cylinder, Correction]


@dataclass(frozen=True, slots=True, eq=False)
class _Tool:
    """A solid to be taken out of a bore."""

    cylinder: Cylinder
    solid: Mesh
    expected: float  # volume between the wall as it is and as it should be, mm³


def cut_to_size(
    inspection: Inspection, plan: Plan, result: Refined, limits: tuple[Limit, ...]
) -> tuple[Refined, tuple[Limit, ...]]:
    """Cut the bores to size that crossing faces have held back.

    Parameters
    ----------
    inspection, plan
        Features and their corrections, in the same order.
    result : Refined
        The part after its offsets, and the inspected face that each face came from.
    limits : tuple of Limit
        What was held back.

    Returns
    -------
    result : Refined
        The same where nothing could be cut without harm.
    limits : tuple of Limit
        Bores that were cut say so, and have their offset.
    """
    held = {x.feature_id for x in limits if is_of_crossing(x) and x.used != x.wanted}
    rows = zip(inspection.features, plan.corrections, strict=True)
    asked = [
        (feature, correction)
        for feature, correction in rows
        if isinstance(feature, Cylinder) and feature.id in held
        if can_be_cut(feature, correction)
    ]
    after, cut = _cut(result, asked[:_MOST_TOOLS])
    told = [
        replace(x, used=x.wanted, reason=CUT) if x.feature_id in cut else x for x in limits
    ]
    return after, tuple(told)


def can_be_cut(feature: Feature, correction: Correction) -> bool:
    """Whether it is a bore that is to be a little wider, and by less than it is wide."""
    if not (isinstance(feature, Cylinder) and feature.is_internal):
        return False
    return 0 < -correction.offset < min(_MOST_OFFSET, feature.nominal_size / 2)


def _cut(before: Refined, asked: list[_Asked]) -> tuple[Refined, set[str]]:
    """Cut all, or each half by itself where that does harm; tell whose bores were cut."""
    if not asked:
        return before, set()
    for turn in _TURNS if len(asked) == 1 else _TURNS[:1]:
        cut = _taken_out(before, [_tool(before, *one, turn) for one in asked])
        if cut is None:  # other corners would take as much
            break
        for after in with_rims(*cut):
            if is_sound(before, after):
                parents = before.parents[after.parents]
                whole = replace(before, mesh=after.mesh, parents=parents)
                return whole, {cylinder.id for cylinder, _ in asked}
    if len(asked) == 1:
        return before, set()
    middle = len(asked) // 2
    after, first = _cut(before, asked[:middle])
    after, second = _cut(after, asked[middle:])
    return after, first | second


def _taken_out(
    before: Refined, made: list[_Tool | None]
) -> tuple[Refined, NDArray[np.bool_]] | None:
    """Cut, with faces of `before` as parents; which vertices are new; None for harm."""
    tools = [tool for tool in made if tool is not None]
    if len(tools) < len(made):
        return None
    if len(crossing_near(before.mesh, [tool.solid for tool in tools])):
        return None
    mesh, old, made_by, new = taken_away(
        before.mesh, [tool.solid for tool in tools], unit=before.unit
    )
    is_new = old < 0
    kept = old[~is_new]
    if _takes_more(before, mesh, tools) or _cuts_another(before, tools, kept):
        return None
    if _opens(before, mesh, tools):
        return None
    for k, tool in enumerate(tools):
        mine = np.flatnonzero(is_new & (made_by == k))
        old[mine] = _like_ones(before, tool.cylinder, unit(mesh.area_vectors[mine]))
    return replace(before, mesh=mesh, parents=old), new


def _takes_more(before: Refined, mesh: Mesh, tools: list[_Tool]) -> bool:
    """Whether a cut took nothing, or more than the walls: a hole, an end of the part."""
    removed = before.mesh.volume - mesh.volume
    sunk = np.abs(mesh.bounds - before.mesh.bounds)[:, 2].max()
    return (
        not 0 < removed < _MOST * sum(tool.expected for tool in tools)
        or bool(sunk > MOST_SUNK)
        or holes_of(mesh) != holes_of(before.mesh)
    )


def _opens(before: Refined, mesh: Mesh, tools: list[_Tool]) -> bool:
    """Whether a bore opens into what lies beside it, along more than where they cross."""
    ways = [tuple(tool.cylinder.direction.round(6).tolist()) for tool in tools]
    for way in set(ways):
        same = [tool for tool, own in zip(tools, ways, strict=True) if own == way]
        direction = same[0].cylinder.direction
        frame = np.vstack([basis_across(direction), direction])
        solids = [tool.solid for tool in same]
        spans = np.array([np.ptp(along(solid.vertices, direction)) for solid in solids])
        if (joined_or_parted(before.mesh, mesh, solids, frame) > _OPENED * spans).any():
            return True
    return False


def _cuts_another(before: Refined, tools: list[_Tool], kept: NDArray[np.int64]) -> bool:
    """Whether a body that has none of the bores lost a face, of which some are kept."""
    bodies = bodies_of(before.mesh)
    bored = np.zeros(int(bodies.max()) + 1, dtype=bool)
    for tool in tools:
        bored[bodies[np.isin(before.parents, tool.cylinder.faces)]] = True
    others = ~bored[bodies]
    return int(others[kept].sum()) != int(others.sum())


def _like_ones(
    before: Refined, cylinder: Cylinder, normals: NDArray[np.float64]
) -> NDArray[np.int64]:
    """Faces of a bore's wall, or beside it, that look most as new ones do, (k,)."""
    from scipy.spatial import cKDTree

    mesh = before.mesh
    wall = np.isin(before.parents, cylinder.faces)
    at_wall = np.zeros(len(mesh.vertices), dtype=bool)
    at_wall[mesh.faces[wall]] = True
    ends = any_of(at_wall[mesh.faces]) & ~wall
    is_end = np.abs(along(normals, cylinder.direction)) > _END
    found = np.zeros(len(normals), dtype=np.int64)
    for of_kind, faces in ((is_end, np.flatnonzero(ends)), (~is_end, np.flatnonzero(wall))):
        looks = unit(mesh.area_vectors[faces])
        found[of_kind] = faces[cKDTree(looks).query(normals[of_kind])[1]]
    return found


def _tool(
    result: Refined, cylinder: Cylinder, correction: Correction, turn: float
) -> _Tool | None:
    """Solid to be taken out of a bore, a little longer where the bore goes on freely."""
    mesh = result.mesh
    wall = np.isin(result.parents, cylinder.faces)
    if not wall.any():  # another has taken it along
        return None
    levels = along(mesh.corners[wall], cylinder.direction)
    # A bore with a ledge in it has a wall on either side.
    stretches = merged(np.column_stack([lowest(levels), highest(levels)]))
    basis = basis_across(cylinder.direction)
    ring = _ring(cylinder, correction, basis, turn)
    radius = cylinder.nominal_size / 2
    if float(np.linalg.norm(ring, axis=1).min()) < radius:  # wider one way, not the other
        return None
    step = float(np.linalg.norm(ring, axis=1).max()) - radius
    centre = turned(cylinder.point, basis)
    expected = (ring_area(ring) - np.pi * radius**2) * float(np.diff(stretches).sum())
    frame = np.vstack([basis, cylinder.direction])
    reaches = [_reaches(mesh, cylinder, ends, _SLOPE * step) for ends in stretches]
    solids = [
        prism(ring + centre, ends, frame) for ends in merged(stretches + np.array(reaches))
    ]
    return _Tool(cylinder, concatenate(solids), max(expected, 0.0))


def _reaches(
    mesh: Mesh, cylinder: Cylinder, ends: NDArray[np.float64], far: float
) -> NDArray[np.float64]:
    """How far past both ends of a wall its bore goes on freely, (2,) mm."""
    ways = zip(ends.tolist(), (-far, far), strict=True)
    return np.array([_reach(mesh, cylinder, end, way) for end, way in ways])


def _ring(
    cylinder: Cylinder,
    correction: Correction,
    basis: NDArray[np.float64],
    turn: float,
) -> NDArray[np.float64]:
    """Wanted outline about the axis, counter-clockwise, (k, 2) mm."""
    radius = cylinder.nominal_size / 2 + abs(correction.offset)
    count = np.ceil(np.pi / np.arccos(1 - min(SAGITTA / radius, 0.5)))
    angles = turn + np.arange(int(np.clip(count, _SMALLEST, _LARGEST)))
    edges = edge_angles(cylinder, correction.lying)
    angles = np.unique(
        np.concatenate([angles * 2 * np.pi / len(angles), edges % (2 * np.pi)])
    )
    ways = np.column_stack([np.cos(angles), np.sin(angles)])
    wanted = radii(cylinder, correction, cylinder.point + ways @ basis)
    return np.asarray(ways * wanted[:, None])


def _reach(mesh: Mesh, cylinder: Cylinder, end: float, far: float) -> float:
    """How far past an end of its wall the bore goes on freely, mm, signed as `far`."""
    near = float(np.copysign(_BEYOND, far))
    frame = np.vstack([basis_across(cylinder.direction), cylinder.direction])
    sections = rings_at(mesh, topology_of(mesh), frame, [end + near, end + far])
    centre, core = turned(cylinder.point, frame[:2]), _CORE * cylinder.nominal_size / 2
    free = [_is_free(rings, centre, core) for rings in sections]
    return (far if abs(far) > abs(near) and free[1] else near) if free[0] else 0.0


def _is_free(
    rings: list[NDArray[np.float64]], centre: NDArray[np.float64], radius: float
) -> bool:
    """Whether no material of a section lies within a circle."""
    turns = 0.0
    for ring in rings:
        here = ring - centre
        there = np.roll(here, -1, axis=0)
        way = there - here
        share = np.clip(-dot(here, way) / np.maximum(dot(way, way), 1e-300), 0.0, 1.0)
        nearest = here + share[:, None] * way
        if (dot(nearest, nearest) < radius * radius).any():
            return False
        crosses = here[:, 0] * there[:, 1] - here[:, 1] * there[:, 0]
        turns += float(np.arctan2(crosses, dot(here, there)).sum()) / (2 * np.pi)
    return round(turns) == 0
