"""`meshcomp inspect`: what features a part has, and the state of its solid."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meshcomp.cli.options import NoRepair, PartPath, Unit, Up, WantsJson

if TYPE_CHECKING:
    from meshcomp.inspections import Inspection

__all__ = ["inspect"]


def inspect(  # noqa: PLR0913, PLR0917 - one parameter an option
    part: PartPath,
    unit: Unit = None,
    up: Up = None,
    no_repair: NoRepair = False,  # noqa: FBT002
    plan_template: Annotated[  # noqa: FBT002
        bool,
        typer.Option(
            "--plan-template", help="Write a plan file to begin with instead of the list."
        ),
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", "-o", metavar="TOML", help="Where the plan file goes; else shown."
        ),
    ] = None,
    as_json: WantsJson = False,  # noqa: FBT002
) -> None:
    """List the bores, bosses and walls of a part, and the state of its solid."""
    from meshcomp.inspecting import inspect as inspect_part
    from meshcomp.repairing import read_sound_part
    from meshcomp.reports import inspection_json, inspection_text

    if out is not None and not plan_template:
        raise typer.BadParameter("-o goes with --plan-template")
    inspection = inspect_part(
        read_sound_part(part, unit=unit, up=up, repairs=not no_repair)
    )
    if plan_template:
        _write_template(inspection, out)
    elif as_json:
        typer.echo(json.dumps(inspection_json(inspection), indent=1, allow_nan=False))
    else:
        typer.echo(inspection_text(inspection))


def _write_template(inspection: Inspection, out: Path | None) -> None:
    """Write a plan template, but never over a file that somebody may have filled in."""
    from meshcomp.errors import OptionError
    from meshcomp.files.atomic import save_atomically
    from meshcomp.intents.suggesting import suggestions
    from meshcomp.reports.plan_template import plan_template

    text = plan_template(inspection, suggestions(inspection))
    if out is None:
        typer.echo(text.rstrip())
        return
    if out.exists():
        raise OptionError(f"{out} is there already, perhaps filled in: name another file")
    save_atomically(out, text.encode())
    typer.echo(f"written: {out}")
