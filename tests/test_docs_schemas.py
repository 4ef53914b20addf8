"""The JSON Schemas in docs, by jsonschema: what meshcomp reads they allow, and not more."""

from __future__ import annotations

import json
import re
import tomllib

import pytest
from console_blocks import ROOT, commands, is_as_shown, workplace
from jsonschema import Draft202012Validator

from meshcomp.calibration.record import invented_calibration_path
from meshcomp.testpieces.writing import write_testpiece

FOLDER = ROOT / "docs" / "schemas"
HOW_TO = [ROOT / "docs" / name for name in ("gears.md", "no-offsets.md")]
COMMANDS = [(page, c) for page in HOW_TO for c in commands(page.read_text("utf-8"))]


def blocks(name):
    """Every TOML block of a page."""
    text = (ROOT / "docs" / name).read_text(encoding="utf-8")
    return re.findall(r"(?ms)^```toml[^\n]*\n(.*?)^```$", text)


def problems(name, data):
    schema = json.loads((FOLDER / f"{name}.schema.json").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    found = Draft202012Validator(schema).iter_errors(data)
    return [error.message for error in found]


@pytest.mark.parametrize("page", ["plans.md", "bearing_seat.md", "gears.md"])
def test_plans_in_the_pages_are_as_their_schema_says(page):
    plans = [tomllib.loads(block) for block in blocks(page)]
    assert plans
    assert [problems("plan", data) for data in plans] == [[]] * len(plans)


def test_kits_in_the_pages_are_as_their_schema_says():
    kits = [
        data
        for block in blocks("kits.md")
        if "parts" in (data := tomllib.loads(block)) or "part" in data
    ]
    assert kits
    assert [problems("kit", data) for data in kits] == [[]] * len(kits)


def test_a_calibration_and_a_test_piece_are_as_their_schemas_say(tmp_path):
    record = json.loads(invented_calibration_path().read_text(encoding="utf-8"))
    assert problems("calibration", record) == []
    write_testpiece("bore-ladder", tmp_path, sheets=False)
    piece = json.loads((tmp_path / "testpiece.json").read_text(encoding="utf-8"))
    assert problems("testpiece", piece) == []


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("plan", {"schema": 2}),
        ("plan", {"schema": 1, "intent": [{"pick": 7, "keep": True}]}),
        ("plan", {"schema": 1, "intent": [{"pick": "bore-01", "size": -8.0}]}),
        ("plan", {"schema": 1, "intents": []}),
        ("calibration", {"schema": 1}),
    ],
)
def test_what_meshcomp_refuses_the_schema_refuses(name, wrong):
    assert problems(name, wrong) != []


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    return {page: workplace(tmp_path_factory.mktemp(page.stem)) for page in HOW_TO}


@pytest.mark.parametrize(
    ("page", "command"), COMMANDS, ids=lambda x: getattr(x, "line", "")
)
def test_a_command_prints_what_the_how_to_shows(page, command, folders):
    printed, status = command.run(folders[page])
    assert status == command.status
    assert is_as_shown(command.shown, printed), printed
