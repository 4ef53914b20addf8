"""The documents are true: commands, links, examples."""

import doctest
import re
import subprocess
import sys
import xml.etree.ElementTree as ET

import pytest
from console_blocks import ROOT, commands, is_as_shown, output_of, workplace

import meshcomp

PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")])
EXAMPLES = [
    (page, number, block)
    for page in PAGES
    if page.name != "README.md"  # tests/test_readme.py
    for number, block in enumerate(
        re.findall(r"(?ms)^```python\n(.*?)^```$", page.read_text(encoding="utf-8"))
    )
]
TUTORIAL = (ROOT / "docs" / "tutorial.md").read_text(encoding="utf-8")
NAMES = ["testpiece", "calibrate", "inspect", "predict", "fit", "compensate", "kit", "demo"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return workplace(tmp_path_factory.mktemp("docs"))


def test_generated_pages_are_what_the_code_says():
    done = subprocess.run(
        [sys.executable, ROOT / "docs" / "generate.py", "--check"],
        capture_output=True,
        encoding="utf-8",
        check=False,
    )

    assert (done.returncode, done.stdout) == (0, ""), done.stderr


def test_every_command_is_in_the_commands_page(tmp_path):
    shown = output_of("meshcomp --help", tmp_path)[0]
    names = re.findall(r"^  ([a-z]+) {2,}[A-Z]", shown, re.MULTILINE)
    page = (ROOT / "docs" / "cli.md").read_text(encoding="utf-8")

    assert names == NAMES
    assert re.findall(r"^## meshcomp (\w+)$", page, re.MULTILINE) == names


@pytest.mark.parametrize("name", NAMES)
def test_every_option_of_a_command_is_in_its_section(name, tmp_path):
    shown, status = output_of(f"meshcomp {name} --help", tmp_path)
    options = re.findall(r"^  (?:(-\w), )?(--[a-z-]+)", shown, re.MULTILINE)
    page = (ROOT / "docs" / "cli.md").read_text(encoding="utf-8")
    section = page.partition(f"## meshcomp {name}\n")[2].partition("\n## ")[0]
    documented = set(re.findall(r"`(--?[a-z-]+)", section))

    assert status == 0
    assert documented == {word for pair in options for word in pair if word}


def test_every_public_name_is_in_the_library_page():
    page = (ROOT / "docs" / "api.md").read_text(encoding="utf-8")
    names = re.findall(r"^### (\w+)$", page.partition("\n## What")[0], re.MULTILINE)

    assert names == sorted(meshcomp.__all__)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    links = re.findall(r"\]\(([^)#\s]+)", page.read_text(encoding="utf-8"))
    own = [link for link in links if not link.startswith(("http://", "https://"))]

    assert [link for link in own if not (page.parent / link).exists()] == []


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda e: f"{e[0].name}-{e[1]}")
def test_python_examples_run(example, folder, monkeypatch):
    page, number, block = example
    monkeypatch.chdir(folder)

    test = doctest.DocTestParser().get_doctest(block, {}, f"{page.name}-{number}", None, 0)
    result = doctest.DocTestRunner().run(test)

    assert result.failed == 0
    assert result.attempted > 0


def test_the_commands_print_what_the_tutorial_shows(folder):
    """In one test, since later commands go on with what earlier ones made."""
    wrong = []
    for command in commands(TUTORIAL):
        printed, status = command.run(folder)
        if status != command.status or not is_as_shown(command.shown, printed):
            wrong.append(f"$ {command.line}\nstatus {status}\n{printed}")

    assert not wrong, "\n\n".join(wrong)


def test_the_picture_is_a_drawing_with_its_sizes_in_words():
    drawing = ET.parse(ROOT / "docs" / "images" / "bearing_plate.svg").getroot()  # noqa: S314
    words = " ".join(drawing.itertext())

    assert drawing.tag == "{http://www.w3.org/2000/svg}svg"
    assert "22.000" in words
    assert "22.118" in words


def test_every_module_is_in_the_developers_map():
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    mapped = set(re.findall(r"`(\w+)/?`", page.partition("| module |")[2].split("\n\n")[0]))
    modules = {
        path.stem
        for path in (ROOT / "meshcomp").iterdir()
        if (path.suffix == ".py" or (path / "__init__.py").exists())
        and path.name != "__init__.py"
    }

    assert modules - mapped == set()


def test_every_session_is_in_the_developers_page():
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    noxfile = (ROOT / "noxfile.py").read_text(encoding="utf-8")
    sessions = re.findall(r"^@nox\.session(?:\(.*\))?\ndef (\w+)", noxfile, re.MULTILINE)

    assert re.findall(r"^\| `nox -s (\w+)`", page, re.MULTILINE) == sessions
