"""Prove a compensated part: read the written file back and measure it anew.

The road is not the one that made it: the file is cut by manifold3d, circles are
associated to the corners of the rings, and walls are measured between ring lines.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.limits import BROUGHT, CUT, MOST_SUNK
from meshcomp.crossings import crossing_pairs
from meshcomp.files.precision import as_held, holding_limit
from meshcomp.grooving import groove_checks
from meshcomp.inspecting import solid_state
from meshcomp.inspections import Inspection, SolidState
from meshcomp.layering import height_checks
from meshcomp.meshes import Mesh
from meshcomp.parts import Part
from meshcomp.plans import Plan
from meshcomp.remeasuring import BORE_LIMIT, WALL_LIMIT, achieved_sizes
from meshcomp.results import Check, Compensated, Verification
from meshcomp.segmentation import planar_regions
from meshcomp.topology import topology_of

__all__ = ["BORE_LIMIT", "WALL_LIMIT", "verify"]

_VOLUME_SHARE = 0.02  # of what is added and taken away together, and:
_VOLUME_PART = 2e-5  # of the whole volume
_DUST = 1e-9  # mm: rounding errors about zero, which moving drops
_LARGE = 100_000  # faces: looking for crossings twice would take too long
_SAME_CORNER = 1e-3  # mm, a corner as written to the one that was made


def verify(inspection: Inspection, result: Compensated, written: Part) -> Verification:
    """Compare a written part with its plan.

    Parameters
    ----------
    inspection : Inspection
        The part before.
    result : Compensated
        What was planned and made.
    written : Part
        The file, read back.

    Examples
    --------
    >>> import meshcomp
    >>> found = meshcomp.inspect(meshcomp.demo_part("shaft_spacer"))
    >>> wider = meshcomp.plan(found, meshcomp.ByHand(bore_opening=0.2))
    >>> made = meshcomp.compensate(found, wider)
    >>> meshcomp.verify(found, made, made.part).conforms
    True
    """
    topology = topology_of(written.mesh)
    solid = solid_state(written.mesh, topology, written.stand)
    drawn = _as_drawn(written, result.plan)
    sizes = (
        achieved_sizes(inspection, result.plan, drawn.mesh, topology)
        if solid.is_watertight
        else ()
    )
    volume = solid.volume * _volume_factor(result.plan)
    return Verification(
        sizes=sizes,
        checks=_checks(inspection, result, written, solid),
        solid=solid,
        volume_change=volume - _volume_before(inspection, result),
        predicted_volume_change=result.predicted_volume_change,
    )


def _as_drawn(written: Part, plan: Plan) -> Part:
    """Return the file as the printer's axes would draw it: the plan's sizes are of that."""
    if plan.axes is None:
        return written
    mesh = written.mesh
    return replace(written, mesh=mesh.moved(plan.axes.drawn(mesh.vertices)))


def _volume_factor(plan: Plan) -> float:
    return 1.0 if plan.axes is None else float(np.linalg.det(plan.axes.matrix))


def _checks(
    inspection: Inspection, result: Compensated, written: Part, solid: SolidState
) -> tuple[Check, ...]:
    before, drawn = inspection.solid, _as_drawn(written, result.plan)
    return (
        Check(
            name="closed solid",
            passed=solid.is_watertight,
            figure=f"{solid.triangles} triangles, every edge shared by two",
        ),
        _bodies_check(before, solid),
        _height_check(inspection, result, written),
        *(() if result.layers is None else height_checks(result.layers, drawn)),
        *(() if result.seams is None else groove_checks(result.seams, written.mesh)),
        _volume_check(_volume_before(inspection, result), solid, result),
        _crossing_check(inspection, result, written),
    )


def _volume_before(inspection: Inspection, result: Compensated) -> float:
    """Volume of the part as drawn, before any height moved, mm³."""
    moves = None if result.layers is None else result.layers.moves
    return inspection.solid.volume if moves is None else moves.volume_before


def _bodies_check(before: SolidState, after: SolidState) -> Check:
    same = (after.bodies, after.genus) == (before.bodies, before.genus)
    beside = "as before" if same else f"before {_bodies_in_words(before)}"
    return Check(
        name="bodies and holes",
        passed=same,
        figure=f"{_bodies_in_words(after)}, {beside}",
    )


def _bodies_in_words(solid: SolidState) -> str:
    bodies = "1 body" if solid.bodies == 1 else f"{solid.bodies} bodies"
    return f"{bodies} and {solid.genus} through hole{'' if solid.genus == 1 else 's'}"


def _height_check(inspection: Inspection, result: Compensated, written: Part) -> Check:
    planned, new = inspection.part.mesh.bounds[:, 2], written.mesh.bounds[:, 2]
    if result.plan.axes is not None:
        planned = result.plan.axes.undone(inspection.part.mesh.bounds)[:, 2]
    # What the file's format cannot tell apart is not a change.
    away = np.abs(as_held(written, planned) - new)
    away[(np.abs(planned) < _DUST) & (new == 0)] = 0.0
    inwards = (new - planned) * [1, -1]
    reasons = {limit.reason for limit in result.limits}
    sunk = MOST_SUNK if reasons & {BROUGHT, CUT} else 0.0
    is_lower = (away > holding_limit(written)) & (inwards > 0) & (inwards <= sunk)
    moves = None if result.layers is None else result.layers.moves
    low, high = planned if moves is None else moves.bounds_before
    by_plan = "" if moves is None else f", planned {planned[0]:.4f} to {planned[1]:.4f}"
    what = "a bore cut to size" if CUT in reasons else "a wall brought to its place"
    by_cut = f" ({what} ends it)" if is_lower.any() else ""
    return Check(
        name="height unchanged" if moves is None else "height as planned",
        passed=bool(((away <= holding_limit(written)) | is_lower).all()),
        figure=f"from {new[0]:.4f} to {new[1]:.4f} mm{by_plan}, before {low:.4f} to "
        f"{high:.4f}{by_cut}",
    )


def _volume_check(before: float, after: SolidState, result: Compensated) -> Check:
    change = after.volume * _volume_factor(result.plan) - before
    predicted = result.predicted_volume_change
    limit = _VOLUME_SHARE * result.moved_volume + _VOLUME_PART * before
    limited = " (some offsets were limited)" if result.limits else ""
    return Check(
        name="volume change as predicted",
        passed=abs(change - predicted) <= limit or bool(result.limits),
        figure=f"{change:+.2f} mm³, predicted {predicted:+.2f} mm³ from area times "
        f"offset{limited}",
    )


def _crossing_check(inspection: Inspection, result: Compensated, written: Part) -> Check:
    if len(written.mesh.faces) > _LARGE and _is_as_made(result, written):
        return Check(
            name="no new crossing faces",
            passed=True,
            figure="0 faces newly cross others: looked for when the mesh was made, which "
            "the file holds to the last bit",
        )
    pairs = crossing_pairs(written.mesh)
    count = len(np.unique(pairs))
    old = crossing_pairs(inspection.part.mesh) if count else pairs
    before = len(np.unique(old))
    passed, beside = count <= before, f"before {before}"
    if not passed and _crossed_before(inspection, result, written, pairs, old):
        # Facets that crossed were split into more that do.
        passed, beside = True, f"all of them parts of the {before} that did before"
    return Check(
        name="no new crossing faces",
        passed=passed,
        figure=f"{count} faces cross others, {beside}{_place_of(inspection.part, old)}",
    )


def _place_of(part: Part, pairs: NDArray[np.int64]) -> str:
    """Say where the first of some pairs of faces is, for who wants to mend the part."""
    if len(pairs) == 0:
        return ""
    x, y, z = part.stand.to_file(_common_point(part.mesh, pairs[0]))
    return f", near ({x:.3f}, {y:.3f}, {z:.3f}) mm"


def _common_point(mesh: Mesh, pair: NDArray[np.int64]) -> NDArray[np.float64]:
    """Middle of what the boxes of two faces have in common, mm."""
    corners = mesh.vertices[mesh.faces[pair]]
    low, high = corners.min(axis=1).max(axis=0), corners.max(axis=1).min(axis=0)
    return np.asarray((low + high) / 2)


def _is_as_made(result: Compensated, written: Part) -> bool:
    """Whether a file holds the faces that were made, in order and to the last bit."""
    made, found = result.part.mesh, written.mesh
    return made.faces.shape == found.faces.shape and all(
        np.array_equal(
            np.take(made.vertices, made.faces[:, k], axis=0),
            np.take(found.vertices, found.faces[:, k], axis=0),
        )
        for k in range(3)
    )


def _crossed_before(
    inspection: Inspection,
    result: Compensated,
    written: Part,
    pairs: NDArray[np.int64],
    old: NDArray[np.int64],
) -> bool:
    """Whether the planes of all pairs of written faces crossed in the input already."""
    made = result.part.mesh.corners
    if written.mesh.corners.shape != made.shape:
        return False
    if np.abs(written.mesh.corners - made).max() > _SAME_CORNER:
        return False  # the file has its faces in another order
    source = inspection.part.mesh
    regions = planar_regions(source, topology_of(source)).of_face
    keys = [
        {(min(p), max(p)) for p in regions[rows].tolist()}
        for rows in (result.parents[pairs], old)
    ]
    return keys[0] <= keys[1]
