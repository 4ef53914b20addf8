"""`meshcomp inspect`: what features a part has, and the state of its solid."""

from __future__ import annotations

import json

import typer

from meshcomp.cli.options import NoRepair, PartPath, Unit, Up, WantsJson

__all__ = ["inspect"]


def inspect(
    part: PartPath,
    unit: Unit = None,
    up: Up = None,
    no_repair: NoRepair = False,  # noqa: FBT002
    as_json: WantsJson = False,  # noqa: FBT002
) -> None:
    """List the bores, bosses and walls of a part, and the state of its solid."""
    from meshcomp.inspecting import inspect as inspect_part
    from meshcomp.repairing import read_sound_part
    from meshcomp.reports import inspection_json, inspection_text

    inspection = inspect_part(
        read_sound_part(part, unit=unit, up=up, repairs=not no_repair)
    )
    if as_json:
        typer.echo(json.dumps(inspection_json(inspection), indent=1, allow_nan=False))
    else:
        typer.echo(inspection_text(inspection))
