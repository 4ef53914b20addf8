"""Apply a plan to a part: offset its walls, draw in its foot, undo errors of the axes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.feet import FootResult, draw_in
from meshcomp.compensation.offsetting import offset_walls
from meshcomp.crossings import crossing_pairs
from meshcomp.errors import UnsoundResultError
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Foot, Plan
from meshcomp.printer_axes import PrinterAxes
from meshcomp.results import Compensated, Limit

__all__ = ["compensate"]


def compensate(inspection: Inspection, plan: Plan) -> Compensated:
    """Reshape a part as planned.

    Cylinders get their planned diameter, every other wall its offset; heights do not
    change, and vertices of which nothing is asked keep their coordinates to the last
    bit. Where faces would turn over or cross, the offset is halved there and tried again.

    The steps follow each other as in the print, backwards: offsets of walls; then the foot
    is drawn in, where the first layers spread over what the walls have become; errors of
    the printer's axes are undone at the very end, since they act on all that is drawn.

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
    result, limits, change = offset_walls(inspection, plan)
    mesh, parents, volume = result.mesh, result.parents, change.net
    if plan.foot is not None:
        may_move = _drawn_in(inspection, plan, plan.foot)[parents]
        foot = draw_in(mesh, may_move, plan.foot)
        limits += _foot_limits(inspection, plan.foot, foot, mesh, parents)
        mesh, parents = foot.mesh, parents[foot.parents]
        volume += foot.volume
    if plan.axes is not None:
        mesh = _undone(inspection, mesh, plan.axes)
    return Compensated(
        part=inspection.part.with_mesh(mesh, parents),
        plan=plan,
        parents=parents,
        limits=limits,
        predicted_volume_change=volume,
        moved_volume=change.moved + abs(volume - change.net),
    )


def _drawn_in(inspection: Inspection, plan: Plan, foot: Foot) -> NDArray[np.bool_]:
    """Faces whose foot may be drawn in, (m,): outside ones, but for features kept."""
    faces = np.zeros(len(inspection.part.mesh.faces), dtype=bool)
    for feature, correction in zip(inspection.features, plan.corrections, strict=True):
        if not correction.is_kept and (foot.opens_bores or not feature.is_internal):
            faces[feature.faces] = True
    return faces


def _foot_limits(
    inspection: Inspection,
    foot: Foot,
    result: FootResult,
    mesh: Mesh,
    parents: NDArray[np.int64],
) -> tuple[Limit, ...]:
    """Name the features near which less of the foot was drawn in than asked for."""
    limits = []
    of_held = parents[result.held]
    for feature in inspection.features:
        mine = np.flatnonzero(np.isin(of_held, feature.faces))
        if len(mine) == 0:
            continue
        least = mine[np.argmin(result.share[mine])]
        point = mesh.corners[result.held[least]].mean(axis=0)
        x, y, z = inspection.part.stand.to_file(point)
        limits.append(
            Limit(
                feature_id=feature.id,
                wanted=-foot.growth,
                used=-foot.growth * float(result.share[least]),
                place=(float(x), float(y), float(z)),
                reason="its foot, drawn in by that much, would cross a neighbour",
            )
        )
    return tuple(limits)


def _undone(inspection: Inspection, mesh: Mesh, axes: PrinterAxes) -> Mesh:
    """Ask for what the printer's axes draw as the mesh, in 32 bits as it is written."""
    asked = mesh.moved(axes.undone(mesh.vertices).astype(np.float32).astype(np.float64))
    if inspection.solid.bodies > 1:
        _refuse_touching(inspection, mesh, asked)
    return asked


def _refuse_touching(inspection: Inspection, drawn: Mesh, asked: Mesh) -> None:
    """Bodies that lie face to face may cross once their common plane leans: by rounding."""
    pairs = crossing_pairs(asked)
    if len(pairs) <= len(crossing_pairs(drawn)):
        return
    x, y, z = inspection.part.stand.to_file(asked.corners[pairs[0, 0]].mean(axis=0))
    raise UnsoundResultError(
        f"{inspection.part.name}: bodies touch near ({x:.3f}, {y:.3f}, {z:.3f}) mm, and "
        f"{len(pairs)} of their faces would cross by rounding once errors of the axes are "
        "undone: unite the bodies, or leave the axes as they are (--no-axes)"
    )
