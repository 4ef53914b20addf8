"""Plan the grooves of a part: for which features, where, how far, and what cuts them."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.compensation.carving.cutting import prism
from meshcomp.errors import OptionError
from meshcomp.grooving.choosing import choose
from meshcomp.grooving.mouths import cutter_outline, mouth_of
from meshcomp.grooving.reaching import areas_in, reaches, volume_in
from meshcomp.grooving.surfaces import Seat, Surface, surface_of
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.seams import Groove, SeamWish
from meshcomp.solids import Solid
from meshcomp.solids.cutting import column_of
from meshcomp.treatments import ALL

__all__ = ["Planned", "planned_grooves"]

_LOOKS = 12  # heights of a stretch at which a groove's section is looked at
_MOST_OUTLINES = 4  # of a feature whose walls have several heights
_JUST_INSIDE = 0.01  # mm
_SAME_AREA = 0.02
Planned = tuple[Groove, tuple[Mesh, ...], int]  # with its cutters and a face of its wall


def planned_grooves(
    inspection: Inspection,
    mesh: Mesh,
    parents: NDArray[np.int64],
    solid: Solid,
    wish: SeamWish,
) -> tuple[list[Planned], tuple[tuple[str, str], ...]]:
    """Plan the grooves that were wished for.

    Parameters
    ----------
    inspection : Inspection
        The part before, and its features.
    mesh : Mesh
        After compensation.
    parents : (m,) int
        The old face of each of its faces.
    solid : Solid
        Of that mesh.
    wish : SeamWish

    Returns
    -------
    planned : list of Planned
    left_out : tuple of (id, reason)

    Raises
    ------
    OptionError
        If a feature that was named can have no groove, with the reason.
    """
    asked = _asked(inspection, wish)
    loads = _loads(inspection, wish)
    chosen: dict[str, Planned] = {}
    reasons: dict[str, str] = {}
    for look in range(_MOST_OUTLINES):
        left = {name: bearing for name, bearing in asked.items() if name not in chosen}
        surfaces, refused = _surfaces(inspection, mesh, parents, (left, wish.width), look)
        scene = (left, loads, _line_of(chosen))
        found, unplaced = _looked_for(surfaces, scene, solid, wish)
        chosen |= found
        # What the first look said of a feature holds, unless a later one finds a place.
        reasons = refused | unplaced | reasons
        if not surfaces:
            break
    left_out = {name: why for name, why in reasons.items() if name not in chosen}
    for name in dict(wish.features).keys() & left_out.keys():
        raise OptionError(f"{name} can have no groove for the seam: {left_out[name]}")
    in_order = [chosen[name] for name in asked if name in chosen]
    return in_order, tuple((name, left_out[name]) for name in asked if name in left_out)


def _line_of(chosen: dict[str, Planned]) -> float | None:
    """Return the bearing at which most of the grooves lie; None without any."""
    bearings = Counter(groove.bearing for groove, _, _ in chosen.values())
    return max(bearings, key=lambda b: bearings[b], default=None)


def _looked_for(
    surfaces: list[Surface],
    scene: tuple[dict[str, float | None], dict[str, float], float | None],
    solid: Solid,
    wish: SeamWish,
) -> tuple[dict[str, Planned], dict[str, str]]:
    """Place grooves on surfaces; tell of those that have no room why."""
    made: dict[str, Planned] = {}
    asked, loads, line = scene

    def fits(surface: Surface, seat: Seat) -> bool:
        groove = _groove(surface, seat, solid, wish)
        if groove is not None:
            made[surface.feature.id] = groove
        return groove is not None

    choices = choose(
        surfaces, asked, (wish.width, wish.depth), fits, loads=loads, line=line
    )
    placed, reasons = {}, {}
    for name, choice in choices.items():
        if isinstance(choice, str):
            reasons[name] = choice
        else:
            groove, cutters, face = made[name]
            placed[name] = (replace(groove, reason=choice.reason), cutters, face)
    return placed, reasons


def _surfaces(
    inspection: Inspection,
    mesh: Mesh,
    parents: NDArray[np.int64],
    wanted: tuple[dict[str, float | None], float],
    look: int,
) -> tuple[list[Surface], dict[str, str]]:
    """Surfaces of the features that were asked for, and why others have no seat."""
    asked, width = wanted
    found = {
        feature.id: surface_of(feature, mesh, parents, width, look)
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


def _loads(inspection: Inspection, wish: SeamWish) -> dict[str, float]:
    """Return which way each feature is pushed; what names it wins over what is for all."""
    known = [feature.id for feature in inspection.features]
    loads = {name: towards for at, towards in wish.loads if at == ALL for name in known}
    for name, _ in wish.loads:
        if name != ALL and name not in known:
            raise OptionError(
                f"load of {name!r}: no such feature in this part: see the ids with "
                "meshcomp inspect"
            )
    return loads | {name: towards for name, towards in wish.loads if name != ALL}


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
    ends = [np.array([reach.low, reach.high]) for reach in found]
    return groove, tuple(prism(outline, each, np.eye(3)) for each in ends), seat.face


def _is_even(column: Solid, surface: Surface, seat: Seat) -> bool:
    """Whether a column's section is the same at all heights of the stretches."""
    heights = [surface.height]
    for low, high in seat.stretches.tolist():
        heights += np.linspace(low + _JUST_INSIDE, high - _JUST_INSIDE, _LOOKS).tolist()
    areas = areas_in(column, heights)
    return bool(np.abs(areas - areas[0]).max() <= _SAME_AREA * areas[0])


def _pair(point: NDArray[np.float64]) -> tuple[float, float]:
    return float(point[0]), float(point[1])
