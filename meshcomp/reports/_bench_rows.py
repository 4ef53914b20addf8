"""The measuring record of a print: what to measure on it, with room for the readings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from meshcomp.printing import law_name
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._rows import Row

__all__ = ["bench_rows"]


def bench_rows(rows: Sequence[Row]) -> list[dict[str, Any]]:
    """Return one row for each feature with a size that a calibration could learn from.

    Parameters
    ----------
    rows : sequence of Row
        Of one record.

    Returns
    -------
    list of dict
        `kind`, `nominal` and `mesh` are as a table of readings wants them.
    """
    return [
        _bench_row(row, name)
        for row in rows
        if row.feature is not None
        and row.correction.nominal_size is not None
        and (name := law_name(row.feature)) is not None
    ]


def _bench_row(row: Row, name: str) -> dict[str, Any]:
    correction, outlook = row.correction, row.correction.outlook
    mesh = row.achieved if row.achieved is not None else correction.mesh_size
    has_limits = outlook is not None and outlook.lower is not None and not outlook.is_gap
    return {
        "id": correction.feature_id,
        "kind": name,
        "nominal": numbers.size(correction.nominal_size),
        "mesh": numbers.size(correction.nominal_size if mesh is None else mesh),
        "target": numbers.size(correction.target_size),
        "lower": numbers.size(outlook.lower) if outlook and has_limits else None,
        "upper": numbers.size(outlook.upper) if outlook and has_limits else None,
    }
