"""JSON Schemas of the files that people and other programs write, from the models."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from pydantic import BaseModel

FOLDER = Path(__file__).parent / "schemas"


def _models() -> Iterator[tuple[str, str, type[BaseModel]]]:
    """Name, meaning and model of each file."""
    # The models are private: what they check is public as files, not as classes.
    from meshcomp.calibration.record import _CalibrationRecord
    from meshcomp.intents.entries import PlanFile
    from meshcomp.kits.entries import KitFile
    from meshcomp.measurements.pieces import _SheetRecord

    yield "plan", "plan files (`plan.toml`): what features are for", PlanFile
    yield "kit", "kit files (`kit.toml`): parts and their mates", KitFile
    yield "calibration", "calibration records (`calibration.json`)", _CalibrationRecord
    yield "testpiece", "what is on a test piece (`testpiece.json`)", _SheetRecord


def schemas() -> dict[Path, str]:
    """Return the text of each schema, by its file."""
    return {
        FOLDER / f"{name}.schema.json": json.dumps(_schema(words, model), indent=1) + "\n"
        for name, words, model in _models()
    }


def _schema(words: str, model: type[BaseModel]) -> dict[str, object]:
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": words.partition(":")[0].replace("`", ""),
    }
    made = model.model_json_schema(by_alias=True)
    made.pop("title", None)
    return head | made


def page(note: str) -> str:
    """Return the page that lists the schemas."""
    lines = [
        "# JSON Schemas",
        "",
        note,
        "",
        "Written from the models by which meshcomp checks the files (JSON Schema, draft",
        "2020-12). Editors that know schemas complete and check TOML and JSON by them.",
        "What a schema cannot say, such as that two keys exclude each other, meshcomp says",
        "with the line.",
        "",
    ]
    lines += [
        f"- [{name}](schemas/{name}.schema.json): {words}" for name, words, _ in _models()
    ]
    return "\n".join([*lines, ""])
