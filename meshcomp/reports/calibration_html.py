"""A calibration as one HTML page: laws in words, charts, readings, what to do next."""

from __future__ import annotations

from typing import Any

from meshcomp.calibration.results import Calibration, Residual, Study
from meshcomp.deviations import SizeLaw
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._pages import page
from meshcomp.reports.calibration import (
    all_laws,
    flow_sentences,
    law_sentence,
    sentence,
    shape_sentences,
    study_sentences,
)

__all__ = ["calibration_html"]


def calibration_html(calibration: Calibration) -> str:
    """Return a calibration as one self-contained HTML page.

    Parameters
    ----------
    calibration : Calibration

    Returns
    -------
    str
        HTML 5 with inline style and inline SVG; save it as UTF-8.

    Examples
    --------
    >>> from meshcomp.calibration.record import (
    ...     invented_calibration_path, read_calibration)
    >>> html = calibration_html(read_calibration(invented_calibration_path()))
    >>> "Bores close by 0.100 + 0.400/d mm" in html
    True
    """
    laws = all_laws(calibration.model)
    return page("calibration.html.j2").render(
        calibration=calibration,
        conditions=calibration.conditions,
        kinds=[_kind(k, law, calibration.study(k)) for k, law in laws.items()],
        without=[study for study in calibration.studies if study.kind not in laws],
        shapes=list(shape_sentences(calibration.model)),
        flow=flow_sentences(calibration.flow),
        notes=[sentence(note) for note in calibration.notes],
    )


def _kind(kind: str, law: SizeLaw, study: Study | None) -> dict[str, Any]:
    return {
        "kind": kind,
        "words": sentence(law_sentence(kind, law)),
        "law": law.in_words(),
        "chart": None if study is None else _chart(kind, law, study),
        "sentences": [] if study is None else list(study_sentences(law, study)),
        "rows": [] if study is None else [_row(r) for r in study.residuals],
    }


def _chart(kind: str, law: SizeLaw, study: Study) -> Any:
    from markupsafe import Markup

    from meshcomp.reports.law_charts import law_chart

    return Markup(law_chart(kind, law, study))  # noqa: S704 - drawn by us


def _row(residual: Residual) -> dict[str, str]:
    ends = numbers.signed(residual.lower), numbers.signed(residual.upper)
    is_gauged = residual.deviation is None
    return {
        "feature": residual.feature,
        "source": residual.source,
        "size": numbers.size(residual.size),
        "deviation": (
            f"{ends[0]} to {ends[1]}" if is_gauged else numbers.signed(residual.deviation)
        ),
        "residual": numbers.signed(residual.residual),
        "uncertainty": numbers.size(residual.reading_uncertainty),
    }
