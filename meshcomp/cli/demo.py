"""`meshcomp demo`: the whole job on a kit of our own."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from meshcomp.cli.progress import bar
from meshcomp.cli.terminal import Quiet

__all__ = ["demo"]

_PARTS = 8


def demo(
    directory: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="Where to put everything.")
    ] = Path("meshcomp-demo"),
    _quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Build the kit of a telescope filter changer and compensate it all."""
    from meshcomp.demonstration import run_demo
    from meshcomp.reports.kits import kit_tables

    typer.echo(
        "A filter changer for a small telescope, for an invented printer with invented\n"
        "readings. Each part was read, its features found, reshaped by the calibration\n"
        "and by what it must go with, written, read back and proved.\n"
    )
    with bar(_PARTS) as progress:
        result = run_demo(directory, progress=progress)
    typer.echo(kit_tables(result.outcome))
    typer.echo(f"\nparts        {result.parts}")
    typer.echo(f"calibration  {result.calibration}")
    typer.echo(f"kit          {result.kit}")
    typer.echo(f"compensated  {result.compensated}")
    typer.echo(f"reports      {result.compensated}/*.report.html: open one in a browser")
    typer.echo(f"\nnext: meshcomp inspect {result.parts / 'indexing_wheel.stl'}")
    if not result.conforms:
        raise typer.Exit(3)
