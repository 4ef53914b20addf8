"""What features are for, what they will be in print, and how surely, as lines of text."""

from __future__ import annotations

from collections.abc import Sequence

from meshcomp.plans import Correction, Outlook, Plan
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._rows import Row, grouped, ids_in_words
from meshcomp.reports._sentences import printable
from meshcomp.reports._tables import (
    MOST_ROWS,
    collapsed,
    columns_of,
    paragraph,
    table,
    titled,
)

__all__ = ["intent_lines", "intent_rows", "intent_sentence", "shortfalls", "warnings_of"]

_HEADERS = (
    ("id", False),
    ("target", True),
    ("predicted", True),
    ("95 % of prints", True),
    ("wanted", True),
    ("chance", True),
    ("outcome", False),
)


def intent_lines(plan: Plan, rows: Sequence[Row]) -> list[str]:
    """Return the table of intents and what each feature is for; nothing without a plan."""
    if plan.intents_source is None:
        return []
    stated = [(row.correction, row.correction.outlook) for row in rows]
    known = [(c, o) for c, o in stated if o is not None and o.intent is not None]
    title = paragraph(f"Intents of {printable(plan.intents_source)}, in print, mm:")
    if not known:
        return [*title, "  none is stated: every feature is aimed at its nominal size"]
    columns = columns_of(_HEADERS, [_cells(c, o) for c, o in known])
    lines = [*title, *(collapsed(columns) if len(known) > MOST_ROWS else table(columns))]
    if any(o.is_gap for _, o in known):
        lines += ["  of a profile: gap per flank"]
    words = grouped((o.intent or "", c.feature_id) for c, o in known)
    lines += ["", *titled("What for", [printable(f"{ids}: {text}") for ids, text in words])]
    return lines


def intent_rows(rows: Sequence[Row]) -> list[dict[str, str]]:
    """Return the cells of every feature that is foretold or has an intent, by name."""
    keys = ("id", "target", "predicted", "interval", "wanted", "chance", "outcome")
    found = []
    for row in rows:
        foretold = row.correction.outlook
        if foretold is None or (foretold.intent is None and foretold.predicted is None):
            continue
        cells = dict(zip(keys, _cells(row.correction, foretold), strict=True))
        what = "gap per flank" if foretold.is_gap else row.correction.kind
        found.append(cells | {"intent": foretold.intent or "", "what": what})
    return found


def _cells(correction: Correction, outlook: Outlook) -> tuple[str, ...]:
    target = None if outlook.is_gap else correction.target_size
    chance = outlook.probability
    return (
        correction.feature_id,
        numbers.size(target),
        numbers.size(outlook.predicted),
        _range(outlook.low, outlook.high),
        _range(outlook.lower, outlook.upper),
        numbers.DASH if chance is None else numbers.percent(chance),
        _outcome(correction, outlook),
    )


def _range(low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return numbers.DASH
    return f"{numbers.size(low)} to {numbers.size(high)}"


def _outcome(correction: Correction, outlook: Outlook) -> str:
    """Say in a word or two whether an intent is met as surely as asked."""
    if outlook.intent is None:
        return "no intent"
    if outlook.shortfall is not None:
        return "SHORT"
    if outlook.asked is not None:
        return "met"
    return "kept" if correction.is_left_alone else "aimed at"


def shortfalls(plan: Plan) -> list[tuple[str, str]]:
    """Group the features whose intent is not met by the reason: (ids, reason) each."""
    return grouped(
        (c.outlook.shortfall or "", c.feature_id)
        for c in plan.shortfalls
        if c.outlook is not None
    )


def warnings_of(plan: Plan) -> list[tuple[str, str]]:
    """Group what is to be minded about intents: (ids, words) each."""
    return grouped(
        (words, c.feature_id)
        for c in plan.corrections
        if c.outlook is not None
        for words in c.outlook.warnings
    )


def intent_sentence(plan: Plan) -> str:
    """Say how many intents are met; an empty text where none is stated."""
    outlooks = [c.outlook for c in plan.corrections if c.outlook is not None]
    stated = [o for o in outlooks if o.intent is not None]
    short = len(plan.shortfalls)
    if not stated:
        return ""
    if not short:
        return f"{numbers.count(len(stated), 'feature')} with an intent: none falls short."
    verb = "falls" if short == 1 else "fall"
    names = ids_in_words(c.feature_id for c in plan.shortfalls)
    features = numbers.count(len(stated), "feature")
    return f"{short} of {features} with an intent {verb} short: {names}."
