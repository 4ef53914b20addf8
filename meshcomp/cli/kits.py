"""`meshcomp kit`: every part of a kit compensated, every mating pair judged."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meshcomp.cli.options import WantsJson
from meshcomp.cli.progress import bar
from meshcomp.cli.terminal import Quiet

if TYPE_CHECKING:
    from meshcomp.kits.making import Workers
    from meshcomp.mechanisms import Kit, KitOutcome

__all__ = ["kit"]

_FAILED, _SHORT = 1, 3


def kit(  # noqa: PLR0913, PLR0917 - one parameter an option
    source: Annotated[
        Path,
        typer.Argument(metavar="KIT", help="A kit file (.toml), or a folder of parts."),
    ],
    calibration: Annotated[
        Path | None,
        typer.Option(
            "-c",
            "--calibration",
            metavar="JSON",
            help="Calibration for all parts; a folder needs one.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "-o", "--out", metavar="DIR", help="Where to write. [default: compensated]"
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(metavar="N", help="Parts worked on at once. [default: one a core]"),
    ] = None,
    dask: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help="Scheduler of a Dask cluster that sees the same files.",
        ),
    ] = None,
    suggest_mates: Annotated[  # noqa: FBT002
        bool,
        typer.Option(
            "--suggest-mates", help="List sizes of two parts that are near, make nothing."
        ),
    ] = False,
    as_json: WantsJson = False,  # noqa: FBT002
    _quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Compensate all parts of a kit and tell which pairs will fit, and how surely.

    Parts that have not changed since an earlier run are not made again.
    """
    wanted = _kit(source, calibration, out)
    _start_workers(wanted, workers, dask)
    from meshcomp.kits.making import Workers, make_kit
    from meshcomp.kits.saving import save_kit_reports

    staff = Workers(count=workers, dask=dask)
    if suggest_mates:
        _suggest(wanted, staff, as_json=as_json)
        return
    with bar(len(wanted.parts)) as progress:
        outcome = make_kit(wanted, workers=staff, progress=progress)
    paths = save_kit_reports(outcome)
    _show(outcome, paths, as_json=as_json)
    if outcome.failed:
        raise typer.Exit(_FAILED)
    if not outcome.conforms:
        raise typer.Exit(_SHORT)


def _kit(source: Path, calibration: Path | None, out: Path | None) -> Kit:
    from meshcomp.kits.reading import folder_kit, read_kit

    if not source.is_dir():
        return read_kit(source, calibration=calibration, out=out)
    if calibration is None:
        raise typer.BadParameter(f"{source} is a folder: give -c CALIBRATION.json with it")
    return folder_kit(source, calibration, out=out)


def _start_workers(wanted: Kit, count: int | None, dask: str | None) -> None:
    """Let workers load while this process does, where there is work for several."""
    from meshcomp.kits.running import start_early, workers_for
    from meshcomp.kits.store import are_all_known
    from meshcomp.kits.work import get_ready

    number = workers_for(len(wanted.parts), count)
    if number > 1 and dask is None and not are_all_known(wanted):
        start_early(get_ready, number)


def _suggest(wanted: Kit, staff: Workers, *, as_json: bool) -> None:
    from meshcomp.kits.making import suggest_mates
    from meshcomp.reports.kits import suggestions_json, suggestions_text

    found = suggest_mates(wanted, workers=staff)
    if as_json:
        typer.echo(json.dumps(suggestions_json(found), indent=1, allow_nan=False))
    else:
        typer.echo(suggestions_text(found))
    if found.failed:
        raise typer.Exit(_FAILED)


def _show(outcome: KitOutcome, paths: tuple[Path, ...], *, as_json: bool) -> None:
    from meshcomp.reports.kits import kit_json, kit_text

    if as_json:
        typer.echo(json.dumps(kit_json(outcome), indent=1, allow_nan=False))
        return
    typer.echo(kit_text(outcome))
    typer.echo(f"written: {outcome.kit.out}")
    typer.echo(f"report: {paths[0]} (and .json, .csv)")
