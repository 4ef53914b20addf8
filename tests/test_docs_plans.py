"""The pages on plans: their files are read, their commands print what they show."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from console_blocks import ROOT, commands, is_as_shown, output_of, workplace

import meshcomp
from meshcomp.intents import aims_of
from meshcomp.intents.entries import (
    HeightTable,
    IntentTable,
    LoadTable,
    PickTable,
)
from meshcomp.intents.planfile import read_plan
from meshcomp.scenario import demo_part

SEAT = (ROOT / "docs" / "bearing_seat.md").read_text(encoding="utf-8")
PLANS = (ROOT / "docs" / "plans.md").read_text(encoding="utf-8")
_TOML = re.compile(r"(?<=^```toml\n).*?(?=^```$)", re.DOTALL | re.MULTILINE)


def _plan_of(page: str, folder: Path) -> Path:
    (text,) = _TOML.findall(page)
    path = folder / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = workplace(tmp_path_factory.mktemp("seat"))
    _plan_of(SEAT, place)
    return place


@pytest.mark.parametrize("command", commands(SEAT), ids=lambda command: command.line[:40])
def test_a_command_prints_what_the_page_shows(command, folder: Path):
    printed, status = output_of(command.line, folder)

    assert status == (3 if "falls short" in command.shown else 0)
    assert is_as_shown(command.shown, printed), printed


def test_the_page_on_plans_shows_a_plan_for_the_demo(tmp_path: Path):
    plan = read_plan(_plan_of(PLANS, tmp_path))
    part = meshcomp.inspect(demo_part("bearing_plate"))
    record = meshcomp.read_calibration(ROOT / "models" / "calibration.json")

    aims = aims_of(plan, part, record.feels)

    assert len(plan.intents) == 7
    assert {"bore-01", "bore-04", "profile-01", "slot-01", "wall-01"} < set(aims)


def test_the_page_on_plans_has_every_key():
    """Every key of the file's models stands in the page, and no other."""
    tables = (IntentTable, HeightTable, LoadTable)
    keys = {key for table in tables for key in table.model_fields}
    picks = set(PickTable.model_fields) - {"names"}
    shown = set(re.findall(r"[`{ ,]([a-z_]+) = ", PLANS))

    assert keys | picks | {"schema"} <= shown | set(
        re.findall(r"^([a-z_]+) = ", PLANS, re.MULTILINE)
    )
