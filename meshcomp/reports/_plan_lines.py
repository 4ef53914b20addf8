"""A record's plan, limits and checks as lines of text."""

from __future__ import annotations

from collections.abc import Sequence

from meshcomp.reports import _numbers as numbers
from meshcomp.reports._rows import Row, grouped
from meshcomp.reports._sentences import printable
from meshcomp.reports._tables import (
    MOST_ROWS,
    collapsed,
    columns_of,
    fits,
    paragraph,
    table,
    titled,
    without_kind,
)
from meshcomp.results import Check, Limit, Verification

__all__ = ["check_lines", "flags", "limit_lines", "plan_lines", "shapes"]

_PLAN_HEADERS = (
    ("id", False),
    ("kind", False),
    ("nominal", True),
    ("predicted\ndeviation", True),
    ("correction", True),
    ("offset", True),
    ("mesh size\nplanned", True),
    ("mesh size\nachieved", True),
    ("outcome", False),
)


def plan_lines(rows: Sequence[Row]) -> list[str]:
    """Return the table of planned and achieved sizes, equal rows together when many."""
    if not rows:
        return ["No features of size found: nothing to correct."]
    columns = columns_of(_PLAN_HEADERS, [_plan_cells(row) for row in rows])
    if len(rows) > MOST_ROWS:
        title = "Plan and proof, mm (equal features together, the report lists each):"
        return [title, *collapsed(columns)]
    brief = columns if fits(columns) else without_kind(columns)
    return ["Plan and proof, mm:", *table(brief)]


def _plan_cells(row: Row) -> tuple[str, ...]:
    correction = row.correction
    sizes = numbers.planned_and_achieved(
        row.planned, row.achieved, conforms=row.conforms is not False
    )
    return (
        correction.feature_id,
        correction.kind,
        numbers.size(correction.nominal_size),
        numbers.signed(correction.predicted_deviation),
        numbers.signed(correction.correction),
        numbers.signed(correction.offset),
        *sizes,
        "DIFFERS" if row.state == "not as planned" else row.state,
    )


def flags(rows: Sequence[Row]) -> list[str]:
    """Return what the plan flags, each with the ids it concerns."""
    pairs = [
        (flag, row.correction.feature_id) for row in rows for flag in row.correction.flags
    ]
    return [printable(f"{ids}: {flag}") for ids, flag in grouped(pairs)]


def shapes(rows: Sequence[Row]) -> list[str]:
    """Return what lying bores are beside their width, each with the ids it concerns."""
    pairs = [
        (row.correction.lying.in_words(), row.correction.feature_id)
        for row in rows
        if row.correction.lying is not None
    ]
    return [f"{ids}: {shape}" for ids, shape in grouped(pairs)]


def limit_lines(limits: Sequence[Limit]) -> list[str]:
    """Return what was limited, by how much and where; together what has its offset."""
    held = [limit for limit in limits if limit.used != limit.wanted]
    whole = [(limit.reason, limit.feature_id) for limit in limits if limit not in held]
    sentences = [
        f"{limit.feature_id}: offset {numbers.signed(limit.used)} instead of "
        f"{numbers.signed(limit.wanted)} mm at ({numbers.place(limit.place)}): "
        + printable(limit.reason)
        for limit in held
    ]
    sentences += [
        f"{ids}: offset as wanted, but {printable(reason)}"
        for ids, reason in grouped(whole)
    ]
    return titled("Limited (places in the file's frame)", sentences)


def check_lines(proof: Verification | None) -> list[str]:
    """Return the checks with their figures, and the volume against its prediction."""
    if proof is None:
        return ["Checks: none, the result was not measured again."]
    lines = ["Checks of the written file:"]
    for check in proof.checks:
        lines += paragraph(_check_words(check), "  ", "          ")
    change = numbers.signed(proof.volume_change, 2)
    predicted = numbers.signed(proof.predicted_volume_change, 2)
    return [*lines, f"  volume change {change} mm³, predicted {predicted} mm³"]


def _check_words(check: Check) -> str:
    return printable(
        f"{'passed' if check.passed else 'FAILED'}  {check.name}: {check.figure}"
    )
