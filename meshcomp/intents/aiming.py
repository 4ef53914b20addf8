"""From intents to features: the size each one is to have in print, and its limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from meshcomp.errors import OptionError
from meshcomp.features import Feature
from meshcomp.feels import Feel
from meshcomp.inspections import Inspection
from meshcomp.intents.hubs import hub_diameter
from meshcomp.intents.picking import all_picked
from meshcomp.intents.statements import Aim, Counterpart, Intent, Intents, Range
from meshcomp.standards import StandardPart, standard_part
from meshcomp.tolerances import Zone, zone_at

__all__ = ["aim_of", "aims_of", "is_far"]

_EXACT = 9  # digits of mm
_FAR_MM = 0.8  # what a size may be changed by however small it is
_FAR = 0.1  # of the size: further off a standard part cannot be what was drawn for


def aims_of(
    intents: Intents, inspection: Inspection, feels: Sequence[Feel] = ()
) -> dict[str, Aim]:
    """Return what each feature is to be, by id, for those that an intent picks.

    An intent that names a feature wins over one that picks it by kind, size, place or
    group; two of the same rank contradict each other.

    Parameters
    ----------
    intents : Intents
    inspection : Inspection
        The part and its features.
    feels : sequence of Feel
        What the calibration recorded of press, slide and free.

    Raises
    ------
    OptionError
        If an intent picks nothing, contradicts another or does not go with a feature;
        the message names the file and the line.
    """
    found: dict[str, Aim] = {}
    by_name: dict[str, Intent] = {}
    by_rule: dict[str, Intent] = {}
    for intent in intents.intents:
        for feature in all_picked(inspection, intent.pick, intent.place):
            chosen = by_name if feature.id in intent.pick.names else by_rule
            if feature.id in chosen:
                raise _problem(
                    intent,
                    f"{feature.id} has an intent already ({chosen[feature.id].place})",
                )
            chosen[feature.id] = intent
    for feature in inspection.features:
        stated = by_name.get(feature.id) or by_rule.get(feature.id)
        if stated is not None:
            hub = stated.hub_diameter or hub_diameter(inspection, feature)
            found[feature.id] = aim_of(stated, feature, (intents, feels), hub)
    return found


def _problem(intent: Intent, words: str) -> OptionError:
    return OptionError(f"{intent.place}: {words}")


def aim_of(
    intent: Intent,
    feature: Feature,
    told: tuple[Intents, Sequence[Feel]],
    hub: float | None,
) -> Aim:
    """Return what one intent comes to for one feature, whatever its pick.

    Parameters
    ----------
    intent : Intent
    feature : Feature
    told : Intents and sequence of Feel
        What holds for all intents, and what the words for feel mean.
    hub : float or None
        Diameter of the hub around the feature, mm.

    Raises
    ------
    OptionError
        If the intent does not go with the feature.
    """
    try:
        aim = _plain_aim(intent, feature, told[1])
    except OptionError as error:
        raise _problem(intent, f"{feature.id}: {error}") from error
    _check_target(intent, feature, aim)
    asked = told[0].probability if intent.probability is None else intent.probability
    has_limits = aim.lower is not None or (aim.gap is not None and aim.gap[0] < aim.gap[1])
    return replace(
        aim,
        probability=asked if has_limits else None,
        hub_diameter=hub,
        material=told[0].material,
    )


def _check_target(intent: Intent, feature: Feature, aim: Aim) -> None:
    nominal = feature.nominal_size
    if aim.target is None or nominal is None:
        return
    if is_far(aim.target, nominal):
        raise _problem(
            intent,
            f"{feature.id} has {nominal:g} mm and would be made {aim.target:g} mm: is this "
            "the feature you mean?",
        )


def is_far(target: float, nominal: float) -> bool:
    """Whether a size in print is so far from the one drawn that it is hardly meant.

    Examples
    --------
    >>> is_far(22.5, 22.0), is_far(12.0, 22.0)
    (False, True)
    """
    return abs(target - nominal) > max(_FAR_MM, _FAR * nominal)


def _plain_aim(intent: Intent, feature: Feature, feels: Sequence[Feel]) -> Aim:
    """Return what is wanted, before how surely."""
    if intent.keep:
        return Aim(words="keep as it is", place=intent.place, is_kept=True)
    if intent.gap is not None:
        return _gap(intent, feature)
    if feature.nominal_size is None:
        raise OptionError("a profile has no size: give gap, or keep = true")
    if intent.size is not None:
        return Aim(
            words=f"{intent.size:g} mm in print", place=intent.place, target=intent.size
        )
    against, hole = _against(intent, feature)
    if hole is not None:
        return _by_zone(intent, hole, f"{hole.in_words()} for {intent.part}", None)
    if intent.tolerance is not None:
        return _toleranced(intent, feature, against)
    if against is None:
        raise OptionError("nothing is stated that it could go together with")
    return _with_play(intent, feature, against, feels)


def _gap(intent: Intent, feature: Feature) -> Aim:
    if feature.kind != "profile":
        raise OptionError(
            f"gap is for profiles, and it is a {feature.kind}: give clearance or size"
        )
    least, most = intent.gap or (0.0, 0.0)
    words = f"{least:g} mm" if least == most else f"{least:g} to {most:g} mm"
    return Aim(words=f"gap of {words} per flank", place=intent.place, gap=(least, most))


def _against(intent: Intent, feature: Feature) -> tuple[Counterpart | None, Zone | None]:
    """Return what a feature meets, or the hole that a standard part asks for."""
    if intent.part is None:
        return intent.counterpart, None
    part = standard_part(intent.part)
    if part.hole is not None:
        if feature.kind != "bore":
            raise OptionError(f"{part.name} wants a bore, and it is a {feature.kind}")
        return None, part.hole
    return Counterpart(zone=_met(part, feature), name=part.name), None


def _met(part: StandardPart, feature: Feature) -> Zone:
    sides = {"bore": part.outside, "boss": part.inside, "slot": part.across}
    met = sides.get(feature.kind)
    if met is None:
        raise OptionError(f"{part.name} does not go with a {feature.kind}")
    if abs(met.nominal_size - (feature.nominal_size or 0.0)) > _FAR * met.nominal_size:
        raise OptionError(
            f"{part.name} has {met.nominal_size:g} mm there, and it has "
            f"{feature.nominal_size:g} mm: is this the feature you mean?"
        )
    return met


def _toleranced(intent: Intent, feature: Feature, against: Counterpart | None) -> Aim:
    text = intent.tolerance or ""
    nominal = feature.nominal_size or 0.0
    if against is not None:
        nominal = against.zone.nominal_size
    wanted = zone_at(nominal, text)
    if wanted.is_internal not in {None, feature.is_internal}:
        which = "holes" if wanted.is_internal else "shafts"
        raise OptionError(
            f"{wanted.in_words()} is of {which}, and it is a {feature.kind}: holes have "
            "capital letters, shafts small ones"
        )
    suffix = "" if against is None else f" for {against.name}"
    return _by_zone(intent, wanted, wanted.in_words() + suffix, against)


def _by_zone(intent: Intent, wanted: Zone, words: str, against: Counterpart | None) -> Aim:
    return Aim(
        words=words,
        place=intent.place,
        target=_target(intent, (wanted.lower_limit, wanted.upper_limit)),
        lower=wanted.lower_limit,
        upper=wanted.upper_limit,
        counterpart=against,
    )


def _target(intent: Intent, limits: Range) -> float:
    """Return the size to aim at: the middle of the limits, or where told."""
    if intent.aim is None:
        return round(sum(limits) / 2, _EXACT)
    if not limits[0] <= intent.aim <= limits[1]:
        raise OptionError(
            f"aim = {intent.aim:g} lies outside {limits[0]:g} to {limits[1]:g} mm: leave "
            "it out to aim at the middle"
        )
    return intent.aim


def _with_play(
    intent: Intent, feature: Feature, against: Counterpart, feels: Sequence[Feel]
) -> Aim:
    """Aim at the middle of a clearance from a counterpart between its limits."""
    least, most = _play(intent, feels)
    middle = against.zone.middle
    # A hole is larger than what goes into it by the clearance, a shaft smaller.
    ends = (
        (middle + least, middle + most)
        if feature.is_internal
        else (middle - most, middle - least)
    )
    has_limits = least < most
    return Aim(
        words=" ".join(_play_words(intent, against, (least, most))),
        place=intent.place,
        target=_target(intent, ends),
        lower=ends[0] if has_limits else None,
        upper=ends[1] if has_limits else None,
        shift=against.zone.width / 2 if has_limits else 0.0,
        counterpart=against,
    )


def _play(intent: Intent, feels: Sequence[Feel]) -> Range:
    if intent.clearance is not None:
        return intent.clearance
    for feel in feels:
        if feel.word == intent.feel:
            return feel.least, feel.most
    known = ", ".join(feel.word for feel in feels) or "none"
    raise OptionError(
        f"the calibration does not know how {intent.feel} feels (it knows: {known}): print "
        "and judge a fit ladder (meshcomp testpiece fit-ladder), or give clearance"
    )


def _play_words(intent: Intent, against: Counterpart, play: Range) -> Iterator[str]:
    zone_words = against.zone.in_words()
    name = against.name if against.name == zone_words else f"{against.name} ({zone_words})"
    yield f"{intent.feel or 'clearance'} on {name}:" if intent.feel else f"with {name}:"
    least, most = play
    if least == most:
        yield f"clearance {least:+.3f} mm"
    else:
        yield f"clearance {least:+.3f} to {most:+.3f} mm"
