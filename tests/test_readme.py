"""What the README shows is what happens."""

import doctest
import re

import pytest
from console_blocks import ROOT, commands, is_as_shown, output_of, workplace

import meshcomp

README = (ROOT / "README.md").read_text(encoding="utf-8")
SET_UP = [line for line in README.splitlines() if line.startswith("python3 -m venv .venv ")]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return workplace(tmp_path_factory.mktemp("readme"))


@pytest.mark.parametrize("command", commands(README), ids=lambda command: command.line)
def test_a_command_prints_what_the_readme_shows(command, folder):
    printed, status = output_of(command.line, folder)

    assert status == 0
    assert is_as_shown(command.shown, printed), printed


def test_five_commands_are_shown():
    assert len(commands(README)) == 5


def test_another_output_than_the_one_shown_is_noticed():
    shown = "bore-01 8.149\nwritten (content 3b86522c11ea)"

    assert is_as_shown(shown, "bore-01 8.149\nwritten (content 000000000000)")
    assert not is_as_shown(shown, "bore-01 8.148\nwritten (content 3b86522c11ea)")
    assert is_as_shown("...\nend", "first\nsecond\nend")
    assert not is_as_shown("...\nend", "first\nsecond")


def test_the_library_example_runs(folder, monkeypatch):
    monkeypatch.chdir(folder)

    block = re.search(r"^```python\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)
    example = doctest.DocTestParser().get_doctest(block[1], {}, "README", "README.md", 0)
    result = doctest.DocTestRunner().run(example)

    assert result.failed == 0
    assert result.attempted == len(example.examples) == 9


def test_set_up_is_two_commands_and_ci_finds_both():
    assert len(SET_UP) == 2
    assert SET_UP[0].endswith("meshcomp demo")
    assert SET_UP[1].endswith("pytest -q -n 2")


def test_set_up_installs_into_a_virtual_environment_only():
    # PEP 668: a system Python may forbid pip outside a virtual environment.
    programs = [step.split()[0] for line in SET_UP for step in line.split(" && ")]

    assert {program.partition("/")[0] for program in programs} == {"python3", ".venv"}


def test_the_signs_of_the_table_are_those_of_the_program():
    found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    rule = meshcomp.ByHand(wall_growth=0.05, pocket_opening=0.04, bore_opening=0.2)
    planned = {c.kind: c for c in meshcomp.plan(found, rule).corrections}

    assert planned["wall"].offset == pytest.approx(0.05)
    assert planned["wall"].correction == pytest.approx(0.1)
    assert planned["slot"].offset == pytest.approx(-0.04)
    assert planned["bore"].correction == pytest.approx(0.2)
    assert planned["bore"].offset == pytest.approx(-0.1)
