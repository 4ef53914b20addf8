"""Move every wall of a part by its planned offset, and nothing beyond what stays sound."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot
from meshcomp.compensation.carving import Short, can_be_cut
from meshcomp.compensation.charts import Charts, charts_of, made_anew
from meshcomp.compensation.crowding import joined_otherwise
from meshcomp.compensation.guard import unsound_pairs
from meshcomp.compensation.holding import Holding, held_more, held_still, nothing_held
from meshcomp.compensation.limits import (
    CONTACT_GAP,
    CROWDED,
    TANGLED,
    Place,
    limited,
    places_at,
    places_of_contact,
    places_of_vanishing,
)
from meshcomp.compensation.looking import Looked
from meshcomp.compensation.lying import edge_angles, farthest_offset
from meshcomp.compensation.moving import moved_by
from meshcomp.compensation.refining import Refined, refine
from meshcomp.compensation.shifting import displacements
from meshcomp.compensation.tangles import (
    held_at_tangles,
    with_crossing_alone,
    worse_tangled,
)
from meshcomp.compensation.targets import Targets, is_sized, targets
from meshcomp.compensation.volumes import Moved, VolumeChange, predicted_change
from meshcomp.contacts import touching_faces
from meshcomp.errors import UnsoundResultError
from meshcomp.files.precision import unit_held
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Plan
from meshcomp.results import Limit
from meshcomp.segmentation import Regions, planar_regions
from meshcomp.topology import bodies_of, topology_of
from meshcomp.triangulating import Known

__all__ = ["Offset", "offset_walls"]

_LARGE = 200_000  # faces
_TRIES = 24
_LAST_TRIES = 18  # after which all stands still within ever more rings of edges
_PATIENCE = 8  # tries after which a ring more of neighbours is held as well


class Offset(NamedTuple):
    """A part whose walls have moved."""

    result: Refined  # the moved mesh, and the inspected face that each face came from
    limits: tuple[Limit, ...]  # what had to be held back
    change: VolumeChange  # to be expected
    short: Short  # how far all went


def offset_walls(
    inspection: Inspection, plan: Plan, joints: NDArray[np.bool_] | None = None
) -> Offset:
    """Move every wall by its offset: look, hold back, and move again, until it is sound.

    Parameters
    ----------
    inspection, plan
        Features and their corrections, in the same order.
    joints : (m,) bool, optional
        Faces that stand still, since another side of the part lies against them.

    Returns
    -------
    Offset

    Raises
    ------
    UnsoundResultError
        If no clean mesh is found within the tries, with the place.
    """
    work = _begun(inspection, plan, joints)
    change: VolumeChange | None = None
    for attempt in range(_TRIES + _LAST_TRIES):
        result, of_face, changed = work.moved()
        if change is None:  # of all that is asked, before anything is held back
            moved = Moved(work.d, result.mesh, of_face, work.charts)
            change = predicted_change(inspection, plan, work.refined, work.wanted, moved)
        pairs, reason = work.faults(result, changed)
        if len(pairs) == 0:
            whole = replace(result, mesh=result.mesh.compact())
            return Offset(whole, work.limits(), change, work.short())
        if reason == TANGLED:
            work.hold_tangles(pairs, result.mesh)
        else:
            work.hold(pairs, of_face[pairs], result.mesh, (reason, attempt))
    x, y, z = inspection.part.stand.to_file(result.mesh.corners[pairs[0, 0]].mean(axis=0))
    raise UnsoundResultError(
        f"{inspection.part.name}: no clean mesh within {_TRIES + _LAST_TRIES} tries: "
        f"{reason} near ({x:.3f}, {y:.3f}, {z:.3f}) mm: give a smaller offset, or keep the "
        "features there with --keep ID"
    )


@dataclass(slots=True, eq=False)
class _Work:
    """What is asked, what is held so far, and the mesh to be moved by it."""

    inspection: Inspection
    plan: Plan
    touching: NDArray[np.bool_]  # (m,) faces that may not move
    places: dict[int, Place]  # by feature, where it had to be held back
    holding: Holding
    regions: Regions  # planes of the inspected mesh
    planes: Regions  # of what is triangulated anew
    refined: Refined
    charts: Charts
    wanted: Targets
    d: NDArray[np.float64]  # (n, 3) mm
    known: Known
    looked: Looked
    tangles: int = 0  # how often planes that crossed before were worse

    def moved(self) -> tuple[Refined, NDArray[np.int64], NDArray[np.bool_]]:
        """Move as far as what is held allows."""
        return moved_by(
            self.charts, self.refined, self.d, self.holding.vertices, self.known
        )

    def faults(
        self, result: Refined, changed: NDArray[np.bool_]
    ) -> tuple[NDArray[np.int64], str]:
        """Find pairs of faces that make the moved mesh unsound, and say why."""
        mesh = self.inspection.part.mesh
        reach = float(np.sqrt(dot(self.d, self.d).max(initial=0.0)))
        pairs, reason = unsound_pairs(
            mesh, self.regions, result, changed, reach, self.looked
        )
        if len(pairs):
            return pairs, reason
        pairs = worse_tangled(mesh, self.regions, result, self.looked.old)
        if len(pairs) or not self.may_crowd:
            return pairs, TANGLED
        solid, before = self.inspection.solid, self.refined.mesh
        return joined_otherwise(solid, before, result.mesh), CROWDED

    @property
    def may_crowd(self) -> bool:
        """Whether surfaces may come to touch: where they did, or crossed, already."""
        solid, topology = self.inspection.solid, topology_of(self.inspection.part.mesh)
        return solid.bodies > 1 or topology.crowded > 0 or len(self.looked.old) > 0

    def short(self) -> Short:
        """Tell how far all went."""
        return Short(
            refined=self.refined,
            planes=self.regions,
            touching=self.touching,
            holding=self.holding,
            places=self.places,
            wanted=self.wanted,
            d=self.d,
        )

    def limits(self) -> tuple[Limit, ...]:
        """Tell what was held back."""
        inspection, holding = self.inspection, self.holding
        went = self.d[: len(holding.vertices)] * holding.vertices[:, None]
        return limited(inspection, self.plan, holding, self.places, went)

    def hold(
        self,
        pairs: NDArray[np.int64],
        of_pairs: NDArray[np.int64],
        moved: Mesh,
        why: tuple[str, int],
    ) -> None:
        """Make the regions of unsound pairs anew, or hold more; `why` ends in the try."""
        reason, attempt = why
        self.charts, known = made_anew(self.charts, of_pairs)
        corners = moved.faces[pairs[known]].reshape(-1, 6)
        if len(corners) == 0:
            return
        holding, mesh, most = self.holding, self.refined.mesh, self._most
        if attempt < _TRIES:
            rings = attempt // _PATIENCE
            more = held_more(holding, mesh, self.wanted, corners, most, rings)
        else:
            rings = 2 ** (attempt - _TRIES)
            more = held_still(holding, mesh, self.wanted, corners.ravel(), most, rings)
        self._take(more, corners, reason)

    def hold_tangles(self, pairs: NDArray[np.int64], moved: Mesh) -> None:
        """Leave faces that crossed before as they are; then hold more there."""
        self.tangles += 1
        if self.tangles == 1:
            self.planes = with_crossing_alone(self.inspection.part.mesh, self.regions)
            self.charts, self.known = charts_of(self.planes, self.refined), Known()
            self.looked.forget()
            return
        surface = self.refined, self.regions, moved
        more, corners = held_at_tangles(
            self.holding, surface, self.wanted, pairs, self._most, self.tangles
        )
        self._take(more, corners, TANGLED)

    @property
    def _most(self) -> float:
        return _largest(self.inspection, self.plan)

    def _take(self, holding: Holding, corners: NDArray[np.int64], reason: str) -> None:
        """Hold more, and work out anew what follows from it."""
        at = places_at(corners, self.refined, self.wanted, reason)
        self.places = {**at, **self.places}
        before, self.holding = self.holding, holding
        if (holding.coarse & ~before.coarse).any():
            self.refined = _refined(self.inspection, self.plan, holding)
            self.charts = charts_of(self.planes, self.refined)
            self.looked.forget()
        elif (holding.cylinders == before.cylinders).all():
            return
        surface = self.refined, self.charts
        self.wanted, self.d = _asked(
            self.inspection, self.plan, surface, holding, self.touching
        )


def _begun(inspection: Inspection, plan: Plan, joints: NDArray[np.bool_] | None) -> _Work:
    """Ask all that is planned, but of what may not move at all."""
    mesh = inspection.part.mesh
    regions = planar_regions(mesh, topology_of(mesh))
    touching = _in_contact(inspection, plan)
    if joints is not None:
        touching |= joints
    vanishing = places_of_vanishing(inspection, plan)
    for index in vanishing:
        touching[inspection.features[index].faces] = True
    places = {**places_of_contact(inspection, touching), **vanishing}
    holding = nothing_held(len(mesh.vertices), _undivided(inspection, plan))
    holding.cylinders[list(places)] = 0.0
    holding.coarse[list(places)] = True
    refined = _refined(inspection, plan, holding)
    charts = charts_of(regions, refined)
    wanted, d = _asked(inspection, plan, (refined, charts), holding, touching)
    return _Work(
        inspection=inspection,
        plan=plan,
        touching=touching,
        places=places,
        holding=holding,
        regions=regions,
        planes=regions,
        refined=refined,
        charts=charts,
        wanted=wanted,
        d=d,
        known=Known(),
        looked=Looked(),
    )


def _undivided(inspection: Inspection, plan: Plan) -> NDArray[np.bool_]:
    """Mark bores of large meshes that will be cut to size: tries take long there."""
    is_large = len(inspection.part.mesh.faces) > _LARGE
    rows = zip(inspection.features, plan.corrections, strict=True)
    return np.array([is_large and can_be_cut(*row) for row in rows], dtype=bool)


def _asked(
    inspection: Inspection,
    plan: Plan,
    surface: tuple[Refined, Charts],
    holding: Holding,
    touching: NDArray[np.bool_],
) -> tuple[Targets, NDArray[np.float64]]:
    """Return what faces and vertices are asked, and how far each vertex is to go."""
    refined, charts = surface
    wanted = targets(inspection, plan, refined, holding.cylinders, touching)
    normals = charts.planes.face_normals[refined.parents]
    return wanted, displacements(refined.mesh, normals, wanted)


def _refined(inspection: Inspection, plan: Plan, holding: Holding) -> Refined:
    """Split the facets of all cylinders that are to change."""
    rows = zip(inspection.features, plan.corrections, holding.coarse, strict=True)
    changed = [
        (feature, correction)
        for feature, correction, coarse in rows
        if is_sized(feature, correction) and not (correction.is_left_alone or coarse)
    ]
    edges = {
        feature.id: edge_angles(feature, correction.lying)
        for feature, correction in changed
        if is_sized(feature, correction)
    }
    part = inspection.part
    refined = refine(part.mesh, [feature for feature, _ in changed], edges)
    return replace(refined, unit=unit_held(part))


def _in_contact(inspection: Inspection, plan: Plan) -> NDArray[np.bool_]:
    """Faces that another body lies against, or would once both have grown, (m,)."""
    growth = max((c.offset for c in plan.corrections if not c.is_left_alone), default=0.0)
    mesh = inspection.part.mesh
    if inspection.solid.bodies == 1:
        return np.zeros(len(mesh.faces), dtype=bool)
    return touching_faces(mesh, bodies_of(mesh), CONTACT_GAP + 2 * max(growth, 0.0))


def _largest(inspection: Inspection, plan: Plan) -> float:
    """Largest motion asked of any surface, mm."""
    rows = zip(inspection.features, plan.corrections, strict=True)
    asked = [
        farthest_offset(feature, correction)
        if is_sized(feature, correction)
        else correction.offset
        for feature, correction in rows
    ]
    return max(map(abs, asked), default=0.0)
