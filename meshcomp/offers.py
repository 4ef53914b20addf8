"""What each feature of a part could be made for, and what would come of each choice."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from meshcomp.errors import MeshCompError
from meshcomp.features import Feature
from meshcomp.inspections import Inspection
from meshcomp.intents import Aim, Intent, Intents, aim_of
from meshcomp.intents.choices import Choice, choices, head_of, keys_of, toml_keys
from meshcomp.intents.hubs import hub_diameter
from meshcomp.intents.picking import picked
from meshcomp.plans import Correction
from meshcomp.results import Offer, Offers
from meshcomp.rules import Calibrated, stretch_of

__all__ = ["offers_for"]

_NOTHING = Choice(group="", label="no intent: its nominal size", keys={})


def offers_for(inspection: Inspection, rule: Calibrated) -> Offers:
    """Try what may be chosen for each feature of a part.

    Parameters
    ----------
    inspection : Inspection
        The part and its features.
    rule : Calibrated
        How the part was corrected, with the intents that were stated.

    Returns
    -------
    Offers
        The first offer of each feature is what was stated, or that nothing was; none of
        a distance, which follows from its walls.

    Examples
    --------
    >>> import meshcomp
    >>> from meshcomp.calibration.record import invented_calibration_path
    >>> record = meshcomp.read_calibration(invented_calibration_path())
    >>> found = meshcomp.inspect(meshcomp.demo_part("shaft_spacer"))
    >>> offers = offers_for(found, Calibrated(model=record.model)).of_features[0]
    >>> next(o for o in offers if o.label == "H11").target  # mm: 8 +0.09/0
    8.045
    """
    known: dict[object, tuple[Offer, ...]] = {}
    found: list[tuple[Offer, ...]] = []
    for feature in inspection.features:
        if feature.kind == "distance":  # nothing to choose: it follows from its walls
            found.append(())
            continue
        key = _likeness(feature, inspection)
        if key not in known:
            known[key] = tuple(_tried(feature, inspection, rule))
        found.append((_stated(feature, inspection, rule), *known[key]))
    return Offers(head=head_of(rule.intents), of_features=tuple(found))


def _likeness(feature: Feature, inspection: Inspection) -> object:
    """Return what decides of a feature how it prints: alike ones are tried once."""
    if feature.nominal_size is None:
        return feature.id
    along = () if feature.kind in {"bore", "boss"} else tuple(feature.direction.round(6))
    size = round(feature.nominal_size, 4)
    angle = round(float(getattr(feature, "build_angle", 0.0)), 2)
    return feature.kind, size, angle, along, hub_diameter(inspection, feature)


def _tried(feature: Feature, inspection: Inspection, rule: Calibrated) -> Iterator[Offer]:
    if _intent_of(feature, inspection, rule) is not None:
        yield _offer(_NOTHING, feature, None, rule)
    hub = hub_diameter(inspection, feature)
    for choice in choices(feature, rule.feels):
        if choice.typed is not None:
            yield _to_be_typed(choice)
            continue
        aim = _aim(choice.intent(feature.id), feature, hub, rule)
        if aim is not None:
            yield _offer(choice, feature, aim, rule)


def _stated(feature: Feature, inspection: Inspection, rule: Calibrated) -> Offer:
    """Return what was stated for a feature, as a choice like any other."""
    intent, aim = _intent_of(feature, inspection, rule), rule.aims.get(feature.id)
    if intent is None and aim is not None:
        # An aim without an intent comes from a kit, whose mates hold in any case.
        words = f"as the kit wants: {aim.words}"
        return _offer(Choice(group="", label=words, keys={}), feature, aim, rule)
    if intent is None:
        return _offer(_NOTHING, feature, None, rule)
    aim = _aim(intent, feature, hub_diameter(inspection, feature), rule)
    words = "as stated" if aim is None else f"as stated: {aim.words}"
    return _offer(Choice(group="", label=words, keys=keys_of(intent)), feature, aim, rule)


def _intent_of(feature: Feature, inspection: Inspection, rule: Calibrated) -> Intent | None:
    """Return the intent that holds for a feature: one that names it wins."""
    stated = () if rule.intents is None else rule.intents.intents
    mine = [i for i in stated if feature in picked(inspection, i.pick)]
    mine.sort(key=lambda intent: feature.id not in intent.pick.names)
    return mine[0] if mine else None


def _aim(
    intent: Intent, feature: Feature, hub: float | None, rule: Calibrated
) -> Aim | None:
    """Return what an intent comes to; None where it does not go with the feature."""
    basis = rule.intents or Intents(source="the report", sha256="", intents=())
    try:
        return aim_of(intent, feature, (basis, rule.feels), intent.hub_diameter or hub)
    except MeshCompError:
        return None


def _offer(choice: Choice, feature: Feature, aim: Aim | None, rule: Calibrated) -> Offer:
    drawn = rule.decided(feature, aim, None if aim is None else aim.target)
    decided = _in_the_mesh(drawn, feature, rule)
    outlook = rule.foreseen(feature, decided, aim)
    return Offer(
        group=choice.group,
        label=choice.label,
        keys=toml_keys(choice.keys),
        target=_target(decided, aim),
        lower=outlook.lower,
        upper=outlook.upper,
        low=outlook.low,
        high=outlook.high,
        probability=outlook.probability,
        notes=(*((outlook.shortfall,) if outlook.shortfall else ()), *outlook.warnings),
    )


def _in_the_mesh(drawn: Correction, feature: Feature, rule: Calibrated) -> Correction:
    """Return a correction with the size of the mesh, once the axes' errors are undone."""
    stretch = stretch_of(rule.axes, feature)
    if stretch == 1.0:
        return drawn
    size = None if drawn.mesh_size is None else drawn.mesh_size / stretch
    return replace(drawn, mesh_size=size, stretch=stretch)


def _target(decided: Correction, aim: Aim | None) -> float | None:
    """Return the size aimed at, whether or not a law says how to reach it."""
    if aim is not None and aim.target is not None:
        return aim.target
    return None if aim is not None and aim.is_kept else decided.target_size


def _to_be_typed(choice: Choice) -> Offer:
    base, sign = None, 1.0
    if choice.typed == "clearance":
        counterpart = choice.intent("").counterpart
        base = None if counterpart is None else counterpart.zone.middle
        is_hole = counterpart is not None and counterpart.zone.is_internal
        sign = -1.0 if is_hole else 1.0
    return Offer(
        group=choice.group,
        label=choice.label,
        keys=toml_keys(choice.keys),
        typed=choice.typed,
        base=base,
        sign=sign,
    )
