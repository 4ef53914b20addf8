"""Move every wall of a part by its planned offset, and nothing beyond what stays sound."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot
from meshcomp.compensation.charts import Charts, charts_of, made_anew
from meshcomp.compensation.guard import unsound_pairs
from meshcomp.compensation.holding import Holding, held_more, nothing_held
from meshcomp.compensation.limits import (
    CONTACT_GAP,
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
from meshcomp.compensation.targets import Targets, is_sized, targets
from meshcomp.compensation.volumes import Moved, VolumeChange, predicted_change
from meshcomp.contacts import touching_faces
from meshcomp.errors import UnsoundResultError
from meshcomp.inspections import Inspection
from meshcomp.plans import Plan
from meshcomp.results import Limit
from meshcomp.segmentation import planar_regions
from meshcomp.topology import bodies_of, topology_of
from meshcomp.triangulating import Known

__all__ = ["offset_walls"]

_TRIES = 24
_PATIENCE = 8  # tries after which a ring more of neighbours is held as well


def offset_walls(
    inspection: Inspection, plan: Plan
) -> tuple[Refined, tuple[Limit, ...], VolumeChange]:
    """Move every wall by its offset: look, hold back, and move again, until it is sound.

    Returns
    -------
    result : Refined
        The moved mesh, and the inspected face that each face came from.
    limits : tuple of Limit
        What had to be held back.
    change : VolumeChange
        The change of volume to be expected.

    Raises
    ------
    UnsoundResultError
        If no clean mesh is found within the tries, with the place.
    """
    mesh = inspection.part.mesh
    regions = planar_regions(mesh, topology_of(mesh))
    touching = _in_contact(inspection, plan)
    vanishing = places_of_vanishing(inspection, plan)
    for index in vanishing:
        touching[inspection.features[index].faces] = True
    places = {**places_of_contact(inspection, touching), **vanishing}
    holding = nothing_held(len(mesh.vertices), len(inspection.features))
    holding.cylinders[list(places)] = 0.0
    holding.coarse[list(places)] = True
    refined = _refined(inspection, plan, holding)
    charts = charts_of(regions, refined)
    wanted, d = _asked(inspection, plan, (refined, charts), holding, touching)
    change: VolumeChange | None = None
    made_before, looked = Known(), Looked()
    for attempt in range(_TRIES):
        share = holding.vertices
        result, of_face, changed = moved_by(charts, refined, d, share, made_before)
        if change is None:  # of all that is asked, before anything is held back
            moved = Moved(d, result.mesh, of_face, charts)
            change = predicted_change(inspection, plan, refined, wanted, moved)
        reach = float(np.sqrt(dot(d, d).max(initial=0.0)))
        pairs, reason = unsound_pairs(mesh, regions, result, changed, reach, looked)
        if len(pairs) == 0:
            went = d[: len(mesh.vertices)] * holding.vertices[:, None]
            limits = limited(inspection, plan, holding, places, went)
            return replace(result, mesh=result.mesh.compact()), limits, change
        charts, known = made_anew(charts, of_face[pairs])
        corners = result.mesh.faces[pairs[known]].reshape(-1, 6)
        if len(corners) == 0:
            continue
        places = {**places_at(corners, refined, wanted, reason), **places}
        before = holding
        most, rings = _largest(inspection, plan), attempt // _PATIENCE
        holding = held_more(holding, refined.mesh, wanted, corners, most, rings)
        if (holding.coarse & ~before.coarse).any():
            refined = _refined(inspection, plan, holding)
            charts = charts_of(regions, refined)
            looked.forget()
        elif (holding.cylinders == before.cylinders).all():
            continue
        wanted, d = _asked(inspection, plan, (refined, charts), holding, touching)
    x, y, z = inspection.part.stand.to_file(result.mesh.corners[pairs[0, 0]].mean(axis=0))
    raise UnsoundResultError(
        f"{inspection.part.name}: no clean mesh within {_TRIES} tries: {len(pairs)} "
        f"{reason} near ({x:.3f}, {y:.3f}, {z:.3f}) mm: give a smaller offset, or keep the "
        "features there with --keep ID"
    )


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
    return refine(inspection.part.mesh, [feature for feature, _ in changed], edges)


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
