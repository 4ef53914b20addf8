"""How far the faces of walls that were held back still have to go."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import any_of, dot, highest, lengths, unit
from meshcomp.compensation.holding import Holding
from meshcomp.compensation.limits import HELD, TANGLED, Place
from meshcomp.compensation.refining import Refined
from meshcomp.compensation.shifting import displacements
from meshcomp.compensation.targets import Targets, is_sized, targets
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Plan
from meshcomp.segmentation import Regions
from meshcomp.topology import components

__all__ = ["Short", "Ways", "mean_widths", "ways_of"]

_NOTHING = 1e-6  # mm
_BENT = 1e-3  # mm, that a face may be off its plane
_SHARE = 0.05  # of a plane's area: what may be bent beside faces that are held
_LEVEL = np.array([1.0, 1.0, 0.0])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Short:
    """What was moved, and how far it was held back."""

    refined: Refined  # before anything moves
    planes: Regions  # of the inspected mesh
    touching: NDArray[np.bool_]  # (m,) inspected faces that may not move
    holding: Holding
    places: dict[int, Place]  # by feature, where it had to be held back
    wanted: Targets  # with what cylinders were held to
    d: NDArray[np.float64]  # (n, 3) mm, of which vertices made their shares

    @property
    def went(self) -> NDArray[np.float64]:
        """How far each vertex of the refined mesh went, (n, 3) mm."""
        went = self.d.copy()
        went[: len(self.holding.vertices)] *= self.holding.vertices[:, None]
        return went


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Ways:
    """Faces that are not where they should be, in groups that hang together."""

    refined: Refined
    wanted: Targets
    d: NDArray[np.float64]  # (n, 3) mm, all the way
    is_short: NDArray[np.bool_]  # (n,) vertices that did not make it
    groups: tuple[NDArray[np.int64], ...]  # refined faces; each all grow, or all shrink
    beside: tuple[NDArray[np.int64], ...]  # the same of what is bent beside those
    is_bore: NDArray[np.bool_]  # (m,) refined faces
    holes: tuple[int, int]  # bodies of the part, and holes through them
    regions: NDArray[np.int64]  # (m,) plane of each refined face
    of_parent: NDArray[np.int64]  # (i,) plane of each inspected face
    widths: NDArray[np.float64]  # (k,) mean width of each plane, mm

    def grows(self, faces: NDArray[np.int64]) -> bool:
        """Whether faces of a group move outward."""
        return bool(self.wanted.offset[faces[0]] > 0)

    def in_planes_of(
        self, faces: NDArray[np.int64], parents: NDArray[np.int64]
    ) -> NDArray[np.bool_]:
        """Whether faces with some parents, (j,), -1 for none, lie in planes of others.

        Where a plane was triangulated anew, its faces have one parent, whichever it is.
        """
        planes = np.where(parents < 0, -1, self.of_parent[parents])
        return np.asarray(np.isin(planes, self.regions[faces]))

    def swept(self, faces: NDArray[np.int64], back: float) -> NDArray[np.float64]:
        """Corners of what faces sweep, (k, 6, 3): from a little before to their goals.

        They begin `back` before, mm; those that come to nothing on their way end there.
        """
        corners = self.refined.mesh.faces[faces]
        places, ways = self.refined.mesh.vertices[corners], self.d[corners]
        share = back / np.abs(self.wanted.offset[faces])
        begins = places - ways * share[:, None, None]
        ends = places + ways * self.lives(faces)[:, None, None]
        return np.concatenate([begins, ends], axis=1)

    def goals(self, faces: NDArray[np.int64]) -> NDArray[np.float64]:
        """Corners of faces where they are to be, (k, 3, 3) mm."""
        corners = self.refined.mesh.faces[faces]
        return np.asarray(self.refined.mesh.vertices[corners] + self.d[corners])

    def lives(self, faces: NDArray[np.int64]) -> NDArray[np.float64]:
        """Share of its way, (k,), after which a face has come to nothing; 1 for most.

        The area along the normal goes with the square of the share: 1 + b t + c t².
        """
        places, ways = self.goals(faces), self.d[self.refined.mesh.faces[faces]]
        first, half, last = (_areas(places - (1 - t) * ways) for t in (0.0, 0.5, 1.0))
        whole = np.maximum(dot(first, first), 1e-300)
        middle, end = dot(half, first) / whole, dot(last, first) / whole
        b, c = 4 * middle - end - 3, 2 * end - 4 * middle + 2
        root = np.sqrt(np.maximum(b * b - 4 * c, 0.0))
        # The first of both roots, written so that nothing cancels.
        share = np.where(b < root, 2 / np.maximum(root - b, 1e-300), 1.0)
        dies = (end <= 0) | ((b * b >= 4 * c) & (share > 0) & (share < 1))
        return np.where(dies, np.clip(share, 0.0, 1.0), 1.0)


def _areas(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Area vectors of triangles, (k, 3, 3) to (k, 3) mm²."""
    a, b, c = np.moveaxis(corners, 1, 0)
    return np.asarray(np.cross(b - a, c - a) / 2)


def ways_of(inspection: Inspection, plan: Plan, short: Short, before: Refined) -> Ways:
    """Find the faces of walls and bosses that did not get to their places.

    Bores are not among them (`boring` cuts those), nor is what lies against another body
    or crossed other faces before.

    Parameters
    ----------
    inspection, plan
        Features and their corrections, in the same order.
    short : Short
        How far all went.
    before : Refined
        What came of that: the mesh to be cut, with inspected faces as parents.
    """
    refined, mesh = short.refined, short.refined.mesh
    wanted, d = _all_the_way(inspection, plan, short)
    is_short = highest(np.abs(d - short.went)) > _NOTHING
    internal = np.array([getattr(f, "is_internal", False) for f in inspection.features])
    asked = (wanted.feature >= 0) & (wanted.offset != 0)
    is_bore = wanted.is_round & np.append(internal, False)[wanted.feature]
    asked &= ~is_bore
    asked &= ~np.append(_tangled(short, len(internal)), False)[wanted.feature]
    regions = short.planes.of_face[refined.parents]
    held = asked & any_of(is_short[mesh.faces])
    bent = _bent_planes(short, wanted, held & ~wanted.is_round, before)
    beside = asked & ~held & bent[regions]
    return Ways(
        refined=refined,
        wanted=wanted,
        d=d,
        is_short=is_short,
        groups=_groups(mesh, held, wanted.offset > 0),
        beside=_groups(mesh, beside, wanted.offset > 0),
        is_bore=is_bore,
        holes=(inspection.solid.bodies, inspection.solid.genus),
        regions=regions,
        of_parent=short.planes.of_face,
        widths=mean_widths(mesh, regions),
    )


def _bent_planes(
    short: Short, wanted: Targets, held: NDArray[np.bool_], before: Refined
) -> NDArray[np.bool_]:
    """Planes of which much more is bent than the faces that are held, (k,).

    Where a plane was triangulated anew, a corner that is held bends what it is of now.
    """
    of_face, mesh = short.planes.of_face, short.refined.mesh
    regions = of_face[short.refined.parents]
    count = len(short.planes.areas)
    asked = np.bincount(regions, held * lengths(mesh.area_vectors), count)
    first = np.zeros(count, dtype=np.int64)
    first[regions[held]] = np.flatnonzero(held)
    normals = short.planes.normals
    ahead = normals * _LEVEL
    goals = (
        mesh.vertices[mesh.faces[first, 0]] + unit(ahead) * wanted.offset[first][:, None]
    )
    now = of_face[before.parents]
    away = dot(before.mesh.corners - goals[now][:, None], normals[now][:, None])
    is_off = highest(np.abs(away)) > _BENT
    areas = lengths(before.mesh.area_vectors)
    off = np.bincount(now, areas * is_off, count)
    return np.asarray((asked > 0) & (off - asked > _SHARE * short.planes.areas))


def mean_widths(mesh: Mesh, regions: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return the mean width of each region, (k,) mm: its area by the diagonal of its box.

    Parameters
    ----------
    mesh : Mesh
    regions : (m,) int
        Region of each face; each has one.
    """
    order = np.argsort(regions, kind="stable")
    firsts = np.flatnonzero(np.diff(regions[order], prepend=-1))
    corners = mesh.corners[order]
    low = np.minimum.reduceat(corners.min(axis=1), firsts, axis=0)
    high = np.maximum.reduceat(corners.max(axis=1), firsts, axis=0)
    spans = np.maximum(lengths(high - low), 1e-12)
    areas = np.bincount(regions, lengths(mesh.area_vectors))
    return np.asarray(areas / spans)


def _all_the_way(
    inspection: Inspection, plan: Plan, short: Short
) -> tuple[Targets, NDArray[np.float64]]:
    """Return what faces are asked, and vertices, (n, 3) mm, where no boss is held."""
    shares = short.holding.cylinders.copy()
    shares[_free(inspection, plan, short)] = 1.0
    if (shares == short.holding.cylinders).all():
        return short.wanted, short.d
    wanted = targets(inspection, plan, short.refined, shares, short.touching)
    normals = short.planes.face_normals[short.refined.parents]
    return wanted, displacements(short.refined.mesh, normals, wanted)


def _free(inspection: Inspection, plan: Plan, short: Short) -> list[int]:
    """Bosses that may go all the way after all."""
    rows = zip(inspection.features, plan.corrections, strict=True)
    return [
        index
        for index, (feature, correction) in enumerate(rows)
        if is_sized(feature, correction)
        and not feature.is_internal
        and short.places.get(index, (None, ""))[1] not in HELD
    ]


def _tangled(short: Short, count: int) -> NDArray[np.bool_]:
    """Features with faces that crossed others before, (count,)."""
    tangled = np.zeros(count, dtype=bool)
    tangled[[k for k, (_, reason) in short.places.items() if reason == TANGLED]] = True
    return tangled


def _groups(
    mesh: Mesh, asked: NDArray[np.bool_], grows: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], ...]:
    """Part some faces, (m,), into those that share vertices and move one way."""
    rows = np.flatnonzero(asked)
    corners, grows = mesh.faces[rows], grows[rows]
    if len(rows) == 0:
        return ()
    nodes = corners + grows[:, None] * (int(corners.max()) + 1)
    names, first = np.unique(nodes, return_inverse=True)
    nodes = first.reshape(-1, 3)
    pairs = np.concatenate([nodes[:, :2], nodes[:, 1:]])
    labels = components(len(names), pairs)[nodes[:, 0]]
    order = np.argsort(labels, kind="stable")
    ends = np.flatnonzero(np.diff(labels[order])) + 1
    return tuple(np.split(rows[order], ends))
