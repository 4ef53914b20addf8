"""Apply a plan to a part: offset its walls, draw in its foot, undo errors of the axes."""

from __future__ import annotations

import numpy as np

from meshcomp.compensation.footing import foot_drawn_in
from meshcomp.compensation.offsetting import offset_walls
from meshcomp.crossings import crossing_pairs
from meshcomp.errors import UnsoundResultError
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Plan
from meshcomp.printer_axes import PrinterAxes
from meshcomp.results import Compensated

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
        foot, held = foot_drawn_in(inspection, plan, plan.foot, result)
        limits += held
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
