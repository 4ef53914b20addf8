"""The command line: reads options, calls the library, prints, sets the exit status.

Exit status: 0 done and all as planned; 1 an error, nothing written; 2 wrong usage; 3 done,
but something does not conform or had to be limited.
"""

from __future__ import annotations

import sys

import typer

from meshcomp.cli.calibrating import bench_piece, calibrate, predict
from meshcomp.cli.compensating import compensate
from meshcomp.cli.contents import Contents
from meshcomp.cli.demo import demo
from meshcomp.cli.fitting import fit
from meshcomp.cli.inspecting import inspect
from meshcomp.cli.kits import kit
from meshcomp.errors import MeshCompError

__all__ = ["app", "main"]

_PRINTER = "First, know your printer"
_PART = "Then, part by part"
_KIT = "Or a whole kit at once"
_LOOK = "To see it all beforehand"

app = typer.Typer(
    name="meshcomp",
    cls=Contents,
    help="Reshape meshes before slicing, so that filament prints come out true to size.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.command("testpiece", rich_help_panel=_PRINTER)(bench_piece)
app.command(rich_help_panel=_PRINTER)(calibrate)
app.command(rich_help_panel=_PART)(inspect)
app.command(rich_help_panel=_PART)(predict)
app.command(rich_help_panel=_PART)(fit)
app.command(rich_help_panel=_PART)(compensate)
app.command(rich_help_panel=_KIT)(kit)
app.command(rich_help_panel=_LOOK)(demo)


def _show_version(wanted: bool) -> None:  # noqa: FBT001 - typer passes a flag
    if wanted:
        from meshcomp._version import __version__

        typer.echo(f"meshcomp {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: bool = typer.Option(  # noqa: FBT001
        False,
        "--version",
        help="Show the version and leave.",
        callback=_show_version,
        is_eager=True,
    ),
) -> None:
    """Reshape meshes before slicing, so that filament prints come out true to size."""


def main() -> None:
    """Run the command line; turn our errors into a message and exit status 1."""
    try:
        app()
    except MeshCompError as error:
        typer.echo(f"meshcomp: {error}", err=True)
        sys.exit(1)
    except MemoryError:
        typer.echo(
            "meshcomp: not enough memory for this part: save it with fewer triangles",
            err=True,
        )
        sys.exit(1)
