"""Which features had to be held back, by how much, where and why."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import any_of, dot, lengths, unit
from meshcomp.compensation.holding import Holding
from meshcomp.compensation.lying import farthest_offset
from meshcomp.compensation.refining import SAGITTA, Refined
from meshcomp.compensation.targets import Targets, is_sized
from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Correction, Plan
from meshcomp.results import Limit

__all__ = [
    "BROUGHT",
    "CONTACT",
    "CONTACT_GAP",
    "CROWDED",
    "HELD",
    "TANGLED",
    "Place",
    "limit_at",
    "limited",
    "mostly_bent",
    "places_at",
    "places_of_contact",
    "places_of_vanishing",
]

_BENT = 0.001  # mm: what a straight wall may be off
_OFF = 0.005  # mm: what any wall may be off and still be in its place
_SLOPING = 2e-3  # vertical part of a normal: more is no upright wall
_SHOWN = 0.01  # of the volume that all walls are asked to sweep
_BESIDE = "a neighbour is held back"
_BENDS = "a neighbour that moves otherwise bends it"
CONTACT = "another body lies against it, or would"
CONTACT_GAP = 0.001  # mm
TANGLED = "it crosses other faces already, and would with more of its own"
CROWDED = "faces would come to touch along an edge"
_VANISHES = "nothing would be left of it"
HELD = (CONTACT, _VANISHES)  # altogether, from the start
MOST_SUNK = 0.05  # mm, that a bore that is cut to size may take off an end of the part
BROUGHT = "faces would cross: brought to its place, what lies beside does not follow"
CUT = "faces would cross: cut to size, what lies about its rims does not follow"


Place = tuple[NDArray[np.float64], str]  # where, mm, in the bed's frame, and why


def places_at(
    corners: NDArray[np.int64], refined: Refined, wanted: Targets, reason: str
) -> dict[int, Place]:
    """Features with a vertex at unsound faces, each with one such place."""
    bad = np.zeros(len(refined.mesh.vertices), dtype=bool)
    bad[corners.ravel()] = True
    faces = np.flatnonzero(any_of(bad[refined.mesh.faces]) & (wanted.feature >= 0))
    features, first = np.unique(wanted.feature[faces], return_index=True)
    places = refined.mesh.faces[faces[first]]
    at = np.argmax(bad[places], axis=1)
    points = refined.mesh.vertices[places[np.arange(len(at)), at]]
    return {
        int(feature): (point, reason)
        for feature, point in zip(features, points, strict=True)
    }


def places_of_contact(
    inspection: Inspection, touching: NDArray[np.bool_]
) -> dict[int, Place]:
    """Features with faces that another body lies against, each with one such place."""
    corners = inspection.part.mesh.corners
    return {
        index: (corners[feature.faces[touching[feature.faces]][0], 0], CONTACT)
        for index, feature in enumerate(inspection.features)
        if touching[feature.faces].any()
    }


def places_of_vanishing(inspection: Inspection, plan: Plan) -> dict[int, Place]:
    """Features with faces of their own of which nothing would be left, with a place."""
    corners = inspection.part.mesh.corners
    rows = zip(inspection.features, plan.corrections, strict=True)
    return {
        index: (corners[feature.faces[0], 0], _VANISHES)
        for index, (feature, correction) in enumerate(rows)
        if correction.vanishes and not correction.is_left_alone and len(feature.faces)
    }


def is_of_crossing(limit: Limit) -> bool:
    """Whether faces that would cross or turn over are why something was held back."""
    return limit.reason.startswith("faces would")


def _is_coarse(feature: Feature) -> bool:
    return isinstance(feature, Cylinder) and feature.sagitta > SAGITTA


def limited(
    inspection: Inspection,
    plan: Plan,
    holding: Holding,
    places: dict[int, Place],
    moved: NDArray[np.float64],
) -> tuple[Limit, ...]:
    """Tell what was held back of each feature.

    Parameters
    ----------
    inspection, plan
        Features and their corrections, in the same order.
    holding : Holding
        The shares that gave a sound mesh.
    places : dict
        By feature, where and why it had to be held back.
    moved : (n, 3) float
        How far each vertex of the inspected mesh went, mm.
    """
    mesh = inspection.part.mesh
    limits = []
    for index, (feature, correction) in enumerate(
        zip(inspection.features, plan.corrections, strict=True)
    ):
        mine = mesh.vertices_of(feature.faces)
        shares = holding.vertices[mine]
        least = float(shares.min(initial=1.0))
        offset = correction.offset
        if is_sized(feature, correction):
            least = float(holding.cylinders[index])
            offset = farthest_offset(feature, correction)
        if index in places and places[index][1] in HELD:
            least = 0.0
        if correction.is_left_alone or offset == 0:
            continue
        if least == 1.0 and not (holding.coarse[index] and _is_coarse(feature)):
            continue
        lowest = mesh.vertices[mine[np.argmin(shares)]]
        point, reason = places.get(index, (lowest, _BESIDE))
        if least == 1.0:
            reason = f"{reason}: its facets stay as coarse as they were"
        offsets = (offset, offset * least)
        limits.append(limit_at(inspection, feature, offsets, (point, reason)))
    known = {limit.feature_id for limit in limits}
    return (
        *limits,
        *_bent(inspection, plan, moved, known),
        *_dragged(inspection, plan, moved, known),
    )


def _bent(
    inspection: Inspection, plan: Plan, moved: NDArray[np.float64], known: set[str]
) -> list[Limit]:
    """Straight walls that a neighbour drags away from where they should be."""
    mesh = inspection.part.mesh
    limits = []
    for feature, correction in zip(inspection.features, plan.corrections, strict=True):
        if feature.kind not in {"wall", "slot"} or feature.id in known:
            continue
        rows = feature.faces
        went = _went(mesh, rows, moved)
        away = np.abs(went - correction.offset)
        if away.max(initial=0.0) > _BENT:
            limits.append(_where_most(inspection, (feature, correction), rows, went))
    return limits


def _dragged(
    inspection: Inspection, plan: Plan, moved: NDArray[np.float64], known: set[str]
) -> list[Limit]:
    """Profiles so much of which neighbours drag away that the part's volume shows it.

    What two curved facets ask of the corner between them is never quite the same, so that
    no profile is where it should be to the last bit.
    """
    mesh = inspection.part.mesh
    asked, found = 0.0, []
    for feature, correction in zip(inspection.features, plan.corrections, strict=True):
        vectors = Mesh(mesh.vertices, mesh.faces[feature.faces]).area_vectors
        areas = np.hypot(vectors[:, 0], vectors[:, 1])
        asked += abs(correction.offset) * float(areas.sum())
        if feature.kind != "profile" or feature.id in known:
            continue
        upright = np.abs(vectors[:, 2]) <= _SLOPING * areas
        rows, areas = feature.faces[upright], areas[upright]
        went = _went(mesh, rows, moved)
        missed = float(areas @ (went.mean(axis=1) - correction.offset))
        if missed:
            found.append((abs(missed), feature, correction, rows, went))
    return [
        _where_most(inspection, (feature, correction), rows, went)
        for missed, feature, correction, rows, went in found
        if missed > _SHOWN * asked
    ]


def mostly_bent(
    inspection: Inspection, plan: Plan, moved: NDArray[np.float64], among: set[str]
) -> tuple[Limit, ...]:
    """Tell of walls and profiles most of which neighbours drag away from their places.

    Parameters
    ----------
    inspection, plan
        Features and their corrections, in the same order.
    moved : (n, 3) float
        How far each vertex of the inspected mesh went, mm.
    among : set of str
        Features to look at; cylinders with a size are where their radius says.
    """
    mesh = inspection.part.mesh
    limits = []
    for feature, correction in zip(inspection.features, plan.corrections, strict=True):
        if feature.id not in among or is_sized(feature, correction):
            continue
        areas = lengths(mesh.area_vectors[feature.faces])
        went = _went(mesh, feature.faces, moved)
        is_off = np.abs(went.mean(axis=1) - correction.offset) > _OFF
        if float(areas @ is_off) > float(areas.sum()) / 2:
            limits.append(
                _where_most(inspection, (feature, correction), feature.faces, went)
            )
    return tuple(limits)


def _went(
    mesh: Mesh, faces: NDArray[np.int64], moved: NDArray[np.float64]
) -> NDArray[np.float64]:
    """How far the corners of faces went along the horizontal parts of normals, (k, 3)."""
    corners = mesh.faces[faces]
    normals = Mesh(mesh.vertices, corners).area_vectors * [1.0, 1.0, 0.0]
    return dot(moved[corners], unit(normals)[:, None])


def _where_most(
    inspection: Inspection,
    bent: tuple[Feature, Correction],
    faces: NDArray[np.int64],
    went: NDArray[np.float64],
) -> Limit:
    """Tell of a feature that is bent, at that corner of some faces that is off most."""
    feature, correction = bent
    mesh = inspection.part.mesh
    away = np.abs(went - correction.offset)
    face, corner = np.unravel_index(np.argmax(away), away.shape)
    offsets = (correction.offset, float(went[face, corner]))
    place = (mesh.vertices[mesh.faces[faces[face], corner]], _BENDS)
    return limit_at(inspection, feature, offsets, place)


def limit_at(
    inspection: Inspection, feature: Feature, offsets: tuple[float, float], place: Place
) -> Limit:
    """Tell of a feature what offset was wanted and used, mm, at a place in the file."""
    wanted, used = offsets
    point, reason = place
    x, y, z = inspection.part.stand.to_file(point).tolist()
    return Limit(
        feature_id=feature.id, wanted=wanted, used=used, place=(x, y, z), reason=reason
    )
