"""`meshcomp testpiece`, `calibrate` and `predict`: from the bench to expected sizes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from meshcomp.cli.options import NoRepair, PartPath, Unit, Up, WantsJson
from meshcomp.cli.terminal import Quiet

__all__ = ["bench_piece", "calibrate", "predict"]


def bench_piece(  # noqa: PLR0913, PLR0917 - each is an option
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="See --list.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="DIR", help="Folder of its own.")
    ] = None,
    wants_list: Annotated[  # noqa: FBT002
        bool, typer.Option("--list", help="List the test pieces and leave.")
    ] = False,
    sizes: Annotated[
        str | None, typer.Option(metavar="MM,MM,...", help="Nominal sizes, mm.")
    ] = None,
    count: Annotated[int | None, typer.Option(metavar="N", help="How many sizes.")] = None,
    with_: Annotated[
        list[str] | None,
        typer.Option(
            "--with",
            metavar="NAME=MM",
            help="Another measure of the piece, such as step=0.05; --list names them.",
        ),
    ] = None,
    sheets: Annotated[  # noqa: FBT002
        bool, typer.Option(help="Draw the measuring sheets.")
    ] = True,
    _quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Write a test piece to print: mesh, table of readings, measuring sheet."""
    from meshcomp.testpieces.catalogue import (
        build_testpiece,
        testpiece_names,
        testpiece_options,
    )
    from meshcomp.testpieces.writing import write_testpiece

    if wants_list:
        for each in testpiece_names():
            typer.echo(f"{each:16}{build_testpiece(each).purpose}")
            others = [o for o in testpiece_options(each) if o not in {"sizes", "count"}]
            typer.echo(f"{'':18}--with {', '.join(others)}")
        return
    if name is None or out is None:
        raise typer.BadParameter("give NAME and -o DIR, or --list")
    options: dict[str, Any] = {}
    if sizes is not None:
        options["sizes"] = tuple(_number(text) for text in sizes.split(","))
    if count is not None:
        options["count"] = count
    options |= dict(_measure(text) for text in with_ or [])
    for path in write_testpiece(name, out, sheets=sheets, **options):
        typer.echo(f"written: {path}")
    typer.echo(f"Print {name}.stl, and fill in readings.csv as the sheet says.")


def _measure(text: str) -> tuple[str, Any]:
    """Read NAME=VALUE: a number, or several with commas between."""
    name, _, value = text.partition("=")
    if not name or not value:
        raise typer.BadParameter(f"--with {text!r}: give NAME=MM, such as step=0.05")
    numbers = tuple(_number(part) for part in value.split(","))
    if len(numbers) > 1:
        return name, numbers
    return name, int(numbers[0]) if value.strip().isdigit() else numbers[0]


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no number") from None


def calibrate(  # noqa: PLR0913, PLR0917 - each is an option
    readings: Annotated[
        list[Path], typer.Argument(metavar="READINGS...", help="Filled-in readings.csv.")
    ],
    out: Annotated[
        Path, typer.Option("--out", "-o", metavar="FILE", help="Calibration to write.")
    ],
    printer: Annotated[str, typer.Option(help="Which printer.")] = "not stated",
    material: Annotated[str, typer.Option(help="Which material.")] = "not stated",
    nozzle: Annotated[float, typer.Option(metavar="MM", help="Nozzle.")] = 0.4,
    layer_height: Annotated[float, typer.Option(metavar="MM", help="Layer height.")] = 0.2,
    line_width: Annotated[float, typer.Option(metavar="MM", help="Line width.")] = 0.44,
    first_layer: Annotated[
        float | None, typer.Option(metavar="MM", help="First layer, if it is another.")
    ] = None,
    date: Annotated[str, typer.Option(help="Year-month-day.")] = "",
    notes: Annotated[str, typer.Option(help="To be kept in the record.")] = "",
    update: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Older record, whose readings count too."),
    ] = None,
    flare_height: Annotated[
        float | None,
        typer.Option(metavar="MM", help="Of the first layers that spread; default two."),
    ] = None,
    report: Annotated[  # noqa: FBT002
        bool, typer.Option(help="Write a page with charts beside the record.")
    ] = True,
    _quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Estimate a calibration, with its uncertainty, from readings of test pieces."""
    from meshcomp.calibration.estimate import calibrate as estimate
    from meshcomp.calibration.record import read_calibration, write_calibration
    from meshcomp.calibration.results import Conditions
    from meshcomp.reports.calibration import calibration_text

    previous = None if update is None else read_calibration(update)
    conditions = Conditions(
        printer=printer,
        material=material,
        nozzle=nozzle,
        layer_height=layer_height,
        line_width=line_width,
        date=date,
        notes=notes,
        first_layer=first_layer,
    )
    if previous is not None and printer == material == "not stated":
        conditions = previous.conditions
    calibration = estimate(
        readings, conditions=conditions, previous=previous, flare_height=flare_height
    )
    write_calibration(calibration, out)
    typer.echo(calibration_text(calibration).rstrip())
    typer.echo(f"written: {out}")
    if report:
        from meshcomp.files.atomic import save_atomically
        from meshcomp.reports.calibration_html import calibration_html

        page = Path(f"{out}.report.html")
        save_atomically(page, calibration_html(calibration).encode())
        typer.echo(f"report:  {page}")


def predict(
    part: PartPath,
    calibration: Annotated[
        Path, typer.Option("--calibration", "-c", metavar="FILE", help="Calibration.")
    ],
    unit: Unit = None,
    up: Up = None,
    no_repair: NoRepair = False,  # noqa: FBT002
    as_json: WantsJson = False,  # noqa: FBT002
) -> None:
    """Predict the size that each feature of a part prints in, and how surely."""
    from meshcomp.calibration.record import read_calibration
    from meshcomp.inspecting import inspect
    from meshcomp.predictions import predict as predict_part
    from meshcomp.repairing import read_sound_part
    from meshcomp.reports.predictions import predictions_json, predictions_text

    record = read_calibration(calibration)
    sound = read_sound_part(part, unit=unit, up=up, repairs=not no_repair)
    found = predict_part(inspect(sound), record.model)
    words = record.conditions.in_words()
    if as_json:
        typer.echo(json.dumps(predictions_json(found, words), indent=1, allow_nan=False))
    else:
        typer.echo(predictions_text(found, words))
