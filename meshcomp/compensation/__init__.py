"""Apply a plan to a part: offset its walls, draw in its foot, undo errors of the axes."""

from __future__ import annotations

from meshcomp.compensation.axes import axes_undone
from meshcomp.compensation.carving import brought_to_place, cut_to_size
from meshcomp.compensation.footing import foot_drawn_in
from meshcomp.compensation.offsetting import offset_walls
from meshcomp.compensation.parting import faces_at_joints, with_points_parted
from meshcomp.inspections import Inspection
from meshcomp.plans import Plan
from meshcomp.results import Compensated

__all__ = ["compensate"]


def compensate(inspection: Inspection, plan: Plan) -> Compensated:
    """Reshape a part as planned.

    Cylinders get their planned diameter, every other wall its offset; heights do not
    change, and vertices of which nothing is asked keep their coordinates to the last
    bit. Where faces would turn over or cross, the offset is halved there and tried again;
    walls are then brought to their places by solids, and bores that are to be wider are cut
    to size, where that does no harm.

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
    joints = faces_at_joints(inspection, plan)
    inspection = with_points_parted(inspection)
    result, limits, change, short = offset_walls(inspection, plan, joints)
    result, limits = brought_to_place(inspection, plan, (result, limits), short)
    result, limits = cut_to_size(inspection, plan, result, limits)
    mesh, parents, volume = result.mesh, result.parents, change.net
    if plan.foot is not None:
        foot, held = foot_drawn_in(inspection, plan, plan.foot, result)
        limits += held
        mesh, parents = foot.mesh, parents[foot.parents]
        volume += foot.volume
    if plan.axes is not None:
        mesh = axes_undone(inspection, mesh, plan.axes)
    return Compensated(
        part=inspection.part.with_mesh(mesh, parents),
        plan=plan,
        parents=parents,
        limits=limits,
        predicted_volume_change=volume,
        moved_volume=change.moved + abs(volume - change.net),
    )
