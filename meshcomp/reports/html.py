"""A record as one HTML page that needs nothing else: no network, no other file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from meshcomp.calibration.results import Calibration
from meshcomp.inspections import SolidState
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._bench_rows import bench_rows
from meshcomp.reports._intent_lines import (
    intent_rows,
    intent_sentence,
    shortfalls,
    warnings_of,
)
from meshcomp.reports._laws_shown import laws_shown
from meshcomp.reports._layers import layer_cells
from meshcomp.reports._offers import offers_data
from meshcomp.reports._pages import page, script, with_minus
from meshcomp.reports._repairs import repair_sentences
from meshcomp.reports._rows import Row, ids_in_words, rows_of
from meshcomp.reports._seams import seam_cells
from meshcomp.reports._sentences import (
    cautions,
    dash_reasons,
    doubts,
    left_alone,
    printable,
    stand_sentences,
    verdict,
)
from meshcomp.reports._surfaces import (
    COLOURS,
    embedded,
    scale_of,
    surface_data,
    ticks,
    why_no_surface,
)
from meshcomp.reports._whole import whole_sentences
from meshcomp.reports.pictures import pictures
from meshcomp.results import AchievedSize, Record, Surface, Verification

__all__ = ["record_html"]

_MOST_IDS = 3  # named in a key figure


def record_html(record: Record, calibration: Calibration | None = None) -> str:
    """Return the record of one compensated part as one self-contained HTML page.

    Parameters
    ----------
    record : Record
        Of a finished job or of a dry run.
    calibration : Calibration, optional
        That decided the corrections, to be shown with its charts.

    Returns
    -------
    str
        HTML 5 with inline style, script and SVG; everything that came from a file is
        escaped, and the page's policy forbids every request and every other script.
        Save it as UTF-8.
    """
    rows = rows_of(record)
    cells = [_row(row) for row in rows]
    return page("report.html.j2").render(
        record=record,
        part=record.inspection.part,
        plan=record.plan,
        proof=record.verification,
        verdict=verdict(record),
        figures=_figures(record, rows),
        pictures=pictures(record),
        rows=cells,
        script=script("report.min.js"),
        view=_view(record, rows, cells),
        prints=intent_rows(rows),
        intents=intent_sentence(record.plan),
        shortfalls=shortfalls(record.plan),
        minds=warnings_of(record.plan),
        dashes=dash_reasons(record, rows),
        left_alone=left_alone(rows),
        layers=layer_cells(record.layers),
        seams=seam_cells(record.seams),
        solids=_solids(record),
        laws=laws_shown(record, calibration),
        bench=bench_rows(rows),
        offers=_embedded(offers_data(record, rows)),
        repairs=repair_sentences(record.inspection.part),
        stands=stand_sentences(record.inspection.part, record.inspection.stands),
        whole=whole_sentences(record),
        doubts=doubts(record.inspection),
        cautions=cautions(record),
    )


def _embedded(data: Any) -> Any:
    from markupsafe import Markup

    return None if data is None else Markup(embedded(data))  # noqa: S704 - cannot leave


def _view(
    record: Record, rows: Sequence[Row], cells: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """Return the 3D view: its data and its legend, or why there is none."""
    missing = why_no_surface(record)
    surface = record.surface
    if surface is None or missing is not None:
        return {"missing": missing, "data": None}
    data = surface_data(surface, rows, [_in_short(cell) for cell in cells])
    return {
        "missing": None,
        "data": _embedded(data),
        "colours": COLOURS,
        "ticks": ticks(scale_of(surface)),
        "is_plan": record.written is None,
        "thinned": _thinned(surface),
    }


def _thinned(surface: Surface) -> str | None:
    if len(surface.faces) == surface.triangles:
        return None
    return (
        f"Shown with {len(surface.faces):,} of the part's {surface.triangles:,} triangles; "
        f"what is left out moves the picture by at most {surface.strayed:.4f} mm. The file "
        "written has them all."
    )


def _in_short(cell: Mapping[str, Any]) -> str:
    """Say of a feature what the view shows: its kind, its sizes, its outcome."""
    after = cell["planned"] if cell["achieved"] == numbers.DASH else cell["achieved"]
    sizes = f", {cell['nominal']} → {after} mm" if cell["nominal"] != numbers.DASH else ""
    offset = with_minus(f"{cell['offset']} mm a side")
    return printable(f"{cell['kind']}{sizes}, {offset}, {cell['state']}")


def _figures(record: Record, rows: Sequence[Row]) -> list[dict[str, str]]:
    """Return the key figures: a name, a number and what it refers to each."""
    changed = [row for row in rows if row.is_changed]
    verb = "Features to change" if record.written is None else "Features changed"
    return [
        _figure(
            verb, f"{len(changed)} of {len(rows)}", f"{len(rows) - len(changed)} left alone"
        ),
        _largest(changed),
        *_proved_figures(record.verification),
    ]


def _figure(name: str, value: str, note: str) -> dict[str, str]:
    return {"name": name, "value": value, "note": note}


def _largest(changed: Sequence[Row]) -> dict[str, str]:
    sized = [row for row in changed if row.correction.correction is not None]
    if not sized:
        return _figure("Largest correction", numbers.DASH, "no size was changed")
    largest = max(abs(row.correction.correction or 0.0) for row in sized)
    same = [
        row.correction
        for row in sized
        if numbers.size(abs(row.correction.correction or 0.0)) == numbers.size(largest)
    ]
    value = numbers.signed(same[0].correction)
    few = len(same) <= _MOST_IDS
    names = ids_in_words(c.feature_id for c in same) if few else f"{len(same)} features"
    return _figure("Largest correction, mm", value, f"on the size of {names}")


def _proved_figures(proof: Verification | None) -> list[dict[str, str]]:
    names = ("Sizes as planned", "Largest difference, µm", "Checks passed")
    volume = "Change of volume, mm³"
    if proof is None:
        note = "the result was not measured"
        return [_figure(name, numbers.DASH, note) for name in (*names, volume)]
    right = sum(size.conforms for size in proof.sizes)
    passed = sum(check.passed for check in proof.checks)
    predicted = with_minus(numbers.signed(proof.predicted_volume_change, 1))
    return [
        _figure(names[0], f"{right} of {len(proof.sizes)}", "measured in the written file"),
        _worst(names[1], proof.sizes),
        _figure(names[2], f"{passed} of {len(proof.checks)}", "on the written file"),
        _figure(volume, numbers.signed(proof.volume_change, 1), f"predicted {predicted}"),
    ]


def _worst(name: str, sizes: Sequence[AchievedSize]) -> dict[str, str]:
    misses = [
        (abs(size.achieved - size.planned), size.feature_id)
        for size in sizes
        if size.achieved is not None and size.planned is not None
    ]
    if not misses:
        return _figure(name, numbers.DASH, "no size was measured")
    miss, worst = max(misses)
    return _figure(
        name,
        f"\N{LESS-THAN OR EQUAL TO} {numbers.bound(miss)}",
        f"planned to achieved, at {worst}",
    )


_MARKS = {
    "changed": "\N{BLACK DIAMOND}",
    "to change": "\N{WHITE DIAMOND}",
    "left alone": "\N{WHITE CIRCLE}",
    "limited": "\N{BLACK UP-POINTING TRIANGLE}",
    "not as planned": "\N{MULTIPLICATION X}",
}


def _row(row: Row) -> dict[str, Any]:
    """Return the cells of one feature."""
    correction = row.correction
    planned, achieved = numbers.planned_and_achieved(
        row.planned, row.achieved, conforms=row.conforms is not False
    )
    reasons = [correction.reason, *correction.flags, *(x.reason for x in row.limits)]
    if row.size is not None and not row.size.conforms:
        reasons.append(f"how measured: {row.size.how}")
    uncertainty = correction.standard_uncertainty
    return {
        "id": correction.feature_id,
        "kind": correction.kind,
        "nominal": numbers.size(correction.nominal_size),
        "predicted": numbers.signed(correction.predicted_deviation),
        "uncertainty": None if uncertainty is None else numbers.size(uncertainty),
        "target": numbers.size(correction.target_size),
        "planned": planned,
        "achieved": achieved,
        "offset": numbers.signed(correction.offset),
        "used": numbers.signed(row.limits[0].used) if row.limits else None,
        "state": row.state,
        "mark": _MARKS[row.state],
        "reasons": reasons,
    }


def _solids(record: Record) -> list[tuple[str, str, str]]:
    """Return the rows of the table of solids: a name, before and after each."""
    before = _solid_cells(record.inspection.solid)
    proof = record.verification
    after = {} if proof is None else _solid_cells(proof.solid)
    return [(name, value, after.get(name, numbers.DASH)) for name, value in before.items()]


def _solid_cells(solid: SolidState) -> Mapping[str, str]:
    extents = {
        f"{axis}, from and to, mm": f"{numbers.size(low)} to {numbers.size(high)}"
        for axis, low, high in zip("XYZ", *solid.bounds, strict=True)
    }
    return {
        "closed": "yes" if solid.is_watertight else "NO",
        "bodies": f"{solid.bodies:,}",
        "genus": f"{solid.genus:,}",
        "triangles": f"{solid.triangles:,}",
        "volume, mm³": numbers.size(solid.volume, 2),
    } | extents
