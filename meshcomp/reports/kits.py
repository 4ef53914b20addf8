"""A kit as text for the terminal, as JSON, and as tables of comma-separated values."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from meshcomp.mechanisms import (
    Bought,
    KitOutcome,
    MateOutcome,
    PartOutcome,
    Reference,
    Suggestions,
)
from meshcomp.reports._kit_words import (
    in_words,
    kit_cautions,
    kit_verdict,
    mate_state,
    part_state,
    shortfalls,
    together,
)
from meshcomp.reports._numbers import DASH, bound, signed, tenths
from meshcomp.reports._sentences import SLICER_LINE, printable
from meshcomp.reports._tables import columns_of, paragraph, table, titled

__all__ = [
    "features_csv",
    "kit_json",
    "kit_tables",
    "kit_text",
    "mates_csv",
    "suggestions_json",
    "suggestions_text",
]

_SCHEMA = 1
_NOISE_DIGITS = 6  # of mm: a mean below a nanometre has no sign
_PART_HEADS = (
    ("part", False),
    ("to print", True),
    ("changed", True),
    ("left\nalone", True),
    ("within\nµm", True),
    ("made", False),
    ("outcome", False),
)
_MATE_HEADS = (
    ("", True),
    ("asked\nleast", True),
    ("\nmost", True),
    ("expected\nmean", True),
    ("95 % lie\nfrom", True),
    ("\nto", True),
    ("pairs", True),
    ("assem-\nbles", True),
    ("\ntight", True),
    ("\nboth", True),
    ("outcome", False),
)


def kit_text(outcome: KitOutcome) -> str:
    """Return what became of a kit as text for the terminal, 80 columns at most.

    Parameters
    ----------
    outcome : KitOutcome
        As from `meshcomp.kits.making.make_kit`.
    """
    verdict = kit_verdict(outcome)
    blocks = [
        paragraph(printable(f"{outcome.kit.name}: {outcome.kit.source}"), hanging="  "),
        *_table_blocks(outcome),
        titled("Falls short", _named(shortfalls(outcome))),
        titled("Notes", _named(_notes(outcome))),
        titled("To settle before printing", _named(_doubts(outcome.parts))),
        paragraph(SLICER_LINE),
        paragraph(f"{verdict.heading.upper()}. {verdict.sentence}"),
    ]
    return _joined(blocks)


def kit_tables(outcome: KitOutcome) -> str:
    """Return the parts and the mates of a kit as tables, 80 columns at most.

    Parameters
    ----------
    outcome : KitOutcome
        As from `meshcomp.kits.making.make_kit`.
    """
    return _joined(_table_blocks(outcome))


def _table_blocks(outcome: KitOutcome) -> list[list[str]]:
    shared = together(outcome)
    return [
        ["Parts:", *table(columns_of(_PART_HEADS, [_part_row(p) for p in outcome.parts]))],
        _mate_lines(outcome.mates),
        [] if shared is None else paragraph(shared),
    ]


def _joined(blocks: Sequence[Sequence[str]]) -> str:
    return "\n\n".join("\n".join(block) for block in blocks if block)


def _part_row(part: PartOutcome) -> tuple[str, ...]:
    changed = sum(feature.state != "left alone" for feature in part.features)
    if part.error is not None:
        counts = (DASH,) * 4
    else:
        made = "before" if part.was_there else "now"
        off = part.worst_difference
        within = DASH if off is None else bound(off)
        counts = (str(changed), str(len(part.features) - changed), within, made)
    return (printable(part.name), str(part.quantity), *counts, part_state(part))


def _mate_lines(mates: Sequence[MateOutcome]) -> list[str]:
    """Return the table of mates, and below it, by number, what each brings together."""
    if not mates:
        return []
    rows = [(str(n), *_mate_row(mate)) for n, mate in enumerate(mates, start=1)]
    gap = ", of flanks the gap per flank" if any(m.mate.is_gap for m in mates) else ""
    lines = [f"Mates, clearance in mm{gap}, probabilities in %:"]
    lines += [*table(columns_of(_MATE_HEADS, rows)), ""]
    width = len(str(len(mates)))
    for number, mate in enumerate(mates, start=1):
        words = f"{number:>{width}} {printable(in_words(mate))}"
        lines += paragraph(words, "  ", " " * (width + 3))
    return lines


def _mate_row(mate: MateOutcome) -> tuple[str, ...]:
    pair, asked = mate.worst, mate.mate
    limits = (signed(asked.least), signed(asked.most))
    if pair is None:
        return (*limits, *[DASH] * 7, mate_state(mate))
    return (
        *limits,
        *(signed(round(x, _NOISE_DIGITS)) for x in (pair.mean, pair.low, pair.high)),
        str(mate.copies),
        DASH if asked.least is None else tenths(pair.assembles),
        DASH if asked.most is None else tenths(pair.is_tight),
        tenths(pair.fits),
        mate_state(mate),
    )


def _named(pairs: Iterable[tuple[str, str]]) -> list[str]:
    return [printable(f"{name}: {words}") for name, words in pairs]


def _notes(outcome: KitOutcome) -> list[tuple[str, str]]:
    return [(m.mate.name, note) for m in outcome.mates for note in m.notes]


def _doubts(parts: Sequence[PartOutcome]) -> list[tuple[str, str]]:
    """Group what is to be settled by what it is."""
    groups: dict[str, list[str]] = {}
    for part in parts:
        for note in part.notes:
            groups.setdefault(note, []).append(part.name)
    return [(", ".join(names), note) for note, names in groups.items()]


def kit_json(outcome: KitOutcome) -> dict[str, Any]:
    """Return what became of a kit as one object for JSON; sizes in mm."""
    verdict = kit_verdict(outcome)
    return {
        "schema": _SCHEMA,
        "version": outcome.version,
        "kit": {"name": outcome.kit.name, "source": outcome.kit.source},
        "parts": [_part_json(part) for part in outcome.parts],
        "mates": [_mate_json(mate) for mate in outcome.mates],
        "probability_that_all_fit": outcome.all_fit,
        "conforms": outcome.conforms,
        "verdict": {"state": verdict.state, "sentence": verdict.sentence},
        "cautions": list(kit_cautions(outcome)),
    }


def _part_json(part: PartOutcome) -> dict[str, Any]:
    data = asdict(part)
    data["made"] = "before" if data.pop("was_there") else "now"
    for feature in data["features"]:
        feature["internal"] = feature.pop("is_internal")
        feature["set_by_part"] = feature.pop("is_fixed")
    return data


def _mate_json(outcome: MateOutcome) -> dict[str, Any]:
    mate = outcome.mate
    return {
        "name": mate.name,
        "internal": _side_json(mate.internal, mate.aims[0]),
        "external": _side_json(mate.external, mate.aims[1]),
        "asked": {
            "fit": mate.fit,
            "feel": mate.feel,
            "least": mate.least,
            "most": mate.most,
            "probability": mate.probability,
        },
        "is_gap_per_flank": mate.is_gap,
        "pairs": [asdict(pair) for pair in outcome.pairs],
        "pairs_to_make": outcome.copies,
        "unknown": outcome.unknown,
        "notes": list(outcome.notes),
        "conforms": outcome.conforms,
    }


def _side_json(side: Reference | Bought, aim: float | None) -> dict[str, Any]:
    return {**asdict(side), "aimed_at": aim}


def features_csv(outcome: KitOutcome) -> str:
    """Return a table with one line for each feature of each part; sizes in mm."""
    heads = (
        *("part", "quantity", "feature", "kind", "nominal_size", "target_size"),
        *("mesh_size", "offset", "printed_size", "low", "high", "state", "reason"),
        "error",
    )
    rows: list[tuple[Any, ...]] = []
    for part in outcome.parts:
        if part.error is not None:
            rows.append((part.name, part.quantity, *[None] * 11, part.error))
        for f in part.features:
            sizes = (f.nominal_size, f.target_size, f.mesh_size, f.offset)
            prints = (f.printed_size, f.low, f.high)
            words = (f.state, f.reason, None)
            rows.append((part.name, part.quantity, f.id, f.kind, *sizes, *prints, *words))
    return _csv(heads, rows)


def mates_csv(outcome: KitOutcome) -> str:
    """Return a table with one line for each pair of each mate; sizes in mm."""
    heads = (
        *("mate", "internal", "external", "least_asked", "most_asked", "mean", "low"),
        *("high", "standard_uncertainty", "correlation", "assembles", "is_tight", "fits"),
        *("probability_asked", "conforms", "unknown"),
    )
    rows: list[tuple[Any, ...]] = []
    for each in outcome.mates:
        mate = each.mate
        asked = (mate.least, mate.most)
        if not each.pairs:
            names = (mate.internal.in_words(), mate.external.in_words())
            last = (mate.probability, False, each.unknown)
            rows.append((mate.name, *names, *asked, *[None] * 8, *last))
        for p in each.pairs:
            figures = (p.mean, p.low, p.high, p.standard_uncertainty, p.correlation)
            odds = (p.assembles, p.is_tight, p.fits, mate.probability)
            good = p.fits >= mate.probability
            row = (p.internal, p.external, *asked, *figures, *odds, good, None)
            rows.append((mate.name, *row))
    return _csv(heads, rows)


def _csv(heads: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\n")
    table.writerow(heads)
    table.writerows([_cell(value) for value in row] for row in rows)
    return stream.getvalue()


def _cell(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.6f}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = "" if value is None else printable(str(value))
    # A spreadsheet would take such a cell for a formula.
    return f"'{text}" if text[:1] in {"=", "+", "-", "@"} else text


def suggestions_text(suggestions: Suggestions) -> str:
    """Return likely mates as text, each as it would stand in a kit file."""
    lines = [
        f"# {line}"
        for name, error in suggestions.failed
        for line in paragraph(printable(f"{name} could not be looked at: {error}"))
    ]
    if not suggestions.mates:
        none = "# No sizes of two parts are near each other: no mate is suggested."
        return "\n".join([*lines, none])
    lines += [
        "# Likely mates: sizes of two parts that are near. Keep those that are meant, and",
        "# say what clearance they shall have, mm.",
    ]
    for each in suggestions.mates:
        many = f", {each.pairs} pairs" if each.pairs > 1 else ""
        lines += [
            "",
            f"# {each.external_size:g} mm in {each.internal_size:g} mm as drawn{many}",
            "[[mate]]",
            f'bore = "{each.internal.in_words()}"',
            f'boss = "{each.external.in_words()}"',
            "clearance = [0.05, 0.25]",
        ]
    return "\n".join(lines)


def suggestions_json(suggestions: Suggestions) -> dict[str, Any]:
    """Return likely mates as one object for JSON; sizes in mm."""
    return {
        "schema": _SCHEMA,
        "suggestions": [
            {
                "bore": each.internal.in_words(),
                "boss": each.external.in_words(),
                "bore_size": each.internal_size,
                "boss_size": each.external_size,
                "pairs": each.pairs,
            }
            for each in suggestions.mates
        ],
        "failed": [{"part": name, "error": error} for name, error in suggestions.failed],
    }
