"""Move level faces to the nearest layer, by a map of heights that keeps their order."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import dot
from meshcomp.errors import OptionError
from meshcomp.features import Cylinder, Feature
from meshcomp.inspecting import solid_state
from meshcomp.inspections import Inspection
from meshcomp.layering.faces import STANDING, levels_in, lying_cylinders
from meshcomp.layering.keeping import chosen_layers
from meshcomp.layering.knots import Knots, chosen_moves, items_of
from meshcomp.layering.looking import layer_report
from meshcomp.layering.moving import Moved, moved_mesh
from meshcomp.layers import (
    Distance,
    HeightMoves,
    KeptHeight,
    LayerGrid,
    LayerReport,
    LevelFace,
    SnapWish,
)
from meshcomp.topology import topology_of

__all__ = ["snapped"]

_SAME_HEIGHT = 0.01  # mm, a height asked for to the face's own


def snapped(
    inspection: Inspection,
    grid: LayerGrid,
    wish: SnapWish,
    kept: Sequence[KeptHeight] = (),
) -> tuple[Inspection, LayerReport]:
    """Move the level faces that were asked for to the nearest layer.

    Or to the other one beside it, where that keeps a stated distance within its limits.

    Heights between them move in proportion, cylinders that lie keep their shape, and
    nothing moves sideways. Where no face has to move, no coordinate changes.

    Parameters
    ----------
    inspection : Inspection
        The part and its features.
    grid : LayerGrid
        The layers it is to be printed in.
    wish : SnapWish
        Which faces to move.
    kept : sequence of KeptHeight, optional
        Distances with limits, as they would be at the nearest layers.

    Returns
    -------
    inspection : Inspection
        Of the part with moved heights; features keep their ids.
    report : LayerReport
        With the move of every face, or the reason for none.

    Raises
    ------
    OptionError
        If there is no level face at a height asked for.
    UnsoundResultError
        If the moved part has faces that cross, with the place.

    Examples
    --------
    >>> import meshcomp
    >>> found = meshcomp.inspect(meshcomp.demo_part("knob"))
    >>> grid = LayerGrid(layer_height=0.4, first_layer=0.4)
    >>> moved, report = snapped(found, grid, SnapWish())
    >>> [(f.height, round(f.move, 6)) for f in report.off_grid]
    [(9.0, 0.2)]
    >>> round(moved.cylinders[0].end, 6)  # of the blind bore, mm
    9.2
    """
    mesh = inspection.part.mesh
    bed = float(mesh.bounds[0, 2])
    levels = levels_in(inspection)
    heights = levels.heights - bed
    asked = _asked(heights, wish)
    movable = dict(zip(heights.tolist(), asked, strict=True))
    layers = chosen_layers(grid, movable, kept)
    wanted = [_wanted(grid, z, layers[z], is_asked=a) for z, a in movable.items()]
    areas = levels.areas.sum(axis=1).tolist()
    rows = list(zip(heights.tolist(), wanted, areas, strict=True))
    items, stuck = items_of(rows, _lying_ranges(inspection, bed), levels.limit)
    knots = chosen_moves(items)
    before = replace(layer_report(inspection, grid), kept=tuple(kept))
    before = _with_choices(before, layers)
    reasons = _reasons(heights, knots, stuck, levels.limit)
    if not any(item.wanted for item in knots.items):
        return inspection, _told(before, knots, reasons)
    moved = moved_mesh(inspection, knots, bed, levels.limit)
    after = _moved_inspection(inspection, moved, knots, bed)
    told = _told(before, knots, reasons)
    return after, replace(told, moves=_moves(inspection, moved, knots, bed))


def _with_choices(report: LayerReport, layers: Mapping[float, float]) -> LayerReport:
    """Say of faces that are to go to another layer than the nearest why."""

    def why(face: LevelFace) -> str:
        layer = layers[face.height]
        named = [k.name for k in report.kept if face.height in {k.low, k.high}]
        if layer == face.printed or not named:
            return ""
        which = "above" if layer > face.height else "below"
        return f"the layer {which}, not the nearest, for the {' and the '.join(named)}"

    faces = tuple(replace(face, chosen=why(face)) for face in report.faces)
    return replace(report, faces=faces)


def _asked(heights: NDArray[np.float64], wish: SnapWish) -> list[bool]:
    if not wish.only:
        return [True] * len(heights)
    asked = np.zeros(len(heights), dtype=bool)
    for height in wish.only:
        near = np.abs(heights - height) <= _SAME_HEIGHT
        if not near.any():
            known = ", ".join(f"{z:.3f}" for z in heights.tolist())
            raise OptionError(
                f"no level face at {height:g} mm above the bed: there are some at {known}"
            )
        asked |= near
    return asked.tolist()


def _wanted(grid: LayerGrid, height: float, layer: float, *, is_asked: bool) -> float:
    if not is_asked or grid.is_on(height):
        return 0.0
    return layer - height


def _lying_ranges(inspection: Inspection, bed: float) -> list[tuple[float, float, str]]:
    """Heights that cylinders take which do not stand: they must stay round."""
    mesh = inspection.part.mesh
    found = []
    for cylinder in lying_cylinders(inspection):
        faces = np.concatenate([cylinder.faces, cylinder.entry_faces])
        z = mesh.vertices[mesh.faces[faces], 2] - bed
        found.append((float(z.min()), float(z.max()), cylinder.id))
    return found


def _reasons(
    heights: NDArray[np.float64],
    knots: Knots,
    stuck: list[tuple[float, str]],
    limit: float,
) -> dict[float, str]:
    """Why heights that were to move to a layer did not, by height."""
    reasons = dict(stuck)
    for item, reason in knots.refused:
        for z in heights[(heights >= item.low - limit) & (heights <= item.high + limit)]:
            reasons.setdefault(float(z), reason)
    return reasons


def _told(report: LayerReport, knots: Knots, reasons: dict[float, str]) -> LayerReport:
    """Add to a report what each face was moved by."""
    grid = report.grid

    def move(height: float) -> float:
        return float(knots.moved(np.array([height]))[0])

    def face(old: LevelFace) -> LevelFace:
        by = move(old.height)
        return replace(
            old,
            move=by,
            printed=grid.printed(old.height + by),
            is_midway=grid.is_midway(old.height + by),
            reason=reasons.get(old.height, ""),
        )

    def distance(old: Distance) -> Distance:
        high, low = (grid.printed(z + move(z)) for z in (old.high, old.low))
        return replace(old, printed=high - low)

    def kept(old: KeptHeight) -> KeptHeight:
        high, low = (grid.printed(z + move(z)) for z in (old.high, old.low))
        return replace(old, printed=high - low)

    return replace(
        report,
        faces=tuple(face(f) for f in report.faces),
        distances=tuple(distance(d) for d in report.distances),
        kept=tuple(kept(k) for k in report.kept),
    )


def _moves(inspection: Inspection, moved: Moved, knots: Knots, bed: float) -> HeightMoves:
    vectors = moved.before.area_vectors
    sweep = dot(
        vectors,
        (moved.mesh.vertices - moved.before.vertices)[moved.mesh.faces].mean(axis=1),
    )
    low, high = inspection.part.mesh.bounds[:, 2].tolist()
    return HeightMoves(
        heights=tuple(item.low for item in knots.items if not item.owner),
        moved_to=tuple(item.low + item.wanted for item in knots.items if not item.owner),
        rigid=tuple((i.low, i.high, i.owner) for i in knots.items if i.owner),
        bed=bed,
        bounds_before=(low, high),
        volume_before=inspection.solid.volume,
        predicted_volume_change=float(sweep.sum()),
        moved_volume=float(np.abs(sweep).sum()),
        split_faces=moved.split_faces,
    )


def _moved_inspection(
    inspection: Inspection, moved: Moved, knots: Knots, bed: float
) -> Inspection:
    part = inspection.part.with_mesh(moved.mesh, moved.parents)
    features = tuple(
        _moved_feature(feature, moved, knots, bed) for feature in inspection.features
    )
    return replace(
        inspection,
        part=part,
        solid=solid_state(moved.mesh, topology_of(moved.mesh), part.stand),
        features=features,
        internal_faces=inspection.internal_faces[moved.parents],
    )


def _moved_feature(feature: Feature, moved: Moved, knots: Knots, bed: float) -> Feature:
    def up(z: float) -> float:
        return z + float(knots.moved(np.array([z - bed]))[0])

    if isinstance(feature, Cylinder):
        entries = moved.faces_of(feature.entry_faces)
        feature = replace(feature, entry_faces=entries)
        return replace(_moved_cylinder(feature, up), faces=moved.faces_of(feature.faces))
    low, high = feature.level
    middle = feature.point.copy()
    share = (float(middle[2]) - low) / max(high - low, 1e-12)
    middle[2] = up(low) + share * (up(high) - up(low))
    ends = (feature.start, feature.end)
    if abs(float(feature.direction[2])) > STANDING:
        ends = (up(feature.start), up(feature.end))
    return replace(
        feature,
        point=middle,
        start=ends[0],
        end=ends[1],
        level=(up(low), up(high)),
        faces=moved.faces_of(feature.faces),
        planes=moved.faces_of(feature.planes),
    )


def _moved_cylinder(cylinder: Cylinder, up: Callable[[float], float]) -> Cylinder:
    """Move a cylinder: one that stands is stretched, any other moves as it is."""
    axis, point = cylinder.direction, cylinder.point.copy()
    if abs(float(axis[2])) >= STANDING:
        sign = 1.0 if axis[2] > 0 else -1.0
        start, end = (sign * up(sign * z) for z in (cylinder.start, cylinder.end))
        point[2] = sign * (start + end) / 2
        return replace(cylinder, start=start, end=end, point=point)
    by = up(float(point[2])) - float(point[2])
    point[2] += by
    along = by * float(axis[2])
    return replace(
        cylinder, start=cylinder.start + along, end=cylinder.end + along, point=point
    )
