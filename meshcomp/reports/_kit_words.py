"""What every report of a kit says in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from meshcomp.mechanisms import KitOutcome, MateOutcome, PairOutcome, PartOutcome
from meshcomp.reports._numbers import count, percent, signed, tenths
from meshcomp.reports._rows import ids_in_words
from meshcomp.reports._sentences import SLICER_LINE

__all__ = [
    "KitVerdict",
    "in_words",
    "kit_cautions",
    "kit_verdict",
    "mate_state",
    "part_state",
    "shortfalls",
    "sides",
    "together",
]

_PRESSED = (
    "A mate may press: a press fit can split a printed part, at once or weeks "
    "later, as layers part and plastic creeps. Try one; where it can hurt somebody, local "
    "codes and licensed practice decide."
)
_SHARED = (
    "Probabilities hold for prints like those that were measured: same printer, material "
    "and settings. If the calibration is out, it is out for all mates alike."
)
_FIRST = (
    "Measure the first print of each part before you make the rest: what is proved here "
    "are the meshes."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class KitVerdict:
    """The outcome of a kit: a state for machines, a few words, and a sentence."""

    state: str  # "good", "short" or "failed"
    heading: str
    sentence: str


def kit_verdict(outcome: KitOutcome) -> KitVerdict:
    """Say what became of a kit."""
    parts, mates = outcome.parts, outcome.mates
    proved = sum(part.is_proved for part in parts)
    sure = sum(mate.conforms for mate in mates)
    words = f"{proved} of {count(len(parts), 'part')} proved"
    short = [part.name for part in parts if part.shortfalls]
    if short:
        words += f"; intents fall short in {', '.join(short)}"
    if mates:
        verb = "is" if sure == 1 else "are"
        words += f"; {sure} of {count(len(mates), 'mate')} {verb} as sure as asked"
    words += "."
    if outcome.failed:
        verb = "was" if len(outcome.failed) == 1 else "were"
        failed = count(len(outcome.failed), "part")
        return KitVerdict(
            state="failed",
            heading="Not all made",
            sentence=f"{words} {failed} failed and {verb} not written.",
        )
    if not outcome.conforms:
        return KitVerdict(state="short", heading=_short_heading(outcome), sentence=words)
    return KitVerdict(state="good", heading="As asked", sentence=words)


def _short_heading(outcome: KitOutcome) -> str:
    """Say whether the geometry is proved, and how much falls short all the same."""
    unproved = sum(not part.is_proved for part in outcome.parts)
    numbers = {
        "intent": sum(len(part.shortfalls) for part in outcome.parts),
        "mate": sum(not mate.conforms for mate in outcome.mates),
    }
    short = [count(number, noun) for noun, number in numbers.items() if number]
    geometry = f"{count(unproved, 'part')} not proved" if unproved else "Geometry proved"
    if not short:
        return geometry
    verb = "falls" if sum(numbers.values()) == 1 else "fall"
    return f"{geometry}, {' and '.join(short)} {verb} short"


def part_state(part: PartOutcome) -> str:
    """Say in a word or two what became of a part."""
    if part.error is not None:
        return "FAILED"
    if part.conforms:
        return "proved"
    if not part.is_proved and any(f.state == "limited" for f in part.features):
        return "held back"
    return "proved, SHORT" if part.is_proved else "NOT proved"


def mate_state(mate: MateOutcome) -> str:
    """Say in a word or two what becomes of a mate."""
    if mate.unknown is not None:
        return "unknown"
    return "as asked" if mate.conforms else "SHORT"


def in_words(mate: MateOutcome) -> str:
    """Say what a mate is called and which features it brings together."""
    words = sides(mate)
    plain = f"{mate.mate.internal.in_words()} with {mate.mate.external.in_words()}"
    name = words if mate.mate.name == plain else f"{mate.mate.name}: {words}"
    asked = mate.mate.fit or mate.mate.feel
    return name if asked is None else f"{name}, {asked}"


def sides(mate: MateOutcome) -> str:
    """Say which features a mate brings together."""
    if not mate.pairs:
        return f"{mate.mate.internal.in_words()} with {mate.mate.external.in_words()}"
    inner = _names([pair.internal for pair in mate.pairs])
    outer = _names([pair.external for pair in mate.pairs])
    return f"{inner} with {outer}"


def _names(names: list[str]) -> str:
    """Write names of features of one part, the part's name once."""
    distinct = list(dict.fromkeys(names))
    if len(distinct) == 1:
        return distinct[0]
    part = distinct[0].rpartition("/")[0]
    return f"{part}/{ids_in_words(name.rpartition('/')[2] for name in distinct)}"


def shortfalls(outcome: KitOutcome) -> Iterator[tuple[str, str]]:
    """Say of each part and mate that falls short what it is: (name, sentence) each."""
    for part in outcome.parts:
        if part.error is not None:
            yield part.name, part.error
        elif part.shortfalls:
            yield from ((part.name, words) for words in part.shortfalls)
        elif not part.conforms:
            yield part.name, part.verdict
    for mate in outcome.mates:
        if not mate.conforms:
            yield mate.mate.name, _why(mate)


def _why(mate: MateOutcome) -> str:
    worst = mate.worst
    if worst is None:
        return f"nothing can be told: {mate.unknown}"
    sure = f"fits in {tenths(worst.fits)} of 100, {percent(mate.mate.probability)} asked"
    return f"{sure}; {_what_would_do(mate, worst)}"


def _what_would_do(mate: MateOutcome, pair: PairOutcome) -> str:
    """Say what could be held instead."""
    least, most = mate.mate.least, mate.mate.most
    half = (pair.high - pair.low) / 2
    if least is not None and most is not None and most - least < 2 * half:
        middle = (least + most) / 2
        return (
            f"95 of 100 pairs spread over {2 * half:.3f} mm, more than the "
            f"{most - least:.3f} mm allowed: {signed(middle - half)} to "
            f"{signed(middle + half)} mm could be held"
        )
    return f"95 of 100 lie from {signed(pair.low)} to {signed(pair.high)} mm"


def together(outcome: KitOutcome) -> str | None:
    """Say how surely all pairs fit at once."""
    if outcome.all_fit is None:
        return None
    pairs = sum(mate.copies for mate in outcome.mates)
    if pairs == 1:
        return None
    return (
        f"All {pairs} pairs fit at once in {tenths(outcome.all_fit)} of 100 kits: "
        "each feature is printed once, and the calibration's error is shared."
    )


def kit_cautions(outcome: KitOutcome) -> tuple[str, ...]:
    """Return the cautions that go with a kit."""
    presses = any(pair.low < 0 for mate in outcome.mates for pair in mate.pairs)
    shared = (_SHARED,) if outcome.mates else ()
    return (SLICER_LINE, *shared, *((_PRESSED,) if presses else ()), _FIRST)
