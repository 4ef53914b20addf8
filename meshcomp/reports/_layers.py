"""Heights against the layers: as lines of text, for JSON, and as cells of a page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from meshcomp.layers import GRID_LIMIT, Distance, KeptHeight, LayerReport, LevelFace
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._numbers import count
from meshcomp.reports._rows import ids_in_words
from meshcomp.reports._tables import MOST_ROWS, columns_of, paragraph, table, titled

__all__ = ["kept_words", "layer_cells", "layer_lines", "layers_json", "moves_words"]

_HEADERS = (
    ("height", True),
    ("looks", False),
    ("faces", True),
    ("area, mm²", True),
    ("in print", True),
    ("off", True),
    ("moved", True),
)
_MIDWAY = "midway between layers: may print a layer higher or lower"


def layer_lines(report: LayerReport | None, *, is_asked: bool = True) -> list[str]:
    """Return what is off the layers as lines of text.

    Where nothing is off, say so only if it was asked for.
    """
    if report is None:
        return []
    grid = report.grid.in_words()
    off = [face for face in report.faces if _is_told(face)]
    stated = titled("Stated heights, mm", [kept_words(k) for k in report.kept])
    if not off:
        words = f"Heights: every level face lies on a layer ({grid})."
        return (paragraph(words) if is_asked or stated else []) + stated
    shown = off[:MOST_ROWS]
    columns = columns_of(_HEADERS, [_cells(face) for face in shown])
    if report.moves is None:
        columns = columns[:-1]
    lines = paragraph(f"Level faces off the layers ({grid}), mm above the bed:")
    lines += table(columns)
    if len(off) > len(shown):
        lines.append(f"and {count(len(off) - len(shown), 'more height')}: see --json")
    lines += [line for words in _face_notes(off) for line in paragraph(words, "", "  ")]
    if report.moves is not None:
        lines += paragraph(moves_words(report))
    sentences = [_distance_words(d) for d in report.off_distances if d.what != "step"]
    lines += titled("Distances that print otherwise than drawn, mm", sentences)
    return lines + stated


def _is_told(face: LevelFace) -> bool:
    return abs(face.off) > GRID_LIMIT or face.move != 0 or bool(face.reason)


def _cells(face: LevelFace) -> tuple[str, ...]:
    return (
        numbers.size(face.height),
        face.facing,
        str(face.count),
        numbers.size(face.area, 1),
        numbers.size(face.printed),
        numbers.signed(face.off),
        numbers.signed(face.move),
    )


def _face_notes(faces: Sequence[LevelFace]) -> list[str]:
    """Say of heights what their numbers do not: each height once."""
    midway = dict.fromkeys(numbers.size(f.height) for f in faces if f.is_midway)
    notes = [f"{', '.join(midway)}: {_MIDWAY}"] if midway else []
    refused = dict.fromkeys((f.height, f.reason) for f in faces if f.reason)
    chosen = dict.fromkeys((f.height, f.chosen) for f in faces if f.chosen)
    notes += [f"{numbers.size(z)} went to {which}" for z, which in chosen]
    return notes + [f"{numbers.size(z)} did not go to a layer: {why}" for z, why in refused]


def _distance_words(distance: Distance) -> str:
    ids = ids_in_words(distance.feature_ids)
    of = f" of {ids}" if ids else ""
    return (
        f"{distance.what}{of}: {numbers.size(distance.nominal)} drawn, "
        f"{numbers.size(distance.printed)} in print, {numbers.signed(distance.off)}"
    )


def kept_words(kept: KeptHeight) -> str:
    """Say of a distance whose limits a plan states whether it prints within them."""
    asked = f"{numbers.size(kept.lower)} to {numbers.size(kept.upper)} asked"
    words = f"{kept.name}: {numbers.size(kept.printed)} in print, {asked}"
    if kept.nearest != kept.printed:
        words += f" ({numbers.size(kept.nearest)} at the nearest layers)"
    if kept.is_kept:
        return words
    if kept.could_be is not None and kept.beyond(kept.could_be) == 0:
        at = numbers.size(kept.could_be)
        return f"{words}: SHORT; with --snap-heights it could print at {at}"
    return f"{words}: SHORT; no choice of layers keeps it"


def moves_words(report: LayerReport) -> str:
    """Say how far heights were moved in all."""
    signed, whole = report.sum_of_moves
    moved = len({face.height for face in report.faces if face.move != 0})
    return (
        f"{count(moved, 'height')} moved; the moves add up to {numbers.signed(signed)} mm, "
        f"without their signs to {numbers.size(whole)} mm."
    )


def layer_cells(report: LayerReport | None) -> dict[str, Any] | None:
    """Return the cells of a page's section on layers, or None where nothing is known."""
    if report is None:
        return None
    off = [face for face in report.faces if _is_told(face)]
    return {
        "grid": report.grid.in_words(),
        "faces": [_cells(face) for face in off],
        "is_moved": report.moves is not None,
        "notes": _face_notes(off),
        "sum": None if report.moves is None else moves_words(report),
        "kept": [
            (
                k.name,
                k.words,
                f"{numbers.size(k.lower)} to {numbers.size(k.upper)}",
                numbers.size(k.nearest),
                numbers.size(k.printed),
                "kept" if k.is_kept else kept_words(k).rpartition(": ")[2],
            )
            for k in report.kept
        ],
        "distances": [
            (
                d.what,
                ids_in_words(d.feature_ids),
                f"{numbers.size(d.low)} to {numbers.size(d.high)}",
                numbers.size(d.nominal),
                numbers.size(d.printed),
                numbers.signed(d.off),
            )
            for d in report.off_distances
        ],
    }


def layers_json(report: LayerReport | None) -> dict[str, Any] | None:
    """Return a layer report as one object for JSON; heights in mm above the bed."""
    if report is None:
        return None
    signed, whole = report.sum_of_moves
    moves = report.moves
    return {
        "layer_height": report.grid.layer_height,
        "first_layer": report.grid.first_layer,
        "scale": report.grid.scale,
        "faces": [
            {
                "height": float(face.height),
                "facing": face.facing,
                "area": float(face.area),
                "count": int(face.count),
                "printed_height": float(face.printed),
                "off": float(face.off),
                "is_midway": bool(face.is_midway),
                "move": float(face.move),
                "reason": face.reason,
                "chosen": face.chosen,
            }
            for face in report.faces
        ],
        "distances": [
            {
                "what": d.what,
                "ids": list(d.feature_ids),
                "from": float(d.low),
                "to": float(d.high),
                "nominal": float(d.nominal),
                "printed": float(d.printed),
                "off": float(d.off),
            }
            for d in report.distances
        ],
        "stated": [
            {
                "name": k.name,
                "limits": k.words,
                "lower": float(k.lower),
                "upper": float(k.upper),
                "printed": float(k.printed),
                "at_nearest_layers": float(k.nearest),
                "is_kept": k.is_kept,
                "place": k.place,
            }
            for k in report.kept
        ],
        "sum_of_moves": {"signed": float(signed), "absolute": float(whole)},
        "moves": None
        if moves is None
        else {
            "heights": list(moves.heights),
            "moved_to": list(moves.moved_to),
            "rigid": [{"from": a, "to": b, "ids": ids} for a, b, ids in moves.rigid],
            "predicted_volume_change": moves.predicted_volume_change,
            "split_faces": moves.split_faces,
        },
    }
