"""`meshcomp fit`: limits, fits and what a printer makes of them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meshcomp.cli.options import WantsJson

if TYPE_CHECKING:
    from meshcomp.measurements.readings import Reading

__all__ = ["fit"]


def fit(
    text: Annotated[
        str,
        typer.Argument(metavar="FIT", help='"22 H7", "8 H7/p6" or "22 +0.02/-0.01".'),
    ],
    calibration: Annotated[
        Path | None,
        typer.Option(
            "--calibration", "-c", metavar="FILE", help="Calibration of your printer."
        ),
    ] = None,
    kind: Annotated[
        str | None,
        typer.Option(
            metavar="KIND",
            help="What is printed: bore, boss, slot ... [default: bore for holes, boss for "
            "shafts]",
        ),
    ] = None,
    as_json: WantsJson = False,  # noqa: FBT002
) -> None:
    """Tell the limits and the clearances of a fit, and how surely a printer holds it."""
    from meshcomp.fitting import fit as study_fit
    from meshcomp.reports.fitting import fit_json, fit_text

    model, conditions = None, None
    readings: tuple[Reading, ...] = ()
    if calibration is not None:
        from meshcomp.calibration.record import read_calibration

        record = read_calibration(calibration)
        model, readings = record.model, record.readings
        conditions = record.conditions.in_words()
    study = study_fit(text, model, kind=kind, readings=readings)
    if as_json:
        typer.echo(json.dumps(fit_json(study, conditions), indent=1, allow_nan=False))
    else:
        typer.echo(fit_text(study, conditions))
