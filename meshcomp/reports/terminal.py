"""Results as plain text for the terminal, 80 columns wide."""

from __future__ import annotations

import shlex
from collections.abc import Sequence

from meshcomp.inspections import Inspection, SolidState
from meshcomp.layers import LayerReport
from meshcomp.parts import Part
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._feature_lines import feature_lines
from meshcomp.reports._intent_lines import (
    intent_lines,
    intent_sentence,
    shortfalls,
    warnings_of,
)
from meshcomp.reports._layers import layer_lines
from meshcomp.reports._numbers import TIMES, count
from meshcomp.reports._plan_lines import (
    check_lines,
    flags,
    limit_lines,
    plan_lines,
    shapes,
)
from meshcomp.reports._relation_lines import relation_lines
from meshcomp.reports._repairs import repair_sentences
from meshcomp.reports._rows import rows_of
from meshcomp.reports._seams import seam_lines
from meshcomp.reports._sentences import (
    SLICER_LINE,
    dash_reasons,
    doubts,
    left_alone,
    not_as_planned,
    press_cautions,
    printable,
    stand_sentences,
    verdict,
)
from meshcomp.reports._tables import WIDTH, paragraph, titled
from meshcomp.reports._whole import whole_sentences
from meshcomp.results import Record

__all__ = ["inspection_text", "record_text"]

_HASH_DIGITS = 12


def inspection_text(inspection: Inspection, layers: LayerReport | None = None) -> str:
    """Return what is known of a part as text for the terminal.

    Parameters
    ----------
    inspection : Inspection
        The part, its solid and its features.
    layers : LayerReport, optional
        Its heights against the layers, where those are known.

    Returns
    -------
    str
        Lines of 80 columns at most; the module `meshcomp.reports` has an example.
    """
    part = inspection.part
    stands = stand_sentences(part, inspection.stands)
    blocks = [
        _part_lines(part),
        [line for sentence in stands for line in paragraph(sentence)],
        _solid_lines(inspection.solid),
        titled("Repaired on reading", repair_sentences(part)),
        feature_lines(inspection.features, part.stand),
        relation_lines(inspection),
        layer_lines(layers),
        titled("To settle before going on", _printable(doubts(inspection))),
        [f"next: {_next_command(part)}"],
    ]
    return _joined(blocks)


def record_text(record: Record) -> str:
    """Return the record of one compensated part as text for the terminal.

    Parameters
    ----------
    record : Record
        Of a finished job or of a dry run.

    Returns
    -------
    str
        Lines of 80 columns at most, the verdict last.
    """
    rows = rows_of(record)
    blocks = [
        _part_lines(record.inspection.part),
        [line for sentence in _sources(record) for line in paragraph(sentence)],
        titled("Repaired on reading", repair_sentences(record.inspection.part)),
        plan_lines(rows),
        intent_lines(record.plan, rows),
        titled("Falls short", _with_ids(shortfalls(record.plan))),
        titled("To mind", _with_ids(warnings_of(record.plan))),
        titled("Where something is pressed", press_cautions(record.plan)),
        titled("Dashes", _with_ids(dash_reasons(record, rows))),
        titled("Left alone", _with_ids(left_alone(rows))),
        titled("Not as planned", _with_ids(not_as_planned(rows))),
        titled("Lying bores (their size is their width)", shapes(rows)),
        titled("Flags", flags(rows)),
        limit_lines(record.limits),
        layer_lines(record.layers, is_asked=False),
        seam_lines(record.seams),
        check_lines(record.verification),
        titled("To settle before printing", _printable(doubts(record.inspection))),
        paragraph(SLICER_LINE),
        _verdict_lines(record),
    ]
    return _joined(blocks)


def _joined(blocks: Sequence[Sequence[str]]) -> str:
    return "\n\n".join("\n".join(block) for block in blocks if block)


def _part_lines(part: Part) -> list[str]:
    source = part.source
    lines = paragraph(f"{printable(part.name)}: {printable(source.path)}", hanging="  ")
    lines.append(
        f"unit {source.unit} ({source.unit_origin}), content {source.sha256[:_HASH_DIGITS]}"
    )
    if len(part.pieces) > 1:
        names = ", ".join(
            printable(piece.name)
            + (f" ({TIMES}{piece.copies})" if piece.copies > 1 else "")
            for piece in part.pieces
        )
        lines += paragraph(f"{len(part.pieces)} pieces: {names}", hanging="  ")
    return lines


def _solid_lines(solid: SolidState) -> list[str]:
    state = "closed" if solid.is_watertight else "NOT closed"
    low, high = solid.bounds
    extents = "   ".join(
        f"{axis} {numbers.size(a)} to {numbers.size(b)}"
        for axis, a, b in zip("xyz", low, high, strict=True)
    )
    words = (
        f"Solid: {state}, {count(solid.bodies, 'body', 'bodies')}, genus {solid.genus}, "
        f"{count(solid.triangles, 'triangle')}, volume {numbers.size(solid.volume, 1)} mm³"
    )
    return [*paragraph(words, hanging="  "), *paragraph(f"mm: {extents}", "  ", "  ")]


def _sources(record: Record) -> list[str]:
    """Say where the part stands and where the corrections come from."""
    plan = record.plan
    content = (
        f" (content {plan.source_sha256[:_HASH_DIGITS]})" if plan.source_sha256 else ""
    )
    origin = "Corrections" if plan.source_sha256 is None else "Calibration:"
    lines = [
        stand_sentences(record.inspection.part, ())[0],
        f"{origin} {printable(plan.source)}{content}.",
    ]
    return [*lines, *whole_sentences(record)]


def _with_ids(groups: Sequence[tuple[str, str]]) -> list[str]:
    return [printable(f"{ids}: {sentence}") for ids, sentence in groups]


def _printable(sentences: Sequence[str]) -> list[str]:
    return [printable(sentence) for sentence in sentences]


def _verdict_lines(record: Record) -> list[str]:
    outcome = verdict(record)
    short = f": {outcome.short}" if outcome.short else ""
    lines = paragraph(f"{outcome.heading.upper()}{short}. {outcome.sentence}")
    lines += paragraph(intent_sentence(record.plan))
    if record.written is None:
        return lines
    content = (record.written_sha256 or "")[:_HASH_DIGITS]
    written = f"written: {printable(record.written)}"
    return lines + paragraph(f"{written} (content {content})" if content else written)


def _next_command(part: Part) -> str:
    """Return the command that goes on, with the options that were given for this part."""
    options = "" if part.stand_is_assumed else f" --up {part.stand.up}"
    if part.source.unit_origin == "asked for":
        options += f" --unit {part.source.unit}"
    path = shlex.quote(part.source.path)
    command = f"meshcomp compensate {path} -c CALIBRATION.json{options}"
    if path.isprintable() and len(command) + len("next: ") <= WIDTH:
        return command
    return f"meshcomp compensate PART -c CALIBRATION.json{options}"
