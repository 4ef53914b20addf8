"""Each planned size, measured anew in sections of the written file."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across
from meshcomp.features import Cylinder, Feature
from meshcomp.inspections import Inspection
from meshcomp.meshes import Mesh
from meshcomp.plans import Correction, Plan
from meshcomp.remeasuring.circles import diameter_at
from meshcomp.remeasuring.lying import lying_size
from meshcomp.remeasuring.outlines import Outline, outlines_of
from meshcomp.remeasuring.places import Place, places_of
from meshcomp.remeasuring.walls import distance_at
from meshcomp.results import AchievedSize
from meshcomp.sections import rings_at
from meshcomp.topology import Topology, topology_of

__all__ = ["BORE_LIMIT", "WALL_LIMIT", "achieved_sizes"]

BORE_LIMIT = 0.002  # mm, diameter against plan
WALL_LIMIT = 0.001  # mm, distance against plan
_MOST_UNTRUE = 0.01  # mm, that a feature of the part before may be off its own size
_SAME_HEIGHT = 6  # decimals, mm

_Size = tuple[float, float]  # of a feature, and of a lying bore's height; else twice, mm
_Sizes = tuple[_Size | None, ...]  # at each of its places


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """A feature, what was planned for it, and where to measure it."""

    feature: Feature
    correction: Correction
    frame: NDArray[np.float64]
    places: tuple[Place, ...]
    aside: float = 0.0  # mm, how far the middle of a distance goes


def achieved_sizes(
    inspection: Inspection, plan: Plan, written: Mesh, topology: Topology
) -> tuple[AchievedSize, ...]:
    """Measure every feature that has a planned size, in the order of the features.

    Parameters
    ----------
    inspection : Inspection
        The part before: its features say where to look.
    plan : Plan
        The sizes wanted.
    written, topology
        The file's mesh, read back, as the printer's axes draw it; closed.
    """
    features = [f for f in inspection.features if f.nominal_size is not None]
    source = inspection.part.mesh
    measured: dict[str, AchievedSize] = {}
    for frame, mine in _by_frame(features):
        looks = [
            _Look(
                f,
                plan.of(f.id),
                frame,
                tuple(places_of(f, source, frame, _above(f, frame, plan, source))),
                _aside(f, plan),
            )
            for f in mine
        ]
        found = _sizes((written, topology), looks)
        doubtful = [
            look
            for look, sizes in zip(looks, found, strict=True)
            if not _as_planned(look, sizes)
        ]
        # No feature need be better than it was.
        was = [_at_first(look) for look in doubtful]
        shown = _sizes((source, topology_of(source)), was)
        before = dict(zip(doubtful, shown, strict=True))
        for look, sizes in zip(looks, found, strict=True):
            measured[look.feature.id] = _judged(look, sizes, before.get(look))
    return tuple(measured[feature.id] for feature in features)


def _above(feature: Feature, frame: NDArray[np.float64], plan: Plan, source: Mesh) -> float:
    """Height above which a feature has its size: its foot may be drawn in below."""
    foot = plan.foot
    is_upright = abs(float(frame[2, 2])) > 1 - 1e-9
    if foot is None or not is_upright or (feature.is_internal and not foot.opens_bores):
        return -np.inf
    return float(source.bounds[0, 2]) + foot.height


def _aside(feature: Feature, plan: Plan) -> float:
    """How far the middle of a distance goes along its direction, mm.

    Its planes are of other features, and each moves by the offset of its own.
    """
    if isinstance(feature, Cylinder) or not feature.between:
        return 0.0
    first, second = (plan.of(owner).offset for owner in feature.between)
    return (first - second if feature.is_internal else second - first) / 2


def _by_frame(features: list[Feature]) -> list[tuple[NDArray[np.float64], list[Feature]]]:
    """Group features by the direction across which they are cut."""
    groups: dict[tuple[float, ...], list[Feature]] = {}
    for feature in features:
        axis = feature.direction if isinstance(feature, Cylinder) else np.array([0.0, 0, 1])
        groups.setdefault(tuple(np.round(axis, 9).tolist()), []).append(feature)
    return [
        (np.vstack([basis_across(np.array(axis)), np.array(axis)]), mine)
        for axis, mine in groups.items()
    ]


def _key(place: Place) -> float:
    return round(place.height, _SAME_HEIGHT)


def _sizes(surface: tuple[Mesh, Topology], looks: list[_Look]) -> list[_Sizes]:
    """Size of each feature at each of its places, features of one frame."""
    if not looks:
        return []
    # Cut once at each height, however many features are measured there.
    heights = sorted({_key(place) for look in looks for place in look.places})
    sections = rings_at(*surface, looks[0].frame, heights)
    outlines = dict(zip(heights, outlines_of(sections), strict=True))
    return [
        tuple(_one_size(look, place, outlines[_key(place)]) for place in look.places)
        for look in looks
    ]


def _one_size(look: _Look, place: Place, outline: Outline) -> _Size | None:
    feature, planned = look.feature, look.correction.drawn_size
    if planned is None:
        return None
    if not isinstance(feature, Cylinder):
        return _twice(distance_at(feature, planned, place, outline, look.aside))
    if look.correction.lying is not None:
        shape = planned, look.correction.lying
        return lying_size(feature, shape, place, look.frame, outline)
    centre = look.frame[:2] @ feature.point
    return _twice(diameter_at(feature, planned, place, centre, outline))


def _twice(size: float | None) -> _Size | None:
    return None if size is None else (size, size)


def _planned(look: _Look) -> _Size | None:
    drawn, lying = look.correction.drawn_size, look.correction.lying
    if drawn is None:
        return None
    return (drawn, drawn) if lying is None else (drawn, lying.height)


def _miss(size: _Size, planned: _Size) -> float:
    return max(abs(a - b) for a, b in zip(size, planned, strict=True))


def _limit(look: _Look) -> float:
    return BORE_LIMIT if isinstance(look.feature, Cylinder) else WALL_LIMIT


def _as_planned(look: _Look, sizes: _Sizes) -> bool:
    """Whether a feature shows its planned size at every place; not if it has no place."""
    planned = _planned(look)
    if planned is None:
        return True
    limit = _limit(look)
    return bool(sizes) and all(s is not None and _miss(s, planned) <= limit for s in sizes)


def _at_first(look: _Look) -> _Look:
    """Look at a feature as it was in the part before."""
    if look.correction.is_left_alone:
        return look
    nominal = replace(
        look.correction, mesh_size=look.feature.nominal_size, stretch=1.0, lying=None
    )
    return replace(look, correction=nominal, aside=0.0)


def _as_before(look: _Look, sizes: _Sizes, before: _Sizes) -> bool:
    """Whether a feature shows at every place what it showed in the part before."""
    limit = _limit(look)
    return all(
        new is old if new is None or old is None else _miss(new, old) <= limit
        for new, old in zip(sizes, before, strict=True)
    )


def _as_true_as_before(look: _Look, sizes: _Sizes, before: _Sizes) -> bool:
    """Whether a feature is off its plan by no more than it was off its size before.

    Walls that are not quite parallel, or a cylinder not quite round, stay so.
    """
    planned, limit, nominal = _planned(look), _limit(look), look.feature.nominal_size
    if planned is None or nominal is None or look.correction.lying is not None:
        return False
    return bool(sizes) and all(
        new is not None
        and old is not None
        and _miss(new, planned) <= limit + min(abs(old[0] - nominal), _MOST_UNTRUE)
        for new, old in zip(sizes, before, strict=True)
    )


def _road(look: _Look, size: _Size) -> str:
    """Say how a size was measured."""
    lying = look.correction.lying
    if lying is None:
        is_round = isinstance(look.feature, Cylinder)
        return "circle through ring corners" if is_round else "between ring lines"
    if lying.roof:
        return f"circle below its roof, whose tangents touch {size[1]:.4f} mm"
    return f"ellipse through ring corners, {size[1]:.4f} mm high"


def _judged(look: _Look, sizes: _Sizes, before: _Sizes | None) -> AchievedSize:
    planned = _planned(look)
    found = [size for size in sizes if size is not None]
    worst = None
    if planned is None:
        how = "no size"
    elif found:
        worst = max(found, key=lambda size: _miss(size, planned))
        how = f"{_road(look, worst)}, {len(found)} of {len(sizes)} sections"
    else:
        how = "not seen in the sections of the written file"
    conforms, note = _as_planned(look, sizes), ""
    if before is not None and look.correction.is_left_alone:
        conforms, note = _as_before(look, sizes, before), "; as before"
    elif before is not None:
        conforms = _as_true_as_before(look, sizes, before)
        note = "; no truer than it was before"
    return AchievedSize(
        feature_id=look.feature.id,
        planned=look.correction.mesh_size,
        achieved=None if worst is None else worst[0] / look.correction.stretch,
        conforms=conforms,
        how=how + note if conforms else how,
    )
