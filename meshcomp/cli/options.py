"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from meshcomp.errors import OptionError

__all__ = [
    "FirstLayer",
    "LayerHeight",
    "NoRepair",
    "PartPath",
    "Unit",
    "Up",
    "WantsJson",
    "parse_sizes",
]

PartPath = Annotated[
    Path, typer.Argument(metavar="PART", help="Mesh file: .stl, .3mf, .obj or .ply.")
]
Unit = Annotated[
    str | None,
    typer.Option(metavar="UNIT", help="mm, cm, m or inch. 3MF says its own; else mm."),
]
Up = Annotated[
    str | None,
    typer.Option(
        metavar="DIRECTION",
        help="Direction of the file that points up on the bed: +Z (assumed), -Z, +X ...",
    ),
]
NoRepair = Annotated[
    bool, typer.Option("--no-repair", help="Refuse a mesh that needs repair at once.")
]
LayerHeight = Annotated[
    float | None,
    typer.Option(
        metavar="MM", help="Layer height: list the level faces that lie on no layer."
    ),
]
FirstLayer = Annotated[
    float | None,
    typer.Option(
        metavar="MM", help="Height of the first layer. [default: the layer height]"
    ),
]
WantsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")]


def parse_sizes(settings: list[str]) -> dict[str, float]:
    """Read ID=SIZE settings.

    Raises
    ------
    OptionError
        If one is not of that form, or its size is no number above zero.
    """
    sizes = {}
    for setting in settings:
        name, _, text = setting.partition("=")
        try:
            size = float(text)
        except ValueError:
            size = 0.0
        if not name or not 0 < size < float("inf"):
            raise OptionError(
                f"--set {setting!r}: give ID=SIZE, such as --set bore-01=22.1"
            )
        sizes[name] = size
    return sizes
