"""Apply a plan to a part: refine, shift, flatten, and guard what comes out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.flattening import flattened
from meshcomp.compensation.guard import unsound_faces
from meshcomp.compensation.refining import Refined, refine
from meshcomp.compensation.shifting import displacements
from meshcomp.compensation.targets import Targets, targets
from meshcomp.compensation.volumes import predicted_change
from meshcomp.crossings import crossing_pairs
from meshcomp.errors import UnsoundResultError
from meshcomp.features import Cylinder
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Plan
from meshcomp.results import Compensated, Limit
from meshcomp.segmentation import Regions, planar_regions
from meshcomp.topology import topology_of

__all__ = ["compensate"]

_TRIES = 8
_LAST_SHARE = 0.5 ** (_TRIES - 3)  # smaller shares of an offset become none


def compensate(inspection: Inspection, plan: Plan) -> Compensated:
    """Reshape a part as planned.

    Cylinders get their planned diameter, every other wall its offset; heights do not
    change, and vertices of which nothing is asked keep their coordinates to the last
    bit. Where faces would turn over or cross, the offset is halved there and tried again.

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
    mesh = inspection.part.mesh
    round_ones = [
        feature
        for feature, correction in zip(inspection.features, plan.corrections, strict=True)
        if isinstance(feature, Cylinder) and not correction.is_left_alone
    ]
    refined = refine(mesh, round_ones)
    regions = planar_regions(mesh, topology_of(mesh))
    crossed = crossing_pairs(mesh)
    result, limits = _guarded(inspection, plan, (refined, regions), crossed)
    return Compensated(
        part=inspection.part.with_mesh(result.mesh, result.parents),
        plan=plan,
        parents=result.parents,
        crossed=crossed,
        limits=limits,
        predicted_volume_change=predicted_change(inspection, plan),
    )


def _guarded(
    inspection: Inspection,
    plan: Plan,
    before: tuple[Refined, Regions],
    crossed: NDArray[np.int64],
) -> tuple[Refined, tuple[Limit, ...]]:
    """Move, look, hold back, and move again, until the mesh is sound."""
    refined, regions = before
    held = np.ones(len(inspection.features))
    share = np.ones(len(refined.mesh.vertices))
    places: dict[int, tuple[int, str]] = {}
    for _ in range(_TRIES):
        wanted = targets(inspection, plan, refined, held)
        result, changed = _moved(refined, regions, wanted, share)
        bad, reason = unsound_faces(inspection.part.mesh, result, changed, crossed)
        if len(bad) == 0:
            return _used(result), _limits(inspection, plan, (held, share), refined, places)
        _hold_back(result.mesh.faces[bad], wanted, (held, share))
        for feature, vertex in _features_at(result.mesh.faces[bad], refined, wanted):
            places.setdefault(feature, (vertex, reason))
    x, y, z = inspection.part.stand.to_file(result.mesh.corners[bad[0]].mean(axis=0))
    raise UnsoundResultError(
        f"{inspection.part.name}: no clean mesh within {_TRIES} tries: {len(bad)} "
        f"{reason} near ({x:.3f}, {y:.3f}, {z:.3f}) mm: give a smaller offset, or keep the "
        "features there with --keep ID"
    )


def _moved(
    refined: Refined, regions: Regions, wanted: Targets, share: NDArray[np.float64]
) -> tuple[Refined, NDArray[np.bool_]]:
    """Move the vertices, make worn planar faces anew; tell which faces changed."""
    mesh = refined.mesh
    normals = regions.face_normals[refined.parents]
    d = displacements(mesh, normals, wanted) * share[:, None]
    # What will be written has 32 bits: what is judged has them too.
    rounded = (mesh.vertices + d).astype(np.float32).astype(np.float64)
    shifted = np.where(d != 0, rounded, mesh.vertices)
    new = np.arange(len(mesh.vertices)) >= refined.old_vertices
    shifted[new] = rounded[new]
    changed = (d != 0).any(axis=1) | new
    touched = changed[mesh.faces].any(axis=1)
    of_face = np.where(wanted.is_round, -1, regions.of_face[refined.parents])
    flat, fresh = flattened(
        refined, mesh.moved(shifted), (of_face, regions.normals), touched
    )
    return flat, changed[flat.mesh.faces].any(axis=1) | fresh


def _hold_back(
    corners: NDArray[np.int64],
    wanted: Targets,
    state: tuple[NDArray[np.float64], NDArray[np.float64]],
) -> None:
    """Halve what moves at bad faces: whole cylinders, and single vertices of walls."""
    held, share = state
    bad = np.zeros(len(share), dtype=bool)
    bad[corners.ravel()] = True
    round_here = np.unique(wanted.owner[bad[wanted.vertex]])
    held[round_here] *= 0.5
    bad[wanted.vertex] = False
    share[bad] *= 0.5
    share[share < _LAST_SHARE] = 0.0
    held[held < _LAST_SHARE] = 0.0


def _features_at(
    corners: NDArray[np.int64], refined: Refined, wanted: Targets
) -> list[tuple[int, int]]:
    """Features with a vertex at bad faces, each with one such vertex."""
    bad = np.zeros(len(refined.mesh.vertices), dtype=bool)
    bad[corners.ravel()] = True
    faces = np.flatnonzero(bad[refined.mesh.faces].any(axis=1) & (wanted.feature >= 0))
    features, first = np.unique(wanted.feature[faces], return_index=True)
    places = refined.mesh.faces[faces[first]]
    at = np.argmax(bad[places], axis=1)
    return list(
        zip(features.tolist(), places[np.arange(len(at)), at].tolist(), strict=True)
    )


def _limits(
    inspection: Inspection,
    plan: Plan,
    state: tuple[NDArray[np.float64], NDArray[np.float64]],
    refined: Refined,
    places: dict[int, tuple[int, str]],
) -> tuple[Limit, ...]:
    held, share = state
    limits = []
    for index, (vertex, reason) in sorted(places.items()):
        feature, correction = inspection.features[index], plan.corrections[index]
        mine = np.unique(inspection.part.mesh.faces[feature.faces])
        least = held[index] * (1.0 if isinstance(feature, Cylinder) else share[mine].min())
        if correction.is_left_alone or least == 1.0:
            continue
        x, y, z = inspection.part.stand.to_file(refined.mesh.vertices[vertex]).tolist()
        limits.append(
            Limit(
                feature_id=feature.id,
                wanted=correction.offset,
                used=float(correction.offset * least),
                place=(x, y, z),
                reason=reason,
            )
        )
    return tuple(limits)


def _used(refined: Refined) -> Refined:
    """Drop vertices of no face."""
    used = np.zeros(len(refined.mesh.vertices), dtype=bool)
    used[refined.mesh.faces] = True
    place = np.cumsum(used) - 1
    return replace(
        refined, mesh=Mesh(refined.mesh.vertices[used], place[refined.mesh.faces])
    )
