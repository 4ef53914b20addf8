"""Predicted sizes as text and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from meshcomp.predictions import Prediction
from meshcomp.reports._numbers import signed, size
from meshcomp.reports._tables import Column, paragraph, table

__all__ = ["predictions_json", "predictions_text"]


def predictions_text(predictions: Sequence[Prediction], conditions: str) -> str:
    """Return a table of the sizes that a part prints in, uncompensated."""
    known = [p for p in predictions if p.printed_size is not None]
    lines = paragraph(f"As printed with {conditions}, nothing compensated:")
    columns = [
        Column("id", tuple(p.feature_id for p in known), is_number=False),
        Column("nominal", tuple(size(p.nominal_size) for p in known)),
        Column("printed", tuple(size(p.printed_size) for p in known)),
        Column("deviation", tuple(signed(_deviation(p)) for p in known)),
        Column("u", tuple(size(p.standard_uncertainty) for p in known)),
        Column("95 % from", tuple(size(p.low) for p in known)),
        Column("to", tuple(size(p.high) for p in known)),
    ]
    lines += ["", *table(columns)] if known else ["", "No feature has a calibration."]
    for note in dict.fromkeys(p.note for p in predictions if p.note):
        ids = ", ".join(p.feature_id for p in predictions if p.note == note)
        lines += paragraph(f"{ids}: {note}", hanging="  ")
    lines.append("mm; u: standard uncertainty of the expected size")
    return "\n".join(lines)


def _deviation(prediction: Prediction) -> float:
    return (prediction.printed_size or 0.0) - (prediction.nominal_size or 0.0)


def predictions_json(predictions: Sequence[Prediction], conditions: str) -> dict[str, Any]:
    """Return the predictions as one JSON object."""
    return {
        "schema": 1,
        "conditions": conditions,
        "features": [asdict(prediction) for prediction in predictions],
    }
