"""Cut grooves for the seam into a compensated part."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.carving.cutting import taken_away, unsound_place
from meshcomp.errors import UnsoundResultError
from meshcomp.grooving.planning import Planned, planned_grooves
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Plan
from meshcomp.results import Compensated
from meshcomp.seams import SeamReport, SeamWish
from meshcomp.solids import solid_of

__all__ = ["grooved", "grooves_planned"]

_LEVEL = 0.5  # upright part of a normal: more is an end of a cutter


def grooved(
    inspection: Inspection, result: Compensated, wish: SeamWish | None
) -> Compensated:
    """Cut the grooves that were wished for into a compensated part.

    Parameters
    ----------
    inspection : Inspection
        The part before, and its features.
    result : Compensated
        The part with its sizes as planned.
    wish : SeamWish or None
        Which features, and the groove's shape; None: nothing is done.

    Raises
    ------
    OptionError
        If a feature that was named can have no groove, with the reason.
    UnsoundResultError
        If the groove of a feature that was named leaves faces that cross, with the place.

    Examples
    --------
    >>> import meshcomp
    >>> found = meshcomp.inspect(meshcomp.demo_part("shaft_spacer"))
    >>> made = meshcomp.compensate(found, meshcomp.plan(found, meshcomp.ByHand()))
    >>> wish = SeamWish(features=(("boss-01", 90.0),), width=0.45, depth=0.15)
    >>> (groove,) = grooved(found, made, wish).seams.grooves
    >>> [round(x, 4) for x in groove.apex], groove.reason
    ([0.0, 5.85], 'asked for')
    """
    if wish is None:
        return result
    before = result.part.mesh
    solid = solid_of(before)
    planned, left_out = planned_grooves(inspection, before, result.parents, solid, wish)
    mesh, parents, planned, spoiled = _cut_soundly(inspection, result, planned, wish)
    report = SeamReport(
        wish=wish,
        grooves=tuple(groove for groove, _, _ in planned),
        left_out=(*left_out, *spoiled),
    )
    volume = sum(groove.volume for groove in report.grooves)
    return replace(
        result,
        part=result.part.with_mesh(mesh, parents),
        parents=result.parents[parents],
        predicted_volume_change=result.predicted_volume_change - volume,
        moved_volume=result.moved_volume + volume,
        seams=report,
    )


def grooves_planned(
    inspection: Inspection, plan: Plan, wish: SeamWish | None
) -> SeamReport | None:
    """Say which grooves a part would get, without cutting them.

    Places and volumes are those in the part as it is: its sizes have not changed yet.
    """
    if wish is None:
        return None
    mesh = inspection.part.mesh
    if plan.axes is not None:
        mesh = mesh.moved(plan.axes.undone(mesh.vertices))
    same = np.arange(len(mesh.faces))
    planned, left_out = planned_grooves(inspection, mesh, same, solid_of(mesh), wish)
    return SeamReport(
        wish=wish, grooves=tuple(groove for groove, _, _ in planned), left_out=left_out
    )


def _cut_soundly(
    inspection: Inspection, result: Compensated, planned: list[Planned], wish: SeamWish
) -> tuple[Mesh, NDArray[np.int64], list[Planned], list[tuple[str, str]]]:
    """Cut the grooves; leave out those that spoil the mesh, unless they were named."""
    named = {name for name, _ in wish.features}
    spoiled: list[tuple[str, str]] = []
    while planned:
        mesh, parents, place = _cut(result.part.mesh, planned)
        if place is None:
            return mesh, parents, planned, spoiled
        away = [np.linalg.norm(np.array(g.seat) - place[:2]) for g, _, _ in planned]
        name = planned.pop(int(np.argmin(away)))[0].feature_id
        if name in named:
            x, y, z = inspection.part.stand.to_file(place)
            raise UnsoundResultError(
                f"{inspection.part.name}: the groove of {name} leaves no clean mesh near "
                f"({x:.3f}, {y:.3f}, {z:.3f}) mm: turn it a little with --seam-groove "
                f"{name}@DEGREES, or leave it out"
            )
        spoiled.append((name, "the cut would leave no clean mesh"))
    mesh = result.part.mesh
    return mesh, np.arange(len(mesh.faces)), [], spoiled


def _cut(
    before: Mesh, planned: list[Planned]
) -> tuple[Mesh, NDArray[np.int64], NDArray[np.float64] | None]:
    """Take the cutters away, and look whether what is left is sound.

    Returns the mesh, the old face of each face, and a place that is not sound, or None.
    """
    cutters = [cutter for _, cutters, _ in planned for cutter in cutters]
    wall = [face for _, cutters, face in planned for _ in cutters]
    mesh, parents, made_by, new = taken_away(before, cutters)
    parents = np.where(parents < 0, np.array(wall)[made_by], parents)
    ends = (made_by >= 0) & (
        np.abs(mesh.area_vectors[:, 2]) > _LEVEL * np.linalg.norm(mesh.area_vectors, axis=1)
    )
    touched = new[mesh.faces].any(axis=1)
    return mesh, parents, unsound_place(before, mesh, parents, touched & ~ends)
