"""Which pairs of a kit will fit, and how surely, from the sizes that were made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from meshcomp.calibration.observations import instrument_shares
from meshcomp.calibration.results import Calibration
from meshcomp.deviations import SizeLaw
from meshcomp.errors import OptionError
from meshcomp.fits.clearances import Clearance, Term, clearance, flank_gap
from meshcomp.fits.members import Made, Member, printed_flank, printed_size
from meshcomp.fits.together import Requirement, probability_of_all
from meshcomp.kits.selecting import selected
from meshcomp.mechanisms import (
    Bought,
    FeatureOutcome,
    Mate,
    MateOutcome,
    PairOutcome,
    PartOutcome,
    Reference,
)

__all__ = ["Known", "judged", "paired"]

_Side = tuple[str, Member]  # in words, and its size
_SAME = 1e-6  # mm: two wishes for one size that agree


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Known:
    """What mates are judged by: the parts as made, and the calibrations by content."""

    parts: Mapping[str, PartOutcome]
    calibrations: Mapping[str, Calibration]


class _UnknownError(Exception):
    """Nothing can be told of a mate, for the reason that is given."""


def judged(
    mates: Sequence[Mate], known: Known
) -> tuple[tuple[MateOutcome, ...], float | None]:
    """Return what becomes of each mate, and the probability that all pairs fit.

    The latter is None where nothing can be told of a mate, or there is none.
    """
    outcomes, wanted = [], []
    for mate in mates:
        outcome, requirements = _judged(mate, known)
        outcomes.append(outcome)
        wanted += requirements
    can_tell = bool(wanted) and all(each.unknown is None for each in outcomes)
    return tuple(outcomes), probability_of_all(wanted) if can_tell else None


def _judged(mate: Mate, known: Known) -> tuple[MateOutcome, list[Requirement]]:
    try:
        sides = (mate.internal, mate.external)
        internal, external = (_side(x, known, is_gap=mate.is_gap) for x in sides)
        pairs = paired(internal, external, mate.name)
        found = [_pair(mate, *pair) for pair in pairs]
    except (_UnknownError, OptionError) as error:
        return MateOutcome(mate=mate, unknown=str(error)), []
    sizes = (len(internal), len(external))
    copies = _copies(mate, sizes, known)
    requirements = [
        Requirement(
            terms=_terms(mate, *(member for _, member in pairs[number % len(pairs)])),
            least=mate.least,
            most=mate.most,
            prints=_prints(mate, pairs[number % len(pairs)], number, sizes, known),
        )
        for number in range(copies)
    ]
    notes = tuple(dict.fromkeys(_notes(mate, known)))
    outcome = MateOutcome(mate=mate, pairs=tuple(found), copies=copies, notes=notes)
    return outcome, requirements


def _prints(
    mate: Mate, pair: tuple[_Side, _Side], number: int, sizes: tuple[int, int], known: Known
) -> tuple[str | None, ...]:
    """Name the prints that one of the pairs to make is of; None: a bought part.

    Copies of a part are taken in turn, so that the same copies go together in all mates;
    where there is less of one part, its copies take part in several pairs.
    """
    return tuple(
        f"{name} {number // features % known.parts[side.part].quantity}"
        if isinstance(side, Reference)
        else None
        for side, (name, _), features in zip(
            (mate.internal, mate.external), pair, sizes, strict=True
        )
    )


def _terms(mate: Mate, inner: Member, outer: Member) -> tuple[Term, ...]:
    """Return what the clearance is the sum of: flanks take their gap from both sides."""
    return ((-1.0 if mate.is_gap else 1.0, inner), (-1.0, outer))


def paired(
    internal: Sequence[_Side], external: Sequence[_Side], mate: str
) -> list[tuple[_Side, _Side]]:
    """Return which goes with which: one with each, or each with its like in order.

    Raises
    ------
    OptionError
        If there are several on both sides, and not as many.
    """
    if len(internal) == 1 or len(external) == 1:
        return [(inner, outer) for inner in internal for outer in external]
    if len(internal) != len(external):
        raise OptionError(
            f"mate {mate!r}: {len(internal)} internal and {len(external)} external "
            "features cannot be paired: name one of a side, or as many on both"
        )
    return list(zip(internal, external, strict=True))


def _side(what: Reference | Bought, known: Known, *, is_gap: bool) -> list[_Side]:
    if isinstance(what, Bought):
        return [(what.words, Made(lower=what.lower, upper=what.upper))]
    part = known.parts[what.part]
    if part.error is not None:
        raise _UnknownError(f"{part.name} failed")
    features = selected(part.features, what.features, part.name)
    member = _flank if is_gap else _size
    return [(f"{part.name}/{f.id}", member(part, f, known)) for f in features]


def _size(part: PartOutcome, feature: FeatureOutcome, known: Known) -> Member:
    if feature.nominal_size is None or feature.mesh_size is None:
        raise _UnknownError(f"{part.name}/{feature.id} is a profile and has no size")
    law, key, shares = _law(part, feature, known)
    return printed_size(law, feature.mesh_size, key=key, shares=shares)


def _flank(part: PartOutcome, feature: FeatureOutcome, known: Known) -> Member:
    if feature.kind != "profile":
        raise _UnknownError(f"{part.name}/{feature.id} is a {feature.kind}, no flank")
    law, key, shares = _law(part, feature, known)
    return printed_flank(
        law, feature.offset, is_internal=feature.is_internal, key=key, shares=shares
    )


def _law(
    part: PartOutcome, feature: FeatureOutcome, known: Known
) -> tuple[SizeLaw, tuple[str, str], dict[str, float]]:
    """Return the law a feature prints by, its key, and the shares of instruments."""
    if feature.law is None or part.calibration_sha256 is None:
        raise _UnknownError(f"{part.name}/{feature.id}: {feature.reason}")
    calibration = known.calibrations[part.calibration_sha256]
    readings = [r for r in calibration.readings if r.kind == feature.law and r.values]
    key = (part.calibration_sha256, feature.law)
    return calibration.model.laws[feature.law], key, instrument_shares(readings)


def _pair(mate: Mate, internal: _Side, external: _Side) -> PairOutcome:
    between = flank_gap if mate.is_gap else clearance
    found = between(internal[1], external[1])
    low, high = found.interval()
    return PairOutcome(
        internal=internal[0],
        external=external[0],
        mean=found.mean,
        low=low,
        high=high,
        standard_uncertainty=found.standard_uncertainty,
        correlation=found.correlation,
        **_probabilities(found, mate),
    )


def _probabilities(found: Clearance, mate: Mate) -> dict[str, float]:
    return {
        "assembles": found.probability_within(mate.least, None),
        "is_tight": found.probability_within(None, mate.most),
        "fits": found.probability_within(mate.least, mate.most),
    }


def _copies(mate: Mate, features: tuple[int, int], known: Known) -> int:
    """Return how many pairs there are when as many parts are made as asked.

    Each side brings its features times its quantity; a bought part is had as often as
    it is needed, and the side of which there is less goes with several of the other.
    """
    sides = zip((mate.internal, mate.external), features, strict=True)
    return max(
        number * known.parts[side.part].quantity
        for side, number in sides
        if isinstance(side, Reference)
    )


def _notes(mate: Mate, known: Known) -> list[str]:
    """Say where a size is another than the one that this mate wants."""
    found: list[str] = []
    if mate.is_gap:
        return found
    sides = (mate.internal, mate.external)
    for side, wish in zip(sides, mate.aims, strict=True):
        if wish is None or isinstance(side, Bought):
            continue
        part = known.parts[side.part]
        for feature in selected(part.features, side.features, part.name):
            target = feature.target_size
            if target is not None and abs(target - wish) > _SAME:
                found.append(
                    f"{part.name}/{feature.id} is aimed at {target:.3f} mm by its part or "
                    f"an earlier mate, not at {wish:.3f} mm"
                )
    return found
