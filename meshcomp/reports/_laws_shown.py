"""The laws of a calibration that a part was corrected by: in words, with their charts."""

from __future__ import annotations

from typing import Any

from meshcomp.calibration.results import Calibration
from meshcomp.printing import law_name
from meshcomp.reports.calibration import law_sentence, sentence
from meshcomp.results import Record

__all__ = ["laws_shown"]


def laws_shown(record: Record, calibration: Calibration | None) -> list[dict[str, Any]]:
    """Return the law of each kind of feature that the part has, in the model's order.

    Parameters
    ----------
    record : Record
    calibration : Calibration or None
        That decided the corrections; None: nothing is shown.
    """
    if calibration is None:
        return []
    kinds = {law_name(feature) for feature in record.inspection.features}
    return [
        {
            "kind": kind,
            "words": sentence(law_sentence(kind, law)),
            "repeatability": f"{law.repeatability:.3f}",
            "chart": _chart(calibration, kind),
        }
        for kind, law in calibration.model.laws.items()
        if kind in kinds
    ]


def _chart(calibration: Calibration, kind: str) -> Any:
    from markupsafe import Markup

    from meshcomp.reports.law_charts import law_chart

    study, law = calibration.study(kind), calibration.model.law(kind)
    if study is None or law is None:
        return None
    return Markup(law_chart(kind, law, study))  # noqa: S704 - drawn by us
