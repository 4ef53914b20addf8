"""What every report says in words: the verdict, the reasons and the cautions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from meshcomp.inspections import Inspection, StandCount
from meshcomp.outlooks import PRESSED
from meshcomp.parts import Part
from meshcomp.plans import Plan
from meshcomp.presses import CAUTIONS as PRESS_CAUTIONS
from meshcomp.reports._extras import extra_words
from meshcomp.reports._numbers import count, span
from meshcomp.reports._rows import Row, grouped, ids_in_words, rows_of
from meshcomp.results import Record, Verification

__all__ = [
    "SLICER_LINE",
    "Verdict",
    "cautions",
    "dash_reasons",
    "doubts",
    "left_alone",
    "not_as_planned",
    "press_cautions",
    "printable",
    "stand_sentences",
    "verdict",
]

SLICER_LINE = (
    "Size compensation in the slicer must be off: this mesh already carries it, and "
    "both together would correct twice."
)
_ONE_SETTING = (
    "The calibration holds for one printer, one material and one setting. Change any of "
    "them and it holds no more: print the test pieces again and measure them."
)
_BY_HAND = (
    "The corrections were given by hand: this report knows of no measurement behind "
    "them. They hold, if at all, for one printer, one material and one setting."
)
_FIRST_PRINT = (
    "Measure the first print before you rely on it. What is proved here is the mesh, "
    "not the print."
)
_PRACTICE = (
    "Where a part carries load, holds pressure, guards people or gets hot, and where a "
    "press fit can split its seat, local codes and licensed practice decide, not this "
    "report."
)
_MOST_NAMES = 4  # of features in a heading


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The outcome of a job: a state for machines, a few words, and a sentence.

    `short` names the features whose intents fall short, if they are few.
    """

    state: str  # "proved", "short", "limited", "not proved", "not measured", "plan only"
    heading: str
    sentence: str
    short: str = ""

    @property
    def headline(self) -> str:
        """Return the heading with what falls short."""
        return f"{self.heading}: {self.short}" if self.short else self.heading


def verdict(record: Record) -> Verdict:
    """Say what changed, by how much, whether it is proved, and what it will not serve."""
    outcome = _with_shortfalls(_outcome(record), _short_names(record))
    return replace(outcome, sentence=f"{outcome.sentence}{extra_words(record)}")


def _short_names(record: Record) -> list[str]:
    """Name what falls short of its intent: features, then depths and shoulders."""
    broken = record.layers.broken if record.layers else ()
    features = [c.feature_id for c in record.plan.shortfalls]
    return features + [each.name for each in broken]


def _with_shortfalls(outcome: Verdict, names: Sequence[str]) -> Verdict:
    """Say beside what is proved, which is the mesh, that intents fall short."""
    number = len(names)
    if not number:
        return outcome
    is_proved = outcome.state == "proved"
    verb = "falls" if number == 1 else "fall"
    heading = "Geometry proved" if is_proved else outcome.heading
    return replace(
        outcome,
        state="short" if is_proved else outcome.state,
        heading=f"{heading}, {count(number, 'intent')} {verb} short",
        short=ids_in_words(names) if number <= _MOST_NAMES else "",
    )


def _outcome(record: Record) -> Verdict:
    rows = rows_of(record)
    if record.written is None:
        return _plan_only(rows)
    proof = record.verification
    if proof is None:
        return Verdict(
            state="not measured",
            heading="Not proved",
            sentence=f"{_changes(rows, _WAS_TO_BE)} The written file was not measured "
            "again, so nothing is proved.",
        )
    failures = _failures(rows, proof)
    if failures:
        return Verdict(
            state="not proved",
            heading="Not proved",
            sentence=f"{_changes(rows, _WAS_TO_BE)} But {' and '.join(failures)}: do "
            "not print this file before that is settled.",
        )
    if record.limits:
        return _limited(record, rows)
    return Verdict(
        state="proved",
        heading="Proved",
        sentence=f"{_changes(rows)} {_proof(proof)}{_unmeasured(rows)}",
    )


def _plan_only(rows: Sequence[Row]) -> Verdict:
    return Verdict(
        state="plan only",
        heading="Plan only",
        sentence=f"{_changes(rows, _WOULD_BE)} Nothing was written, so nothing is proved.",
    )


def _limited(record: Record, rows: Sequence[Row]) -> Verdict:
    whole = [row for row in rows if not row.is_off]
    held = [row for row in rows if row.is_off]
    number = count(len(held), "feature")
    if not held:
        several = sum(bool(row.limits) for row in rows)
        whose, them = ("its", "it") if several == 1 else ("their", "them")
        done = f"{_changes(whole)} But {count(several, 'feature')} could only be made with"
        rest = f" less than was wanted of {whose} facets, or of what lies beside {them}: "
        rest += "every size was"
    else:
        done = _held(record, whole, number)
        rest = " and will not print to the size asked for; every other size was"
    return Verdict(
        state="limited",
        heading="Held back in places",
        sentence=f"{done}{rest} measured again in the written file and is as planned."
        f"{_unmeasured(whole)}",
    )


def _held(record: Record, whole: Sequence[Row], number: str) -> str:
    if any(row.is_changed for row in whole):
        return f"{_changes(whole)} But {number} could not be moved as far as wanted"
    if any(limit.used for limit in record.limits):
        verb = "was" if number.startswith("1 ") else "were"
        return f"{number} {verb} changed, but by less than wanted,"
    return f"{number} could not be moved as far as wanted"


def _failures(rows: Sequence[Row], proof: Verification) -> list[str]:
    """Say which sizes, other than limited ones, and which checks are not as planned."""
    limited = {row.correction.feature_id for row in rows if row.is_off}
    sizes = sum(not s.conforms for s in proof.sizes if s.feature_id not in limited)
    checks = sum(not check.passed for check in proof.checks)
    found = []
    if sizes:
        verb = "is" if sizes == 1 else "are"
        found.append(f"{sizes} of {count(len(proof.sizes), 'size')} {verb} not as planned")
    if checks:
        found.append(f"{checks} of {count(len(proof.checks), 'check')} failed")
    return found


def _proof(proof: Verification) -> str:
    sizes, checks = len(proof.sizes), len(proof.checks)
    if not sizes and not checks:
        return "No size and no check was asked for."
    parts = []
    if sizes:
        parts.append(
            f"{_all(sizes, 'size')} measured again in the written file "
            f"{'is' if sizes == 1 else 'are'} as planned"
        )
    if checks:
        parts.append(f"{_all(checks, 'check')} passed")
    sentence = ", and ".join(parts)
    return f"{sentence[0].upper()}{sentence[1:]}."


def _unmeasured(rows: Sequence[Row]) -> str:
    """Say which moved features have no size, so that nobody takes them for measured."""
    number = sum(row.is_changed and row.planned is None for row in rows)
    if not number:
        return ""
    has = "has no size" if number == 1 else "have no sizes"
    them = "it" if number == 1 else "them"
    return (
        f" {count(number, 'moved feature')} {has} to measure: the change of volume alone "
        f"speaks for {them}."
    )


def _all(number: int, noun: str) -> str:
    return f"the one {noun}" if number == 1 else f"all {number} {noun}s"


# For one thing and for several.
_WAS = ("was", "were")
_WOULD_BE = ("would be", "would be")
_WAS_TO_BE = ("was to be", "were to be")


def _changes(rows: Sequence[Row], verbs: tuple[str, str] = _WAS) -> str:
    """Say which kinds changed and by how much, e.g. '4 bores were changed by ...'."""
    changed = [row for row in rows if row.is_changed]
    if not changed:
        return f"Nothing {verbs[0]} changed: {_none_changed(rows)}."
    shaped = [row for row in changed if _is_only_shaped(row)]
    sized = [r for r in changed if r.correction.correction is not None and r not in shaped]
    moved = [row for row in changed if row.correction.correction is None]
    clauses = []
    if sized:
        clauses.append(_clause(sized, verbs, "changed in size"))
    if shaped:
        verb = verbs[0 if len(shaped) == 1 else 1]
        clauses.append(
            f"{_kind('bore', len(shaped))} {verb} given a roof or another height"
        )
    if moved:
        clauses.append(f"{_clause(moved, verbs, 'moved')} per side")
    return f"{'; '.join(clauses)}."


def _is_only_shaped(row: Row) -> bool:
    """Whether a lying bore keeps its width, and gets a roof or another height."""
    return row.correction.lying is not None and row.correction.correction == 0


def _clause(rows: Sequence[Row], verbs: tuple[str, str], participle: str) -> str:
    """Say by how much each kind changed, e.g. '1 bore was moved by ... and 2 walls by'."""
    first, *others = Counter(row.correction.kind for row in rows).items()
    verb = verbs[0 if first[1] == 1 else 1]
    parts = [f"{_kind(*first)} {verb} {participle} by {_span(rows, first[0])}"]
    parts += [f"{_kind(*other)} by {_span(rows, other[0])}" for other in others]
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if parts[1:] else parts)


def _kind(kind: str, number: int) -> str:
    return count(number, kind, "bosses" if kind == "boss" else None)


def _span(rows: Sequence[Row], kind: str) -> str:
    """Return the corrections of a kind, or its offsets where it has no sizes."""
    of_kind = [row.correction for row in rows if row.correction.kind == kind]
    return span([c.offset if c.correction is None else c.correction for c in of_kind])


def _none_changed(rows: Sequence[Row]) -> str:
    if not rows:
        return "no feature was found"
    return f"{count(len(rows), 'feature')} left alone"


def left_alone(rows: Sequence[Row]) -> list[tuple[str, str]]:
    """Group the features left alone by reason: (ids in words, reason) each."""
    return grouped(
        (row.correction.reason, row.correction.feature_id)
        for row in rows
        if row.correction.is_left_alone
    )


def not_as_planned(rows: Sequence[Row]) -> list[tuple[str, str]]:
    """Group the features whose size does not conform by how it was measured.

    Those that were held back are told of as such.
    """
    return grouped(
        (row.size.how, row.correction.feature_id)
        for row in rows
        if row.state == "not as planned" and row.size is not None
    )


def dash_reasons(record: Record, rows: Sequence[Row]) -> list[tuple[str, str]]:
    """Say why numbers are missing: (ids in words, sentence) each."""
    by_hand = record.plan.source_sha256 is None
    pairs: list[tuple[str, str]] = []
    for row in rows:
        reasons = [_no_size(row), _no_prediction(row, by_hand=by_hand), _no_proof(row)]
        pairs += [(reason, row.correction.feature_id) for reason in reasons if reason]
    return grouped(pairs)


def _no_size(row: Row) -> str | None:
    correction = row.correction
    if correction.nominal_size is None:
        if correction.kind == "profile":
            return "no sizes: a profile has none of its own, it is moved by its offset"
        return "no nominal size could be found"
    if correction.mesh_size is None:
        return f"no planned size: {correction.reason}"
    return None


def _no_prediction(row: Row, *, by_hand: bool) -> str | None:
    correction = row.correction
    if correction.predicted_deviation is not None or correction.nominal_size is None:
        return None
    if by_hand:
        return "no predicted deviation: no calibration was given"
    if correction.is_left_alone:
        return "no predicted deviation: left alone, see the reason"
    return "no predicted deviation: the calibration gives none"


def _no_proof(row: Row) -> str | None:
    if row.achieved is not None:
        return None
    if row.correction.nominal_size is None and row.size is not None:
        return f"how it was checked: {row.size.how}"
    if not row.is_written:
        return "no achieved size: nothing was written"
    if row.size is None:
        return "no achieved size: not measured again"
    return f"no achieved size: {row.size.how}"


def cautions(record: Record) -> tuple[str, ...]:
    """Return the cautions that go with a compensated part, in plain words."""
    part = record.inspection.part
    by_hand = record.plan.source_sha256 is None
    listed = [SLICER_LINE, _BY_HAND if by_hand else _ONE_SETTING]
    if part.stand_is_assumed:
        listed.append(
            f"The part was assumed to stand on the bed with {part.stand.up} up. Printed "
            "any other way, the corrections are wrong."
        )
    return (*listed, _FIRST_PRINT, *press_cautions(record.plan), _PRACTICE)


def press_cautions(plan: Plan) -> tuple[str, ...]:
    """Return the cautions of press fits where something is to be pressed."""
    outlooks = [c.outlook for c in plan.corrections if c.outlook is not None]
    pressed = any(w.startswith(PRESSED) for o in outlooks for w in o.warnings)
    return PRESS_CAUTIONS if pressed else ()


def doubts(inspection: Inspection) -> tuple[str, ...]:
    """Return what a person has to settle: doubts about the file, then about sizes."""
    return tuple(dict.fromkeys((*inspection.part.source.questions, *inspection.notes)))


def stand_sentences(part: Part, stands: Sequence[StandCount]) -> list[str]:
    """Say what the stand means, and which other stands would do better."""
    assumed = " (assumed; say --up if it is not)" if part.stand_is_assumed else ""
    lines = [f"{part.stand.up} is up on the bed{assumed}."]
    for counts in stands:
        bores = (
            f"{counts.standing} standing, {counts.lying} lying, {counts.leaning} leaning"
        )
        if counts.up == part.stand.up:
            lines.append(f"Bores so placed: {bores}.")
        else:
            lines.append(f"With {counts.up} up: {bores} (--up {counts.up}).")
    return lines


def printable(text: str) -> str:
    r"""Return a text with everything that is not printable written as an escape.

    File names may hold line ends, terminal controls and bytes that are no text.

    Examples
    --------
    >>> printable("a\x1b[31m.stl")
    'a\\x1b[31m.stl'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)
