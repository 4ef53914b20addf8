"""Plan files: what is read, and every error with file and line."""

from __future__ import annotations

from pathlib import Path

import pytest

from meshcomp.errors import OptionError
from meshcomp.intents import Intents, Pick
from meshcomp.intents.planfile import read_plan

HEAD = "schema = 1\n"


def _plan(tmp_path: Path, text: str) -> Intents:
    path = tmp_path / "plan.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return read_plan(path)


def test_a_whole_plan_is_read(tmp_path: Path):
    plan = _plan(
        tmp_path,
        """
probability = 0.9
[material]
name = "PETG"
modulus = 2000
poisson = 0.4
allowable_stress = 15

[[intent]]
pick = "bore 22"
part = "bearing 608"
feel = "press"
hub_diameter = 30

[[intent]]
pick = { kind = "bore", size = 5, near = [10, 0], within = 2 }
counterpart = "5 h6"
name = "motor shaft"
interference = [0.02, 0.08]

[[intent]]
pick = ["profile-01", "profile-02"]
gap = [0.0, 0.1]
probability = 0.8
""",
    )

    seat, shaft, teeth = plan.intents
    assert plan.probability == 0.9
    assert (plan.material.name, plan.material.allowable_stress) == ("PETG", 15)
    assert (seat.part, seat.feel, seat.hub_diameter) == ("bearing 608", "press", 30)
    assert seat.place.endswith("plan.toml, line 10")
    assert seat.pick == Pick(names=("bore 22",))
    assert shaft.clearance == (-0.08, -0.02)
    assert shaft.counterpart.name == "motor shaft"
    assert shaft.counterpart.zone.lower_limit == 4.992  # 5 h6 by ISO 286
    assert shaft.pick == Pick(kind="bore", size=5.0, near=(10.0, 0.0), within=2.0)
    assert teeth.pick.names == ("profile-01", "profile-02")
    assert (teeth.gap, teeth.probability) == ((0.0, 0.1), 0.8)


def test_a_plan_without_intents_is_a_plan(tmp_path: Path):
    assert _plan(tmp_path, "").intents == ()


INTENT = '[[intent]]\npick = "bore-01"\n'


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("[[intent]]\nkeep = true\n", 2, "pick is missing"),
        (INTENT, 2, "what is wanted. give keep = true, tolerance, size, part"),
        (INTENT + "keep = false\n", 4, "keep: input should be True"),
        (INTENT + "keep = true\nsize = 4\n", 2, "keep and size together"),
        (INTENT + 'tolerance = "H7"\ngap = 0.1\n', 2, "tolerance and gap together"),
        (INTENT + "size = -4\n", 4, "size: input should be greater than 0"),
        (INTENT + "sizes = 4\n", 4, "sizes is no key that is known here"),
        (INTENT + 'part = "bearing 608"\n', 2, "how is it to go with bearing 608"),
        (INTENT + 'counterpart = "5 h6"\n', 2, "how is it to go with 5 h6"),
        (INTENT + 'feel = "press"\n', 2, "feel against what. give part"),
        (INTENT + "clearance = 0.1\n", 2, "clearance against what"),
        (INTENT + 'feel = "tight"\npart = "dowel 5"\n', 4, "feel: input should be 'press'"),
        (INTENT + 'part = "bearing 608"\nkeep = true\n', 2, "keep and part together"),
        (INTENT + 'part = "screw M6"\nclearance = 0.1\n', 2, "says its hole itself"),
        (
            INTENT + 'part = "dowel 5"\ncounterpart = "5 h6"\nfeel = "press"\n',
            2,
            "part and counterpart together",
        ),
        (
            INTENT + 'part = "bearing 1"\nfeel = "press"\n',
            4,
            "part: no bearing '1' is known",
        ),
        (
            INTENT + 'part = "gear 3"\nfeel = "press"\n',
            4,
            "part: 'gear 3' is no standard part",
        ),
        (
            INTENT + 'feel = "press"\ncounterpart = "5"\n',
            5,
            "counterpart: '5' is neither a size with",
        ),
        (
            INTENT + 'part = "dowel 5"\nclearance = [0.2, 0.1]\n',
            2,
            r"clearance = \[0.2, 0.1\]: give the least first",
        ),
        (INTENT + "gap = [0.2, 0.1, 0.3]\n", 4, "gap: list should have at most 2 items"),
        (
            INTENT + 'tolerance = "H7"\nprobability = 1.5\n',
            5,
            "probability: input should be less",
        ),
        ("[[intent]]\npick = {}\nkeep = true\n", 3, "say which features"),
        (
            "[[intent]]\npick = {kind = 'hole'}\nkeep = true\n",
            3,
            "kind: input should be 'bore'",
        ),
        ("[material]\nname = 'goo'\nmodulus = 0\npoisson = 0.3\n", 4, "material.modulus"),
        (INTENT + "size = 4\naim = 4.1\n", 2, "aim without limits says nothing"),
        (INTENT + "size = 4\nprobability = 0.9\n", 2, "probability without limits says"),
        (INTENT + "gap = [0, 0.1]\naim = 4.1\n", 2, "aim is a size, and gap has none"),
        (INTENT + 'size = 4\nname = "x"\n', 2, "name is that of a counterpart"),
        ("probability = 0\n", 2, "probability: input should be greater than 0"),
        (INTENT + "size = \n", 4, "no TOML"),
    ],
)
def test_errors_name_file_and_line(tmp_path: Path, text: str, line: int, message: str):
    with pytest.raises(OptionError, match=message) as caught:
        _plan(tmp_path, text)

    assert str(caught.value).startswith(f"{tmp_path / 'plan.toml'}, line {line}: ")


def test_the_second_intent_has_its_own_line(tmp_path: Path):
    with pytest.raises(OptionError, match="line 6: intent"):
        _plan(tmp_path, INTENT + "size = 4\n\n" + INTENT + "size = 4\nkeep = true\n")


def test_another_schema_is_refused(tmp_path: Path):
    path = tmp_path / "plan.toml"
    path.write_text("schema = 2\n", encoding="utf-8")
    with pytest.raises(OptionError, match="line 1: schema"):
        read_plan(path)
    path.write_text("intent = []\n", encoding="utf-8")
    with pytest.raises(OptionError, match="schema is missing"):
        read_plan(path)
