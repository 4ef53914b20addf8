"""One try to bring walls to their places by solids, and which of those did harm."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import any_of, dot
from meshcomp.compensation.carving.checks import mended, unsound_faces
from meshcomp.compensation.carving.cutting import Cut, known_points, taken_away
from meshcomp.compensation.carving.outlines_kept import joined_or_parted
from meshcomp.compensation.carving.presence import are_there, planes_of
from meshcomp.compensation.carving.ways import Ways
from meshcomp.compensation.films import in_films
from meshcomp.compensation.limits import MOST_SUNK
from meshcomp.compensation.refining import Refined
from meshcomp.files.welding import weld
from meshcomp.meshes import Mesh
from meshcomp.topology import bodies_and_holes, bodies_of

__all__ = ["Tool", "tried"]

_JOINED = 0.3  # mm of height, over which outlines may join or part
_CRUMB = (0.01, 1e-6)  # mm³, and of the part's volume: bodies that a cut may leave behind


@dataclass(frozen=True, slots=True, eq=False)
class Tool:
    """What a group of faces sweeps."""

    faces: NDArray[np.int64]  # refined
    solid: Mesh
    back: float  # mm, that it begins before them


def tried(
    ways: Ways, before: Refined, tools: list[Tool]
) -> tuple[Refined | None, list[int]]:
    """Take tools away, or add them.

    Parameters
    ----------
    ways : Ways
    before : Refined
        The part so far.
    tools : list of Tool
        All to be taken away, or all to be added.

    Returns
    -------
    after : Refined or None
        None where that does harm.
    bad : list of int
        Which tools do, if that is known.
    """
    owners = [_own(ways, before, tool) for tool in tools]
    gone = [k for k, own in enumerate(owners) if len(own) == 0]
    if gone:  # something else has taken a wall along
        return None, gone
    mesh, old, made_by, new = _cut(ways, before, tools, [int(own[0]) for own in owners])
    sunk = np.abs(mesh.bounds - before.mesh.bounds)[:, 2].max()
    came_from = np.where(old < 0, -1, before.parents[old])
    mine = [
        ways.in_planes_of(tool.faces, came_from) | (made_by == k)
        for k, tool in enumerate(tools)
    ]
    rows = zip(tools, mine, strict=True)
    lost = [
        k
        for k, (tool, own) in enumerate(rows)
        if not are_there(ways, tool.faces, mesh, own)
    ]
    if lost or sunk > MOST_SUNK:
        return None, lost
    after, bad = _mended(
        ways, before, tools, (replace(before, mesh=mesh, parents=old), new)
    )
    if after is None:
        return None, bad
    return _with_parents(ways, before, after, np.concatenate(owners)), []


def _cut(ways: Ways, before: Refined, tools: list[Tool], owners: list[int]) -> Cut:
    """Cut, as whoever reads the file will see it, without films and crumbs."""
    mesh, old, made_by, _ = taken_away(
        before.mesh,
        [tool.solid for tool in tools],
        owners=owners,
        adds=ways.grows(tools[0].faces),
        unit=before.unit,
    )
    welded = weld(mesh.vertices, mesh.faces)
    mesh = Mesh(welded.points, welded.faces)
    new = ~known_points(mesh.vertices, before.mesh.vertices)
    mesh, kept = _tidied(mesh, new)
    kept = welded.kept[kept]
    return mesh, old[kept], made_by[kept], new


def _mended(
    ways: Ways,
    before: Refined,
    tools: list[Tool],
    cut: tuple[Refined, NDArray[np.bool_]],
) -> tuple[Refined | None, list[int]]:
    """Mend a cut, with its new vertices, until it is sound; or tell which tools do harm."""
    bad: NDArray[np.float64] | None = None
    for after in mended(*cut):
        if bodies_and_holes(after.mesh) != ways.holes:
            continue
        faces = unsound_faces(before, after, needles=True)
        if len(faces) == 0:
            solids = [tool.solid for tool in tools]
            heights = joined_or_parted(before.mesh, after.mesh, solids)
            joined = np.flatnonzero(heights > _JOINED).tolist()
            return (None if joined else after), joined
        if bad is None or len(faces) < len(bad):
            bad = after.mesh.corners[faces]
    return None, [] if bad is None else _nearest(ways, tools, bad)


def _nearest(ways: Ways, tools: list[Tool], corners: NDArray[np.float64]) -> list[int]:
    """Tools whose faces are nearest to some triangles, (k, 3, 3)."""
    from scipy.spatial import cKDTree

    middles, mesh = corners.mean(axis=1), ways.refined.mesh
    trees = [cKDTree(mesh.vertices[mesh.faces[t.faces]].mean(axis=1)) for t in tools]
    away = np.array([tree.query(middles)[0] for tree in trees])
    return [int(k) for k in np.unique(np.argmin(away, axis=0))]


def _own(ways: Ways, before: Refined, tool: Tool) -> NDArray[np.int64]:
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
    """Say of new faces that they are of those there or beside in the nearest planes.

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
    middle = before.mesh.corners[beside].mean(axis=(0, 1))
    planes = cKDTree(planes_of(before.mesh, beside, middle))
    parents = after.parents.copy()
    parents[new] = beside[planes.query(planes_of(after.mesh, new, middle))[1]]
    return replace(before, mesh=after.mesh, parents=before.parents[parents])
