"""What a verdict says of heights that moved to layers, and of seats for the seam."""

from __future__ import annotations

from meshcomp.layers import LayerReport
from meshcomp.reports._numbers import count
from meshcomp.results import Record
from meshcomp.seams import SeamReport

__all__ = ["extra_words"]


def extra_words(record: Record) -> str:
    """Return sentences on what was done beside sizes, each with a blank before it."""
    is_written = record.written is not None
    return _moved_words(record.layers, is_written=is_written) + _seam_words(
        record.seams, is_written=is_written
    )


def _moved_words(report: LayerReport | None, *, is_written: bool) -> str:
    if report is None or report.moves is None:
        return ""
    number = len({face.height for face in report.faces if face.move != 0})
    verb = ("was" if number == 1 else "were") if is_written else "would be"
    return f" {count(number, 'height')} {verb} moved for the layers."


def _seam_words(report: SeamReport | None, *, is_written: bool) -> str:
    if report is None or not report.grooves:
        return ""
    number = len(report.grooves)
    verb = ("was" if number == 1 else "were") if is_written else "would be"
    return f" {count(number, 'seat')} for the seam {verb} cut."
