"""Write docs/cli.md, docs/api.md, the JSON Schemas and the README's picture from the code.

    python docs/generate.py           write them
    python docs/generate.py --check   exit with 1 if any but the picture is stale

The picture is not checked: its numbers may differ in the last digit between machines.
"""

from __future__ import annotations

import dataclasses
import inspect
import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import drawings
import schemas

DOCS = Path(__file__).parent
NOTE = "<!-- Written by docs/generate.py: do not edit by hand. -->"


def commands_page() -> str:
    """Return docs/cli.md: every command with what its --help says."""
    from typer.main import get_command

    from meshcomp.cli import app

    root: Any = get_command(app)
    lines = ["# Commands", "", NOTE, "", root.help, "", *_options_table(root)]
    for name, command in root.commands.items():
        lines += [f"## meshcomp {name}", "", command.help, ""]
        for parameter in command.params:
            if parameter.param_type_name == "argument":
                lines += [f"`{parameter.metavar}`: {_help_of(parameter)}", ""]
        lines += _options_table(command)
    lines += [
        "## Exit status",
        "",
        "| status | meaning |",
        "|---|---|",
        "| 0 | done, and all as planned |",
        "| 1 | an error: a message says what and where; no part is written |",
        "| 2 | the command line cannot be understood |",
        "| 3 | done, but something does not conform or was limited; the report says what |",
        "",
    ]
    return "\n".join(lines)


def _options_table(command: Any) -> list[str]:
    rows = [
        f"| {_names(option)} | {_help_of(option)} |"
        for option in command.params
        if option.param_type_name == "option" and "completion" not in option.opts[0]
    ]
    rows.append("| `--help` | Show the help and leave. |")
    return ["| option | what it does |", "|---|---|", *rows, ""]


def _names(option: Any) -> str:
    value = "" if option.is_flag else f" {option.metavar}"
    return ", ".join(f"`{name}{value}`" for name in option.opts)


def _help_of(parameter: Any) -> str:
    text = " ".join(parameter.help.split())
    if parameter.param_type_name == "argument" and not parameter.required:
        text += f" Default: `{parameter.default}`."
    many = " May be given more than once." if parameter.multiple else ""
    return f"{text}{many}".replace("|", "\\|")


def functions_page() -> str:
    """Return docs/api.md: the public names with the first line of their docstrings."""
    import meshcomp

    lines = ["# Library", "", NOTE, "", *_opening(meshcomp.__doc__ or ""), ""]
    lines += ["## Names of the package", ""]
    for name in meshcomp.__all__:
        lines += _entry(name, getattr(meshcomp, name))
    lines += ["## What the functions return", ""]
    for kind in _results():
        lines += _entry(kind.__name__, kind)
    return "\n".join(lines)


def _opening(docstring: str) -> list[str]:
    return inspect.cleandoc(docstring).split("\n\nExamples")[0].splitlines()


def _results() -> list[type]:
    from meshcomp import (
        features,
        inspections,
        mechanisms,
        meshes,
        parts,
        plans,
        results,
    )

    return [
        parts.Part,
        meshes.Mesh,
        inspections.Inspection,
        inspections.SolidState,
        features.Cylinder,
        features.Wall,
        plans.Plan,
        plans.Correction,
        results.Compensated,
        results.Limit,
        results.Verification,
        results.AchievedSize,
        results.Check,
        results.Record,
        mechanisms.Kit,
        mechanisms.KitOutcome,
        mechanisms.PartOutcome,
        mechanisms.MateOutcome,
        mechanisms.PairOutcome,
        mechanisms.Suggestions,
    ]


def _entry(name: str, thing: Any) -> list[str]:
    first = inspect.cleandoc(thing.__doc__ or "").splitlines()[0]
    lines = [f"### {name}", "", first, ""]
    if dataclasses.is_dataclass(thing):
        fields = [f"`{field.name}`" for field in dataclasses.fields(thing)]
        return [*lines, f"Fields: {', '.join(fields)}.", ""]
    if inspect.isfunction(thing):
        return [*lines, "```text", *_signature(name, thing), "```", ""]
    return lines


def _signature(name: str, function: Any) -> Iterator[str]:
    """Spell the signature from its parts: how Python itself prints one changes."""
    yield f"{name}("
    starred = False
    for parameter in inspect.signature(function).parameters.values():
        if parameter.kind is parameter.KEYWORD_ONLY and not starred:
            starred = True
            yield "    *,"
        stars = "**" if parameter.kind is parameter.VAR_KEYWORD else ""
        has_default = parameter.default is not parameter.empty
        default = f" = {parameter.default!r}" if has_default else ""
        yield f"    {stars}{parameter.name}: {parameter.annotation}{default},"
    yield f") -> {inspect.signature(function).return_annotation}"


def picture() -> str:
    """Return the report's plan view of the bearing plate as a picture of its own."""
    import meshcomp
    from meshcomp.reports import record_html

    record = meshcomp.read_calibration(DOCS.parent / "models" / "calibration.json")
    rule = meshcomp.Calibrated(model=record.model, source=record.conditions.in_words())
    part = meshcomp.read(DOCS.parent / "models" / "bearing_plate.stl", up="+Z")
    with tempfile.TemporaryDirectory() as folder:
        page = record_html(meshcomp.compensate_part(part, f"{folder}/plate.stl", rule))
    views = re.findall(r'<svg class="plan".*?</svg>', page, re.DOTALL)
    return _with_style(views[-1], page)


def _with_style(drawing: str, page: str) -> str:
    """Give a drawing the colours of the page it was taken from, on its light ground."""
    tones = re.search(r":root \{.*?\}", page, re.DOTALL)
    rules = [line for line in page.splitlines() if line.startswith("svg ")]
    style = "\n".join([tones.group() if tones else "", *rules])
    sheet = 'svg { background: #fffefb; font-family: "Noto Sans", Arial, sans-serif; }'
    drawing = drawing.replace(
        '<svg class="plan"', '<svg xmlns="http://www.w3.org/2000/svg" width="900"', 1
    )
    style = style.replace("color-scheme: light dark;", "color-scheme: light;")
    first = drawing.index(">") + 1
    drawing = f"{drawing[:first]}\n<style>\n{style}\n{sheet}\n</style>{drawing[first:]}\n"
    return "".join(f"{line.rstrip()}\n" for line in drawing.splitlines())


def main() -> int:
    """Write the pages, or check them."""
    pages = {
        DOCS / "cli.md": commands_page(),
        DOCS / "api.md": functions_page(),
        DOCS / "schemas.md": schemas.page(NOTE),
        **schemas.schemas(),
    }
    if "--check" in sys.argv[1:]:
        stale = [
            path.name
            for path, text in pages.items()
            if not path.exists() or path.read_text(encoding="utf-8") != text
        ]
        for name in stale:
            print(f"docs/{name} is stale: run python docs/generate.py")
        return 1 if stale else 0
    pages[DOCS / "images" / "bearing_plate.svg"] = picture()
    pages[DOCS / "images" / "layers.svg"] = drawings.layers_drawing()
    pages[DOCS / "images" / "seam.svg"] = drawings.seam_drawing()
    for path, text in pages.items():
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
        print(f"wrote docs/{path.relative_to(DOCS)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
