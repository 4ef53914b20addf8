"""`meshcomp demo`: the whole job on parts of our own."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["demo"]


def demo(
    directory: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="Where to put everything.")
    ] = Path("meshcomp-demo"),
) -> None:
    """Build the parts of a telescope filter changer and compensate them all."""
    from meshcomp.demonstration import run_demo

    result = run_demo(directory)
    typer.echo(
        "A filter changer for a small telescope, for an invented printer with invented\n"
        "readings. Each part was read, its features found, reshaped by the calibration,\n"
        "written, read back and proved.\n"
    )
    typer.echo(f"{'part':<18} {'bores':>5} {'bosses':>6} {'walls':>5}  verdict")
    for row in result.rows:
        typer.echo(
            f"{row.name:<18} {row.bores:>5} {row.bosses:>6} {row.walls:>5}  {row.verdict}"
        )
    typer.echo(f"\nparts        {result.parts}")
    typer.echo(f"calibration  {result.calibration}")
    typer.echo(f"compensated  {result.compensated}")
    typer.echo(f"reports      {result.compensated}/*.report.html: open one in a browser")
    typer.echo(f"\nnext: meshcomp inspect {result.rows[0].path}")
    if not result.conforms:
        raise typer.Exit(3)
