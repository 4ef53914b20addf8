"""Cut grooves for the seam into a compensated part."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.guard import unsound_pairs
from meshcomp.compensation.refining import Refined
from meshcomp.errors import OptionError, UnsoundResultError
from meshcomp.grooving.choosing import choose
from meshcomp.grooving.mouths import cutter_outline, mouth_of
from meshcomp.grooving.reaching import (
    Reach,
    areas_in,
    reaches,
    volume_in,
)
from meshcomp.grooving.surfaces import Seat, Surface, surface_of
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Plan
from meshcomp.results import Compensated
from meshcomp.seams import Groove, SeamReport, SeamWish
from meshcomp.segmentation import planar_regions
from meshcomp.solids import Solid, solid_of
from meshcomp.solids.cutting import column_of, cut_away_from
from meshcomp.topology import components, topology_of

__all__ = ["grooved", "grooves_planned"]

_LOOKS = 12  # heights of a stretch at which a groove's section is looked at
_JUST_INSIDE = 0.01  # mm
_SAME_AREA = 0.02
_LEVEL = 0.5  # upright part of a normal: more is an end of a cutter
Planned = tuple[Groove, tuple[Mesh, ...], int]


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
    planned, left_out = _planned(inspection, result.part.mesh, result.parents, wish)
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
    planned, left_out = _planned(inspection, mesh, np.arange(len(mesh.faces)), wish)
    return SeamReport(
        wish=wish, grooves=tuple(groove for groove, _, _ in planned), left_out=left_out
    )


def _planned(
    inspection: Inspection, mesh: Mesh, parents: NDArray[np.int64], wish: SeamWish
) -> tuple[list[Planned], tuple[tuple[str, str], ...]]:
    asked = _asked(inspection, wish)
    surfaces, left_out = _surfaces(inspection, mesh, parents, (asked, wish.width))
    solid = solid_of(mesh)
    made: dict[str, Planned] = {}

    def fits(surface: Surface, seat: Seat) -> bool:
        groove = _groove(surface, seat, solid, wish)
        if groove is not None:
            made[surface.feature.id] = groove
        return groove is not None

    chosen = choose(surfaces, asked, (wish.width, wish.depth), fits)
    planned = []
    for name, choice in chosen.items():
        if isinstance(choice, str):
            left_out[name] = choice
        else:
            groove, cutters, face = made[name]
            planned.append((replace(groove, reason=choice.reason), cutters, face))
    named = {name for name, _ in wish.features}
    for name, reason in left_out.items():
        if name in named:
            raise OptionError(f"{name} can have no groove for the seam: {reason}")
    return planned, tuple(left_out.items())


def _surfaces(
    inspection: Inspection,
    mesh: Mesh,
    parents: NDArray[np.int64],
    wanted: tuple[dict[str, float | None], float],
) -> tuple[list[Surface], dict[str, str]]:
    """Surfaces of the features that were asked for, and why others have no seat."""
    asked, width = wanted
    found = {
        feature.id: surface_of(feature, mesh, parents, width)
        for feature in inspection.features
        if feature.id in asked
    }
    return (
        [surface for surface in found.values() if isinstance(surface, Surface)],
        {name: reason for name, reason in found.items() if isinstance(reason, str)},
    )


def _asked(inspection: Inspection, wish: SeamWish) -> dict[str, float | None]:
    known = {feature.id: feature.kind for feature in inspection.features}
    asked: dict[str, float | None] = {}
    if wish.everywhere:
        asked = {name: None for name, kind in known.items() if kind not in {"wall", "slot"}}
    for name, bearing in wish.features:
        if name not in known:
            raise OptionError(
                f"no feature {name!r} in this part: see the ids with meshcomp inspect"
            )
        asked[name] = bearing
    return asked


def _groove(surface: Surface, seat: Seat, solid: Solid, wish: SeamWish) -> Planned | None:
    """Plan one groove; None where it would not come out as it should at all heights."""
    outline = cutter_outline(seat, wish.width, wish.depth)
    mouth = mouth_of(surface, outline)
    if mouth is None:
        return None
    column = column_of(solid, outline)
    behind = outline.copy()
    behind[0] -= wish.width * seat.outward
    if not (
        _is_even(column, surface, seat)
        and _is_even(column_of(solid, behind), surface, seat)
    ):
        return None  # something stands before it, or too little behind it
    area = float(areas_in(column, [surface.height])[0])
    found = reaches(surface, seat, column, wish.depth)
    corner = outline[0]
    one, two = mouth - corner
    triangle = abs(float(one[0] * two[1] - one[1] * two[0])) / 2
    groove = Groove(
        feature_id=surface.feature.id,
        bearing=seat.bearing,
        centre=_pair(surface.centre),
        seat=_pair(seat.point),
        outward=_pair(seat.outward),
        width=wish.width,
        depth=wish.depth,
        stretches=tuple((float(a), float(b)) for a, b in seat.stretches),
        reach=tuple((r.knots[0], r.knots[-1]) for r in found),
        mouth=(_pair(mouth[0]), _pair(mouth[1])),
        bulge=area - triangle,
        volume=sum(volume_in(column, reach) for reach in found),
        reason="",
    )
    return groove, tuple(_prism(outline, reach) for reach in found), seat.face


def _is_even(column: Solid, surface: Surface, seat: Seat) -> bool:
    """Whether a column's section is the same at all heights of the stretches."""
    heights = [surface.height]
    for low, high in seat.stretches.tolist():
        heights += np.linspace(low + _JUST_INSIDE, high - _JUST_INSIDE, _LOOKS).tolist()
    areas = areas_in(column, heights)
    return bool(np.abs(areas - areas[0]).max() <= _SAME_AREA * areas[0])


def _pair(point: NDArray[np.float64]) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def _prism(outline: NDArray[np.float64], reach: Reach) -> Mesh:
    low, high = (np.column_stack([outline, np.full(3, z)]) for z in (reach.low, reach.high))
    sides = [(k, (k + 1) % 3, (k + 1) % 3 + 3, k + 3) for k in range(3)]
    faces = [(2, 1, 0), (3, 4, 5)]
    faces += [(a, b, c) for a, b, c, _ in sides] + [(a, c, d) for a, _, c, d in sides]
    return Mesh(np.concatenate([low, high]), np.array(faces))


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
    """Take the cutters away; round what is new to 32 bits, and look whether it is sound.

    Returns the mesh, the old face of each face, and a place that is not sound, or None.
    """
    regions = planar_regions(before, topology_of(before))
    cutters = [cutter for _, cutters, _ in planned for cutter in cutters]
    wall = [face for _, cutters, face in planned for _ in cutters]
    mesh, parents, made_by = cut_away_from(before, cutters, regions.of_face)
    parents = np.where(parents < 0, np.array(wall)[made_by], parents)
    new = ~_known_points(mesh.vertices, before.vertices)
    rounded = mesh.vertices.copy()
    rounded[new] = rounded[new].astype(np.float32).astype(np.float64)
    mesh, kept = _without_points(mesh.moved(rounded))
    parents, made_by = parents[kept], made_by[kept]
    touched = new[mesh.faces].any(axis=1)
    ends = (made_by >= 0) & (
        np.abs(mesh.area_vectors[:, 2]) > _LEVEL * np.linalg.norm(mesh.area_vectors, axis=1)
    )
    after = Refined(
        mesh,
        parents,
        len(before.vertices),
        np.full(len(mesh.faces), -1),
        np.zeros((0, 3)),
        np.zeros(0, dtype=np.int64),
        np.zeros(0, dtype=bool),
    )
    pairs, _ = unsound_pairs(before, regions, after, touched & ~ends)
    wrong = [*pairs[:, 0], *(topology_of(mesh).open_half_edges // 3)]
    return mesh, parents, mesh.corners[wrong[0]].mean(axis=0) if wrong else None


def _known_points(
    points: NDArray[np.float64], known: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Whether each point, (n, 3), is one of those known, to the last bit."""
    both = np.concatenate([known, points]) + 0.0
    _, index = np.unique(both, axis=0, return_inverse=True)
    index = index.reshape(-1)
    return np.asarray(np.isin(index[len(known) :], index[: len(known)]))


def _without_points(mesh: Mesh) -> tuple[Mesh, NDArray[np.int64]]:
    """Close up edges that rounding has made no length; tell which faces are left."""
    starts = mesh.faces.ravel()
    ends = np.roll(mesh.faces, -1, axis=1).ravel()
    none = (mesh.vertices[starts] == mesh.vertices[ends]).all(axis=1)
    if not none.any():
        return mesh, np.arange(len(mesh.faces))
    label = components(len(mesh.vertices), np.column_stack([starts[none], ends[none]]))
    first = np.zeros(int(label.max()) + 1, dtype=np.int64)
    first[label[::-1]] = np.arange(len(label))[::-1]
    faces = first[label][mesh.faces]
    a, b, c = faces.T
    kept = np.flatnonzero((a != b) & (b != c) & (c != a))
    return Mesh(mesh.vertices, faces[kept]), kept
