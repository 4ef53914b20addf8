"""Apply a plan to a part: refine, shift, flatten, and guard what comes out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.charts import Charts, charts_of, made_anew
from meshcomp.compensation.flattening import flattened
from meshcomp.compensation.guard import unsound_pairs
from meshcomp.compensation.holding import Holding, held_more, nothing_held
from meshcomp.compensation.limits import limited, places_at, places_of_contact
from meshcomp.compensation.refining import Refined, refine
from meshcomp.compensation.shifting import displacements
from meshcomp.compensation.targets import is_sized, targets
from meshcomp.compensation.volumes import VolumeChange, predicted_change
from meshcomp.contacts import touching_faces
from meshcomp.errors import UnsoundResultError
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Plan
from meshcomp.printer_axes import PrinterAxes
from meshcomp.results import Compensated, Limit
from meshcomp.segmentation import Regions, planar_regions
from meshcomp.topology import bodies_of, topology_of

__all__ = ["compensate"]

_TRIES = 24
_CONTACT_GAP = 0.001  # mm


def compensate(inspection: Inspection, plan: Plan) -> Compensated:
    """Reshape a part as planned.

    Cylinders get their planned diameter, every other wall its offset; heights do not
    change, and vertices of which nothing is asked keep their coordinates to the last
    bit. Where faces would turn over or cross, the offset is halved there and tried again.
    Errors of the printer's axes, if the plan has any, are undone at the very end: they
    act on all that is drawn, walls that have grown included.

    Parameters
    ----------
    inspection : Inspection
        The part and its features.
    plan : Plan
        What to do to each of them.

    Raises
    ------
    UnsoundResultError
        If no clean mesh is found within the tries, with the place.

    Examples
    --------
    >>> import meshcomp
    >>> found = meshcomp.inspect(meshcomp.demo_part("shaft_spacer"))
    >>> wider = meshcomp.plan(found, meshcomp.ByHand(bore_opening=0.2))
    >>> result = meshcomp.compensate(found, wider)
    >>> [f"{c.nominal_size:.3f}" for c in meshcomp.inspect(result.part).cylinders]
    ['8.200', '12.000']
    """
    regions = planar_regions(inspection.part.mesh, topology_of(inspection.part.mesh))
    result, limits, change = _guarded(inspection, plan, regions)
    if plan.axes is not None:
        result = replace(result, mesh=_undone(result.mesh, plan.axes))
    return Compensated(
        part=inspection.part.with_mesh(result.mesh, result.parents),
        plan=plan,
        parents=result.parents,
        limits=limits,
        predicted_volume_change=change.net,
        moved_volume=change.moved,
    )


def _undone(mesh: Mesh, axes: PrinterAxes) -> Mesh:
    """Ask for what the printer's axes draw as the mesh, in 32 bits as it is written."""
    return mesh.moved(axes.undone(mesh.vertices).astype(np.float32).astype(np.float64))


def _guarded(
    inspection: Inspection, plan: Plan, regions: Regions
) -> tuple[Refined, tuple[Limit, ...], VolumeChange]:
    """Move, look, hold back, and move again, until the mesh is sound."""
    mesh = inspection.part.mesh
    touching = _in_contact(inspection, plan)
    places = places_of_contact(inspection, touching)
    holding = nothing_held(len(mesh.vertices), len(inspection.features))
    holding.cylinders[list(places)] = 0.0
    holding.coarse[list(places)] = True
    refined = _refined(inspection, plan, holding)
    charts = charts_of(regions, refined)
    change: VolumeChange | None = None
    for _ in range(_TRIES):
        wanted = targets(inspection, plan, refined, holding.cylinders, touching)
        d = displacements(refined.mesh, charts.planes.face_normals[refined.parents], wanted)
        if change is None:
            change = predicted_change(inspection, plan, refined, wanted, d)
        result, of_face, changed = _moved(charts, refined, d, holding.vertices)
        pairs, reason = unsound_pairs(mesh, regions, result, changed)
        if len(pairs) == 0:
            went = d[: len(mesh.vertices)] * holding.vertices[:, None]
            limits = limited(inspection, plan, holding, places, went)
            return _used(result), limits, change
        charts, known = made_anew(charts, of_face[pairs])
        corners = result.mesh.faces[pairs[known]].reshape(-1, 6)
        if len(corners) == 0:
            continue
        places = {**places_at(corners, refined, wanted, reason), **places}
        before = holding
        holding = held_more(holding, refined.mesh, wanted, corners, _largest(plan))
        if (holding.coarse & ~before.coarse).any():
            refined = _refined(inspection, plan, holding)
            charts = charts_of(regions, refined)
    x, y, z = inspection.part.stand.to_file(result.mesh.corners[pairs[0, 0]].mean(axis=0))
    raise UnsoundResultError(
        f"{inspection.part.name}: no clean mesh within {_TRIES} tries: {len(pairs)} "
        f"{reason} near ({x:.3f}, {y:.3f}, {z:.3f}) mm: give a smaller offset, or keep the "
        "features there with --keep ID"
    )


def _refined(inspection: Inspection, plan: Plan, holding: Holding) -> Refined:
    """Split the facets of all cylinders that are to change."""
    rows = zip(inspection.features, plan.corrections, holding.coarse, strict=True)
    return refine(
        inspection.part.mesh,
        [
            feature
            for feature, correction, coarse in rows
            if is_sized(feature, correction) and not (correction.is_left_alone or coarse)
        ],
    )


def _in_contact(inspection: Inspection, plan: Plan) -> NDArray[np.bool_]:
    """Faces that another body lies against, or would once both have grown, (m,)."""
    growth = max((c.offset for c in plan.corrections if not c.is_left_alone), default=0.0)
    mesh = inspection.part.mesh
    if inspection.solid.bodies == 1:
        return np.zeros(len(mesh.faces), dtype=bool)
    return touching_faces(mesh, bodies_of(mesh), _CONTACT_GAP + 2 * max(growth, 0.0))


def _largest(plan: Plan) -> float:
    """Largest motion asked of any surface, mm."""
    return max((abs(c.offset) for c in plan.corrections), default=0.0)


def _moved(
    charts: Charts, refined: Refined, d: NDArray[np.float64], share: NDArray[np.float64]
) -> tuple[Refined, NDArray[np.int64], NDArray[np.bool_]]:
    """Move the vertices, make worn regions anew; tell regions, and which faces changed."""
    mesh = refined.mesh
    d = d.copy()
    d[: len(share)] *= share[:, None]
    # What will be written has 32 bits: what is judged has them too.
    rounded = (mesh.vertices + d).astype(np.float32).astype(np.float64)
    shifted = np.where(d != 0, rounded, mesh.vertices)
    new = np.arange(len(mesh.vertices)) >= refined.old_vertices
    shifted[new] = rounded[new]
    changed = (d != 0).any(axis=1) | new
    touched = changed[mesh.faces].any(axis=1)
    flat, of_face, fresh = flattened(refined, mesh.moved(shifted), charts, touched)
    return flat, of_face, changed[flat.mesh.faces].any(axis=1) | fresh


def _used(refined: Refined) -> Refined:
    """Drop vertices of no face."""
    used = np.zeros(len(refined.mesh.vertices), dtype=bool)
    used[refined.mesh.faces] = True
    place = np.cumsum(used) - 1
    return replace(
        refined, mesh=Mesh(refined.mesh.vertices[used], place[refined.mesh.faces])
    )
