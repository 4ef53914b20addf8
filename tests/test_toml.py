"""TOML files: every problem has its line."""

import pytest
from pydantic import BaseModel, ConfigDict

from meshcomp._toml import read_toml
from meshcomp.errors import OptionError

TEXT = '''# a kit
name = "kit"  # line 2
note = """
[[part]]
"""

[[part]]
file = "a.stl"
sizes = [
  [1],
]

[[part]]
file = "b.stl"
[part.plan]
"bore-01" = { class = "H7" }
plan.deep.key = 1

[settings]
workers = 2
'''


class Part(BaseModel):
    """A part."""

    model_config = ConfigDict(extra="forbid")
    file: str
    sizes: list[list[float]] = []
    plan: dict = {}


class Kit(BaseModel):
    """A kit."""

    model_config = ConfigDict(extra="forbid")
    name: str
    note: str = ""
    part: list[Part]
    settings: dict[str, int]


@pytest.fixture
def write(tmp_path):
    def written(text):
        path = tmp_path / "kit.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return written


@pytest.mark.parametrize(
    ("place", "line"),
    [
        (("name",), 2),
        (("note",), 3),
        (("part",), 7),
        (("part", 0), 7),
        (("part", 0, "sizes"), 9),
        (("part", 0, "sizes", 0, 0), 9),
        (("part", 0, "plan"), 7),  # missing: its table
        (("part", 1, "file"), 14),
        (("part", 1, "plan"), 15),
        (("part", 1, "plan", "bore-01", "class"), 16),
        (("part", 1, "plan", "plan", "deep", "key"), 17),
        (("settings", "workers"), 20),
        (("nothing",), 1),
    ],
)
def test_every_value_has_its_line(write, place, line):
    assert read_toml(write(TEXT)).line_of(place) == line


def test_a_sound_file_is_its_model(write):
    kit = read_toml(write(TEXT)).validated(Kit)

    assert [part.file for part in kit.part] == ["a.stl", "b.stl"]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('file = "b.stl"', "", r"kit.toml, line 13: part.file is missing$"),
        ('file = "b.stl"', "file = 3", r"line 14: part.file: .*valid string, found 3$"),
        ('name = "kit"', "title = 1", r"line 1: name is missing \(and 1 more\)$"),
        ("workers = 2", "workers = 'x'", r"line 20: settings.workers: .*valid integer"),
        ("sizes = [", "size = [", r"line 9: part.size is no key that is known here$"),
    ],
)
def test_what_is_no_such_model_is_told_with_its_line(write, old, new, message):
    with pytest.raises(OptionError, match=message):
        read_toml(write(TEXT.replace(old, new))).validated(Kit)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a = 1\nb = \n", r"kit.toml, line 2: no TOML: invalid value"),
        ("a = 1\na = 2\n", r"line 2: no TOML: cannot overwrite a value"),
        ("a = [\n", r"kit.toml, .*: no TOML: "),
    ],
)
def test_what_is_no_toml_is_told_with_its_line(write, text, message):
    with pytest.raises(OptionError, match=message):
        read_toml(write(text))


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(OptionError, match="cannot be read"):
        read_toml(tmp_path / "none.toml")


def test_a_file_in_another_encoding_is_told(tmp_path):
    (tmp_path / "kit.toml").write_bytes(b"name = '\xe4'")
    with pytest.raises(OptionError, match="is not UTF-8 text"):
        read_toml(tmp_path / "kit.toml")
