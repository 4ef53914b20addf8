"""`meshcomp inspect`: what features a part has, and the state of its solid."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from meshcomp.cli.options import (
    FirstLayer,
    LayerHeight,
    NoRepair,
    PartPath,
    Unit,
    Up,
    WantsJson,
)
from meshcomp.cli.terminal import Quiet, working

if TYPE_CHECKING:
    from meshcomp.inspections import Inspection
    from meshcomp.layers import LayerGrid, LayerReport

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
    layer_height: LayerHeight = None,
    first_layer: FirstLayer = None,
    as_json: WantsJson = False,  # noqa: FBT002
    _quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """List the bores, bosses and walls of a part, and the state of its solid."""
    from meshcomp.inspecting import inspect as inspect_part
    from meshcomp.repairing import read_sound_part
    from meshcomp.reports import inspection_json, inspection_text
    from meshcomp.wishes import layer_grid

    if out is not None and not plan_template:
        raise typer.BadParameter("-o goes with --plan-template")
    grid = layer_grid(layer_height, first_layer)
    with working(part.name):
        inspection = inspect_part(
            read_sound_part(part, unit=unit, up=up, repairs=not no_repair)
        )
    layers = _layers(inspection, grid)
    if plan_template:
        _write_template(inspection, out)
    elif as_json:
        found = inspection_json(inspection, layers)
        typer.echo(json.dumps(found, indent=1, allow_nan=False))
    else:
        typer.echo(inspection_text(inspection, layers))


def _layers(inspection: Inspection, grid: LayerGrid | None) -> LayerReport | None:
    if grid is None:
        return None
    from meshcomp.layering import layer_report

    return layer_report(inspection, grid)


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
