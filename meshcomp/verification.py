"""Prove a compensated part: read the written file back and measure it anew.

The road is not the one that made it: the file is cut by manifold3d, circles are
associated to the corners of the rings, and walls are measured between ring lines.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import basis_across, dot, unit
from meshcomp.association import associate_circle
from meshcomp.crossings import crossing_pairs
from meshcomp.errors import AssociationError
from meshcomp.features import Cylinder, Feature, Wall
from meshcomp.inspecting import solid_state
from meshcomp.inspections import Inspection, SolidState
from meshcomp.parts import Part
from meshcomp.plans import Correction
from meshcomp.results import AchievedSize, Check, Compensated, Verification
from meshcomp.solids import sections_at
from meshcomp.topology import topology_of

__all__ = ["BORE_LIMIT", "WALL_LIMIT", "verify"]

BORE_LIMIT = 0.002  # mm, diameter against plan
WALL_LIMIT = 0.001  # mm, distance against plan
_VOLUME_SHARE = 0.02  # of what is added and taken away together, and:
_VOLUME_PART = 2e-5  # of the whole volume
_AT = (0.5, 0.31, 0.73)  # where along a feature it is cut
_NEAR = 0.06  # mm, ring corner to the circle expected
_LEAST_COVER = 150.0  # degrees of a circle that a section must show


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
    sizes = _sizes(inspection, result, written) if solid.is_watertight else ()
    return Verification(
        sizes=sizes,
        checks=_checks(inspection, result, written, solid),
        solid=solid,
        volume_change=solid.volume - inspection.solid.volume,
        predicted_volume_change=result.predicted_volume_change,
    )


def _sizes(
    inspection: Inspection, result: Compensated, written: Part
) -> tuple[AchievedSize, ...]:
    """Measure every feature that has a size, along one direction at a time."""
    features = [f for f in inspection.features if f.nominal_size is not None]
    measured: dict[str, AchievedSize] = {}
    for frame, mine in _by_frame(features):
        heights = [h for feature in mine for h in _heights(feature)]
        sections = sections_at(written.mesh, frame, heights)
        for k, feature in enumerate(mine):
            own = sections[len(_AT) * k : len(_AT) * (k + 1)]
            measured[feature.id] = _measured(
                feature, result.plan.of(feature.id), frame, own
            )
    return tuple(measured[feature.id] for feature in features)


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


def _heights(feature: Feature) -> list[float]:
    if isinstance(feature, Cylinder):
        low, high = feature.start, feature.end
    else:
        low, high = feature.level
    return [low + share * (high - low) for share in _AT]


def _measured(
    feature: Feature,
    correction: Correction,
    frame: NDArray[np.float64],
    sections: list[list[NDArray[np.float64]]],
) -> AchievedSize:
    planned = correction.mesh_size
    if planned is None:
        return AchievedSize(
            feature_id=feature.id, planned=None, achieved=None, conforms=True, how="no size"
        )
    is_round = isinstance(feature, Cylinder)
    found = [
        size
        for rings in sections
        if (size := _one_size(feature, planned, frame, rings)) is not None
    ]
    if not found:
        return AchievedSize(
            feature_id=feature.id,
            planned=planned,
            achieved=None,
            conforms=False,
            how="not seen in the sections of the written file",
        )
    worst = max(found, key=lambda size: abs(size - planned))
    limit = BORE_LIMIT if is_round else WALL_LIMIT
    how = "circle through ring corners" if is_round else "between ring lines"
    return AchievedSize(
        feature_id=feature.id,
        planned=planned,
        achieved=worst,
        conforms=abs(worst - planned) <= limit or correction.is_left_alone,
        how=f"{how}, {len(found)} of {len(_AT)} sections",
    )


def _one_size(
    feature: Feature,
    planned: float,
    frame: NDArray[np.float64],
    rings: list[NDArray[np.float64]],
) -> float | None:
    if isinstance(feature, Cylinder):
        return _diameter(frame @ feature.point, planned, rings)
    return _distance(feature, planned, rings)


def _diameter(
    centre: NDArray[np.float64], planned: float, rings: list[NDArray[np.float64]]
) -> float | None:
    """Associate a circle to the ring corners that lie near the one expected."""
    corners = np.concatenate([*map(_corners_of, rings), np.zeros((0, 2))])
    away = corners - centre[:2]
    near = np.abs(np.hypot(away[:, 0], away[:, 1]) - planned / 2) < _near(planned)
    angles = np.sort(np.degrees(np.arctan2(away[near, 1], away[near, 0])))
    if len(angles) < 5:  # noqa: PLR2004 - a circle needs some corners
        return None
    gaps = np.diff(np.append(angles, angles[0] + 360))
    if 360 - gaps[gaps > 50].sum() < _LEAST_COVER:  # noqa: PLR2004 - wider than any facet
        return None
    try:
        return associate_circle(corners[near])[1]
    except AssociationError:
        return None


def _near(planned: float) -> float:
    return min(_NEAR, 0.05 * planned)


def _corners_of(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    """Ring points where the outline bends: points amid a facet are no corners of it."""
    before = ring - np.roll(ring, 1, axis=0)
    after = np.roll(ring, -1, axis=0) - ring
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    chord = np.linalg.norm(before + after, axis=1)
    return np.asarray(ring[np.abs(cross) > 2e-5 * np.maximum(chord, 1e-12)])


def _distance(wall: Wall, planned: float, rings: list[NDArray[np.float64]]) -> float | None:
    """Distance of the two longest ring lines near the planes expected."""
    normal = wall.direction[:2]
    middle = (wall.start + wall.end) / 2
    positions = []
    for side in (-0.5, 0.5):
        expected = middle + side * planned
        lines = [line for ring in rings for line in _lines_at(ring, normal, expected)]
        if not lines:
            return None
        length = sum(line[0] for line in lines)
        positions.append(sum(line[0] * line[1] for line in lines) / length)
    return positions[1] - positions[0]


def _lines_at(
    ring: NDArray[np.float64], normal: NDArray[np.float64], expected: float
) -> list[tuple[float, float]]:
    """Length and position of ring lines across `normal` near a position."""
    ends = np.roll(ring, -1, axis=0)
    along = unit(ends - ring)
    lengths = np.linalg.norm(ends - ring, axis=1)
    position = dot((ring + ends) / 2, np.broadcast_to(normal, ring.shape))
    square = np.abs(along @ normal) < 1e-3  # noqa: PLR2004 - sine
    good = square & (np.abs(position - expected) < _NEAR) & (lengths > 0.05)  # noqa: PLR2004
    return list(zip(lengths[good].tolist(), position[good].tolist(), strict=True))


def _checks(
    inspection: Inspection, result: Compensated, written: Part, solid: SolidState
) -> tuple[Check, ...]:
    before = inspection.solid
    return (
        Check(
            name="closed solid",
            passed=solid.is_watertight,
            figure=f"{solid.triangles} triangles, every edge shared by two",
        ),
        Check(
            name="bodies and holes",
            passed=(solid.bodies, solid.genus) == (before.bodies, before.genus),
            figure=f"{solid.bodies} bodies and {solid.genus} handles, before "
            f"{before.bodies} and {before.genus}",
        ),
        _height_check(inspection, written),
        _volume_check(before, solid, result),
        _crossing_check(inspection, written),
    )


def _height_check(inspection: Inspection, written: Part) -> Check:
    old, new = inspection.part.mesh.bounds[:, 2], written.mesh.bounds[:, 2]
    return Check(
        name="height unchanged",
        passed=bool((old == new).all()),
        figure=f"from {new[0]:.4f} to {new[1]:.4f} mm, before {old[0]:.4f} to {old[1]:.4f}",
    )


def _volume_check(before: SolidState, after: SolidState, result: Compensated) -> Check:
    change = after.volume - before.volume
    predicted = result.predicted_volume_change
    limit = _VOLUME_SHARE * result.moved_volume + _VOLUME_PART * before.volume
    limited = " (some offsets were limited)" if result.limits else ""
    return Check(
        name="volume change as predicted",
        passed=abs(change - predicted) <= limit or bool(result.limits),
        figure=f"{change:+.2f} mm³, predicted {predicted:+.2f} mm³ from area times "
        f"offset{limited}",
    )


def _crossing_check(inspection: Inspection, written: Part) -> Check:
    count = len(np.unique(crossing_pairs(written.mesh)))
    before = len(np.unique(crossing_pairs(inspection.part.mesh))) if count else 0
    return Check(
        name="no new crossing faces",
        passed=count <= before,
        figure=f"{count} faces cross others, before {before}",
    )
