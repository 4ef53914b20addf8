"""The foot of a part, feature by feature: what may be drawn in, and what could not be."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.feet import FootResult, draw_in
from meshcomp.compensation.limits import CONTACT, CONTACT_GAP, limit_at
from meshcomp.compensation.refining import Refined
from meshcomp.contacts import touching_faces
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Foot, Plan
from meshcomp.results import Limit
from meshcomp.topology import bodies_of

__all__ = ["foot_drawn_in"]

_CROSSING = "its foot, drawn in by that much, would cross a neighbour"


def foot_drawn_in(
    inspection: Inspection, plan: Plan, foot: Foot, reshaped: Refined
) -> tuple[FootResult, tuple[Limit, ...]]:
    """Draw in the foot of a reshaped part, and name the features where less was.

    Parameters
    ----------
    inspection, plan
        Features and their corrections, in the same order.
    foot : Foot
        By how much and up to which height.
    reshaped : Refined
        The part after its offsets, and the inspected face that each face came from.

    Returns
    -------
    result : FootResult
    limits : tuple of Limit
    """
    mesh, parents = reshaped.mesh, reshaped.parents
    asked = _asked(inspection, plan, foot)[parents]
    touching = asked & _in_contact(inspection, mesh)
    result = draw_in(mesh, asked & ~touching, foot)
    reach = mesh.bounds[0, 2] + foot.height
    stuck = np.flatnonzero(touching & (mesh.corners[..., 2].min(axis=1) < reach))
    held = np.concatenate([stuck, result.held])
    share = np.concatenate([np.zeros(len(stuck)), result.share])
    reasons = np.repeat([CONTACT, _CROSSING], [len(stuck), len(result.held)])
    limits = []
    for feature in inspection.features:
        mine = np.flatnonzero(np.isin(parents[held], feature.faces))
        if len(mine):
            least = mine[np.argmin(share[mine])]
            used = -foot.growth * float(share[least])
            place = (mesh.corners[held[least]].mean(axis=0), str(reasons[least]))
            limits.append(limit_at(inspection, feature, (-foot.growth, used), place))
    return result, tuple(limits)


def _asked(inspection: Inspection, plan: Plan, foot: Foot) -> NDArray[np.bool_]:
    """Faces whose foot may be drawn in, (m,): outside ones, but for features kept."""
    faces = np.zeros(len(inspection.part.mesh.faces), dtype=bool)
    for feature, correction in zip(inspection.features, plan.corrections, strict=True):
        if not correction.is_kept and (foot.opens_bores or not feature.is_internal):
            faces[feature.faces] = True
    return faces


def _in_contact(inspection: Inspection, mesh: Mesh) -> NDArray[np.bool_]:
    """Faces that another body lies against, (m,): they stay, as they do in offsets."""
    if inspection.solid.bodies == 1:
        return np.zeros(len(mesh.faces), dtype=bool)
    return touching_faces(mesh, bodies_of(mesh), CONTACT_GAP)
