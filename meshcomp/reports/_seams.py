"""Seats for the seam: as lines of text, for JSON, and as cells of a page."""

from __future__ import annotations

from typing import Any

from meshcomp.reports import _numbers as numbers
from meshcomp.reports._rows import grouped
from meshcomp.reports._tables import MOST_ROWS, columns_of, paragraph, table, titled
from meshcomp.seams import Groove, SeamReport
from meshcomp.stands import Stand

__all__ = ["SEAM_LINE", "seam_cells", "seam_lines", "seams_json"]

SEAM_LINE = (
    "In the slicer the seam must be placed on the sharpest concave edge, and not be spread "
    "about: the bottom of the groove is that edge, and only there the seam stays below the "
    "surface."
)
_HEADERS = (
    ("id", False),
    ("bearing", True),
    ("from", True),
    ("to", True),
    ("area,\nmm²", True),
    ("volume,\nmm³", True),
    ("why there", False),
)


def seam_lines(report: SeamReport | None) -> list[str]:
    """Return the grooves as lines of text."""
    if report is None:
        return []
    words = _shape_words(report)
    if not report.grooves:
        lines = paragraph(f"Seats for the seam: none could be cut ({words}).")
    else:
        lines = paragraph(
            f"Seats for the seam, {words}. Bearings in degrees from X, counter-clockwise "
            "as seen from above; heights in mm as the part stands:"
        )
        shown = report.grooves[:MOST_ROWS]
        lines += table(columns_of(_HEADERS, [_cells(groove) for groove in shown]))
        if len(report.grooves) > len(shown):
            lines.append(f"and {len(report.grooves) - len(shown)} more: see --json")
    lines += titled("Without a seat", [f"{ids}: {why}" for ids, why in _left_out(report)])
    return lines + (paragraph(SEAM_LINE) if report.grooves else [])


def _shape_words(report: SeamReport) -> str:
    wish = report.wish
    return (
        f"V-grooves {numbers.size(wish.width)} mm wide and {numbers.size(wish.depth)} mm "
        f"deep ({wish.origin})"
    )


def _cells(groove: Groove) -> tuple[str, ...]:
    low, high = groove.reach[0][0], groove.reach[-1][1]
    return (
        groove.feature_id,
        numbers.angle(groove.bearing),
        numbers.size(low, 2),
        numbers.size(high, 2),
        numbers.size(groove.area, 4),
        numbers.size(groove.volume),
        groove.reason,
    )


def _left_out(report: SeamReport) -> list[tuple[str, str]]:
    return grouped((why, name) for name, why in report.left_out)


def seam_cells(report: SeamReport | None) -> dict[str, Any] | None:
    """Return the cells of a page's section on seams, or None where there is none."""
    if report is None:
        return None
    return {
        "shape": _shape_words(report),
        "rows": [_cells(groove) for groove in report.grooves],
        "left_out": _left_out(report),
        "line": SEAM_LINE,
    }


def seams_json(report: SeamReport | None, stand: Stand) -> dict[str, Any] | None:
    """Return the grooves as one object for JSON; places in the file's frame, mm.

    Bearings and heights are those of the part as it stands on the bed.
    """
    if report is None:
        return None
    return {
        "width": float(report.wish.width),
        "depth": float(report.wish.depth),
        "origin": report.wish.origin,
        "grooves": [_groove(groove, stand) for groove in report.grooves],
        "left_out": [{"id": name, "reason": why} for name, why in report.left_out],
    }


def _groove(groove: Groove, stand: Stand) -> dict[str, Any]:
    low, high = groove.reach[0][0], groove.reach[-1][1]
    x, y = groove.apex
    ends = stand.to_file([(x, y, low), (x, y, high)])
    return {
        "id": groove.feature_id,
        "bearing": float(groove.bearing),
        "width": float(groove.width),
        "depth": float(groove.depth),
        "apex": [[float(v) for v in end] for end in ends],
        "heights": [[float(a), float(b)] for a, b in groove.reach],
        "area": float(groove.area),
        "volume": float(groove.volume),
        "reason": groove.reason,
    }
