"""Decide one correction per feature, or the reason for none."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import TypeGuard

import numpy as np

from meshcomp.errors import OptionError
from meshcomp.features import Feature, Wall
from meshcomp.following import followed
from meshcomp.inspections import Inspection
from meshcomp.lying_bores import Roof, roofed
from meshcomp.meshes import Mesh
from meshcomp.plans import Correction, Foot, Plan
from meshcomp.printer_axes import PrinterAxes
from meshcomp.printing import STANDING_LIMIT
from meshcomp.rules import ByHand, Calibrated, decided_for, left_alone, stretch_of

__all__ = ["ByHand", "Calibrated", "as_made", "plan"]

_LEAST_CHANGE = 1e-9  # mm
_LIES = 0.5  # cosine to the build direction: profiles stand or lie
_THREAD = "a thread: its flanks lean, and no law says how it prints"


def plan(
    inspection: Inspection,
    rule: ByHand | Calibrated,
    *,
    keep: tuple[str, ...] = (),
    sizes: Mapping[str, float] | None = None,
) -> Plan:
    """Decide what is done to each feature.

    Parameters
    ----------
    inspection : Inspection
        The part and its features.
    rule : ByHand or Calibrated
        Where the numbers come from.
    keep : tuple of str
        Ids of features to leave alone.
    sizes : mapping of str to float
        Mesh sizes in mm that replace the rule's, by id.

    Raises
    ------
    OptionError
        If an id is unknown, a size cannot be had, or nothing would be left of a feature
        that was set, or of most features.

    Examples
    --------
    >>> import meshcomp
    >>> part = meshcomp.demo_part("shaft_spacer")
    >>> found = meshcomp.inspect(part)
    >>> wanted = meshcomp.plan(found, meshcomp.ByHand(bore_opening=0.2))
    >>> round(wanted.of("bore-01").mesh_size, 6)  # mm
    8.2
    """
    sizes = sizes or {}
    known = {feature.id for feature in inspection.features}
    _check_ids(known, keep, sizes)
    _check_owned(inspection, sizes, keep)
    if isinstance(rule, Calibrated):
        _check_targets(inspection, rule)
        rule = rule.aimed(inspection)
    decide = _with_overrides(rule, keep, sizes)
    corrections = tuple(
        _flagged(c, f, inspection.part.mesh)
        for f, c in zip(
            inspection.features, _decided(inspection, decide, rule), strict=True
        )
    )
    _check_vanishing(corrections, sizes, may_be_held=isinstance(rule, ByHand))
    decided = Plan(
        corrections=corrections,
        source=rule.in_words(),
        source_sha256=None,
        axes=_about_the_part(rule.axes, inspection.part.mesh),
        foot=_checked_foot(rule.foot, inspection.part.mesh),
    )
    return decided if isinstance(rule, ByHand) else _foretold(decided, rule, inspection)


def _decided(
    inspection: Inspection,
    decide: Callable[[Feature], Correction],
    rule: ByHand | Calibrated,
) -> list[Correction]:
    """Decide for each feature, in order; for distances by what their walls do."""
    known = {
        feature.id: _without_change(decide(feature))
        for feature in inspection.features
        if not _follows(feature)
    }
    return [
        followed(feature, known, rule) if _follows(feature) else known[feature.id]
        for feature in inspection.features
    ]


def _lies(feature: Wall) -> str | None:
    """Say why a pocket that lies is left alone; None for what stands."""
    if feature.kind != "profile" or not feature.is_internal:
        return None
    if abs(float(feature.direction[2])) > _LIES:
        return None
    name = "pocket" if feature.shape is None else feature.shape.name
    return f"lying, {name}: how its sides and its roof print is known by no law"


def _follows(feature: Feature) -> TypeGuard[Wall]:
    return isinstance(feature, Wall) and bool(feature.between)


def _foretold(decided: Plan, rule: Calibrated, inspection: Inspection) -> Plan:
    """Add what will come of each feature in print, and where the rule is from."""
    pairs = zip(inspection.features, decided.corrections, strict=True)
    return replace(
        decided,
        corrections=tuple(rule.foretold(*pair) for pair in pairs),
        source_sha256=rule.sha256,
        intents_source=rule.intents.source if rule.intents else None,
        intents_sha256=rule.intents.sha256 if rule.intents else None,
    )


def as_made(
    decided: Plan,
    rule: ByHand | Calibrated,
    inspection: Inspection,
    made: Mapping[str, float],
) -> Plan:
    """Foretell anew what could not be made as planned.

    Parameters
    ----------
    decided : Plan
    rule : ByHand or Calibrated
        That the plan was decided by.
    inspection : Inspection
        The part that it was decided for.
    made : mapping of str to float
        Mesh sizes that were achieved, or offsets of profiles, mm, by feature id, for
        those that are not as planned.

    Returns
    -------
    Plan
        With the same corrections and the outlooks of what was made.
    """
    if isinstance(rule, ByHand) or not made:
        return decided
    aimed = rule.aimed(inspection)
    pairs = zip(inspection.features, decided.corrections, strict=True)
    return replace(
        decided,
        corrections=tuple(_as_made(aimed, feature, c, made) for feature, c in pairs),
    )


def _as_made(
    rule: Calibrated, feature: Feature, correction: Correction, made: Mapping[str, float]
) -> Correction:
    value = made.get(feature.id)
    if value is None:
        return correction
    really = (
        replace(correction, offset=value)
        if feature.nominal_size is None
        else replace(correction, mesh_size=value)
    )
    return replace(correction, outlook=rule.foretold(feature, really).outlook)


def _checked_foot(foot: Foot | None, mesh: Mesh) -> Foot | None:
    if foot is None or foot.growth == 0:
        return None
    high = float(np.ptp(mesh.bounds[:, 2]))
    if not 0 < foot.height < high:
        raise OptionError(
            f"the foot is {foot.height:g} mm high and the part {high:g} mm: give the "
            "height of the layers that spread, or leave the foot as it is"
        )
    return foot


def _about_the_part(axes: PrinterAxes | None, mesh: Mesh) -> PrinterAxes | None:
    """Put the centre in the middle of the part, on the bed: only heights above it grow."""
    if axes is None:
        return None
    low, high = mesh.bounds
    x, y = (low[:2] + high[:2]) / 2
    return replace(axes, centre=(float(x), float(y), float(low[2])))


def _with_overrides(
    rule: ByHand | Calibrated,
    keep: tuple[str, ...],
    sizes: Mapping[str, float],
) -> Callable[[Feature], Correction]:
    def decide_or_obey(feature: Feature) -> Correction:
        if feature.id in keep:
            return replace(left_alone(feature, "kept as asked"), is_kept=True)
        if feature.id in sizes:
            size = sizes[feature.id] * stretch_of(rule.axes, feature)
            return _set_to(feature, size, rule.roof)
        if isinstance(feature, Wall) and feature.shape and feature.shape.name == "thread":
            return left_alone(feature, _THREAD)
        if isinstance(feature, Wall) and (words := _lies(feature)):
            return left_alone(feature, words)
        return rule.laid(feature, rule.decide(feature))

    def in_the_mesh(feature: Feature) -> Correction:
        """Tell the size that draws as decided, once errors of the axes are undone."""
        correction, stretch = decide_or_obey(feature), stretch_of(rule.axes, feature)
        drawn = correction.mesh_size
        size = None if drawn is None else drawn / stretch
        return replace(correction, mesh_size=size, stretch=stretch)

    return in_the_mesh


def _set_to(feature: Feature, size: float, roof: Roof | None) -> Correction:
    if feature.nominal_size is None:
        raise OptionError(f"{feature.id} is a profile and has no size that could be set")
    half = (size - feature.nominal_size) / 2
    offset = -half if feature.is_internal else half
    decided = decided_for(feature, mesh_size=size, offset=offset, reason="set as asked")
    return decided if roof is None else roofed(feature, decided, roof)


def _without_change(correction: Correction) -> Correction:
    """Leave a feature alone, to the last bit, whose correction is zero."""
    if correction.is_left_alone or abs(correction.offset) > _LEAST_CHANGE:
        return correction
    if correction.lying or correction.reason.startswith(("set", "calibration")):
        return correction
    reason = f"{correction.reason}: nothing asked for"
    return replace(
        correction,
        offset=0.0,
        is_left_alone=True,
        reason=reason,
    )


def _flagged(correction: Correction, feature: Feature, mesh: Mesh) -> Correction:
    """Say of a pocket whose walls lean what becomes of them: one may be an oblique bore."""
    if correction.is_left_alone or feature.kind != "profile" or not feature.is_internal:
        return correction
    if isinstance(feature, Wall) and feature.shape and feature.shape.name == "cone":
        return correction  # known, and no bore
    areas = mesh.area_vectors[feature.faces]
    sizes = np.linalg.norm(areas, axis=1)
    lean = np.degrees(np.arcsin(np.abs(areas[:, 2]) / np.maximum(sizes, 1e-12)))
    leaning = lean > STANDING_LIMIT
    if sizes[leaning].sum() < sizes.sum() / 2:
        return correction
    flag = (
        f"walls that lean by up to {lean.max():.0f} degrees: moved sideways as a pocket's "
        "are; if this is a bore, it is not known as one, and its diameter is not proved"
    )
    return replace(correction, flags=(*correction.flags, flag))


def _check_ids(known: set[str], keep: tuple[str, ...], sizes: Mapping[str, float]) -> None:
    for name in (*keep, *sizes):
        if name not in known:
            raise OptionError(
                f"no feature {name!r} in this part: see the ids with meshcomp inspect"
            )
    both = sorted(set(keep) & set(sizes))
    if both:
        raise OptionError(f"{both[0]} is to be kept and set: say one of the two")


def _check_owned(
    inspection: Inspection, sizes: Iterable[str], keep: tuple[str, ...] = ()
) -> None:
    """Refuse to set what only follows from other features, or to keep it without them."""
    wanted = {*sizes, *keep}
    for feature in inspection.features:
        if feature.id not in wanted or not _follows(feature):
            continue
        if not {feature.id, *feature.between} <= set(keep):
            raise OptionError(
                f"{feature.id} has no walls of its own: it follows from "
                f"{feature.owners_in_words}: keep or set those"
            )


def _check_targets(inspection: Inspection, rule: Calibrated) -> None:
    _check_ids({feature.id for feature in inspection.features}, (), rule.targets)
    _check_owned(inspection, rule.targets)
    for feature in inspection.features:
        if feature.id in rule.targets and feature.nominal_size is None:
            raise OptionError(f"{feature.id} is a profile and has no size to aim at")


def _check_vanishing(
    corrections: tuple[Correction, ...], sizes: Iterable[str], *, may_be_held: bool
) -> None:
    """Refuse what leaves nothing of a feature.

    Of one number for all, the few features that are too small for it are held back when
    the mesh is made; where they are the most, the number is a slip.
    """
    changed = [c for c in corrections if c.mesh_size is not None and not c.is_left_alone]
    gone = [c for c in changed if c.vanishes]
    are_few = may_be_held and 2 * len(gone) <= len(changed)
    for correction in gone:
        if not are_few or correction.feature_id in sizes:
            raise OptionError(
                f"{correction.feature_id}: the corrected size would be "
                f"{correction.mesh_size:g} mm: give a smaller correction, or --keep it"
            )
