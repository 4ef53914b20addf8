"""From intents to the sizes wanted in print, on the demo's bearing plate and others.

Expected limits are worked out from ISO 286-1, ISO 492, ISO 273 and ISO 4032 by hand.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from outside import plane
from outside.solids import write_stl

import meshcomp
from meshcomp.errors import OptionError
from meshcomp.feels import Feel
from meshcomp.inspections import Inspection
from meshcomp.intents import Aim, aims_of
from meshcomp.intents.planfile import read_plan

FEELS = (
    Feel(word="press", least=-0.04, most=0.06, pins=2),
    Feel(word="slide", least=0.06, most=0.16, pins=2),
)


@pytest.fixture(scope="module")
def plate() -> Inspection:
    return meshcomp.inspect(meshcomp.demo_part("bearing_plate"))


@pytest.fixture(scope="module")
def spacer() -> Inspection:
    return meshcomp.inspect(meshcomp.demo_part("shaft_spacer"))


@pytest.fixture
def aims(tmp_path: Path, plate: Inspection):
    def of(text: str, part: Inspection = plate) -> dict[str, Aim]:
        path = tmp_path / "plan.toml"
        path.write_text(f"schema = 1\n{text}", encoding="utf-8")
        return aims_of(read_plan(path), part, FEELS)

    return of


def _intent(pick: str, *lines: str) -> str:
    return "\n".join(["[[intent]]", f"pick = {pick}", *lines, ""])


@pytest.mark.parametrize(
    ("lines", "lower", "upper", "target"),
    [
        (['tolerance = "H7"'], 22.0, 22.021, 22.0105),
        (['tolerance = "22 H7"'], 22.0, 22.021, 22.0105),
        (['tolerance = "22.1 H7"'], 22.1, 22.121, 22.1105),
        (['tolerance = "+0.05/-0.01"'], 21.99, 22.05, 22.02),
        (['tolerance = "22 +0.05/-0.01"'], 21.99, 22.05, 22.02),
        (['tolerance = "H11"', "aim = 22.03"], 22.0, 22.13, 22.03),
        (["size = 22.07"], None, None, 22.07),
        # The ring of a 608: 22 0/-0.009, middle 21.9955.
        (['part = "bearing 608"', "clearance = [0.0, 0.1]"], 21.9955, 22.0955, 22.0455),
        (['part = "bearing 608"', "clearance = 0.05"], None, None, 22.0455),
        (
            ['part = "bearing 608"', "interference = [0.02, 0.08]"],
            21.9155,
            21.9755,
            21.9455,
        ),
        (['part = "bearing 608"', 'feel = "slide"'], 22.0555, 22.1555, 22.1055),
        (['part = "bearing 608"', 'tolerance = "N7"'], 21.972, 21.993, 21.9825),
        (['counterpart = "22 h6"', "clearance = [0, 0.1]"], 21.9935, 22.0935, 22.0435),
    ],
)
def test_what_a_bore_is_aimed_at(aims, lines, lower, upper, target):
    (aim,) = aims(_intent('"bore 22"', *lines)).values()

    limits = [x if x is None else pytest.approx(x) for x in (lower, upper)]
    assert [aim.lower, aim.upper] == limits
    assert aim.target == pytest.approx(target)
    assert (aim.probability is None) == (lower is None)


@pytest.mark.parametrize(
    ("lines", "lower", "upper"),
    [
        (['tolerance = "h9"'], 11.957, 12.0),
        # A boss is smaller than what it goes into: 6001 has a bore of 12 0/-0.008.
        (['part = "bearing 6001"', "clearance = [0.0, 0.1]"], 11.896, 11.996),
        (['part = "bearing 6001"', 'feel = "press"'], 11.936, 12.036),
        (['counterpart = "12 H7"', "clearance = [0.01, 0.05]"], 11.959, 11.999),
    ],
)
def test_what_a_boss_is_aimed_at(aims, spacer, lines, lower, upper):
    (aim,) = aims(_intent('"boss-01"', *lines), spacer).values()

    assert (aim.lower, aim.upper) == (pytest.approx(lower), pytest.approx(upper))
    assert aim.target == pytest.approx((lower + upper) / 2)


@pytest.mark.parametrize(
    ("pick", "lines", "lower", "upper"),
    [
        # A slot is internal, a wall external; 6 h9 is 0/-0.03, 70 H9 is +0.074/0.
        ('"slot-01"', ['counterpart = "6 h9"', "clearance = [0.1, 0.2]"], 6.085, 6.185),
        ('"slot-01"', ['tolerance = "H12"'], 6.0, 6.12),
        ('"wall-01"', ['counterpart = "70 H9"', "clearance = [0.1, 0.2]"], 69.837, 69.937),
        ('"wall-01"', ['tolerance = "h11"'], 69.81, 70.0),
    ],
)
def test_what_slots_and_walls_are_aimed_at(aims, pick, lines, lower, upper):
    (aim,) = aims(_intent(pick, *lines)).values()

    assert (aim.lower, aim.upper) == (pytest.approx(lower), pytest.approx(upper))


def test_a_pocket_for_a_nut(tmp_path: Path):
    """ISO 4032: an M4 is 6.78 to 7.00 mm across flats (the least from memory)."""
    outline = np.array([(-20, -10), (20, -10), (20, 10), (-20, 10)], dtype=float)
    pocket = np.array([(-8, -3.5), (-8, 3.5), (8, 3.5), (8, -3.5)], dtype=float)
    write_stl(plane.prism([outline, pocket], 0, 5), tmp_path / "part.stl")
    part = meshcomp.inspect(meshcomp.read(tmp_path / "part.stl", up="+Z"))
    path = tmp_path / "plan.toml"
    path.write_text(
        "schema = 1\n" + _intent('"slot 7"', 'part = "nut M4"', "clearance = [0.05, 0.3]"),
        encoding="utf-8",
    )

    (aim,) = aims_of(read_plan(path), part).values()

    assert (aim.lower, aim.upper) == (pytest.approx(6.94), pytest.approx(7.19))
    assert aim.shift == pytest.approx(0.11)


def test_standard_parts_that_ask_for_a_hole(aims):
    found = aims(
        _intent('"bore 4.3"', 'part = "screw M4 fine"')
        + _intent('"bore 5"', 'part = "self-tapping M6"')
    )

    # 4.3 H12 by ISO 273 and ISO 286: +0.12/0; 0.85 and 0.03 of 6 mm by practice.
    assert {(a.lower, a.upper) for a in found.values()} == {(4.3, 4.42), (4.92, 5.28)}
    assert len(found) == 6


def test_the_counterpart_shifts_the_limits_by_half_its_tolerance(aims):
    (play,) = aims(_intent('"bore 22"', 'part = "bearing 608"', 'feel = "press"')).values()
    (zone,) = aims(
        _intent('"bore 22"', 'part = "bearing 608"', 'tolerance = "H7"')
    ).values()

    assert play.shift == pytest.approx(0.0045)
    assert zone.shift == 0.0


def test_gaps_and_keeping_are_for_any_profile(aims):
    found = aims(
        _intent('"profile-01"', "gap = [0.03, 0.1]")
        + _intent('"profile-02"', "keep = true")
    )

    assert found["profile-01"].gap == (0.03, 0.1)
    assert found["profile-01"].probability == 0.95
    assert found["profile-02"].is_kept


def test_a_name_wins_over_a_size(aims):
    found = aims(_intent('"bore 5"', "size = 5.1") + _intent('"bore-07"', "size = 5.2"))

    assert {name: aim.target for name, aim in found.items()} == {
        "bore-03": 5.1,
        "bore-07": 5.2,
    }


@pytest.mark.parametrize(
    ("pick", "ids"),
    [
        ('"bore 5"', {"bore-03", "bore-07"}),
        ('["bore-01", "bore 16"]', {"bore-01", "bore-06"}),
        ('{ kind = "bore", size = 22 }', {"bore-04"}),
        ("{ size = 4.3 }", {"bore-01", "bore-02", "bore-08", "bore-09"}),
        ("{ near = [-22, 0] }", {"bore-04"}),
        ("{ near = [-22, 0, 5.9] }", {"bore-04"}),
        ('{ near = [22, 0], kind = "bore", size = 16 }', {"bore-06"}),
    ],
)
def test_picks(aims, pick: str, ids: set[str]):
    assert set(aims(_intent(pick, "keep = true"))) == ids


@pytest.fixture(scope="module")
def wheel() -> Inspection:
    return meshcomp.inspect(meshcomp.demo_part("indexing_wheel"))


@pytest.mark.parametrize(
    ("pick", "sizes"),
    [
        # As the wheel is drawn: five screws on a circle, a seat over a bore at its axis.
        ('"circle-01"', [3.2] * 5),
        ('{ group = "circle-01" }', [3.2] * 5),
        ('{ group = "hole-03" }', [12.0, 22.0]),
        ('{ group = "hole-03", size = 22 }', [22.0]),
    ],
)
def test_groups_and_patterns_are_picked(aims, wheel, pick: str, sizes: list[float]):
    found = aims(_intent(pick, "keep = true"), wheel)
    by_id = {f.id: f.nominal_size for f in wheel.features}

    assert sorted(by_id[name] for name in found) == pytest.approx(sizes, abs=1e-4)


def test_a_member_named_by_its_id_wins_over_its_pattern(aims, wheel):
    found = aims(
        _intent('"circle-01"', "size = 3.3") + _intent('"bore-06"', "size = 3.4"), wheel
    )

    assert sorted(aim.target for aim in found.values()) == [3.3] * 4 + [3.4]


def test_places_are_those_of_the_file(tmp_path: Path, plate: Inspection):
    """A part that lies on its side is picked by where the file has its bores."""
    meshcomp.write(plate.part, tmp_path / "plate.stl")
    lying = meshcomp.inspect(meshcomp.read(tmp_path / "plate.stl", up="+X"))
    path = tmp_path / "plan.toml"
    path.write_text(
        "schema = 1\n" + _intent('{ near = [-22, 0, 3], kind = "bore" }', "keep = true"),
        encoding="utf-8",
    )

    (name,) = aims_of(read_plan(path), lying)
    found = next(f for f in lying.features if f.id == name)

    assert found.nominal_size == pytest.approx(22.0, abs=1e-4)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            _intent('"bore-99"', "keep = true"),
            "line 2: no feature 'bore-99' in this part: it",
        ),
        (_intent('["bore-01", "boss 3"]', "keep = true"), "no feature 'boss 3'"),
        (_intent("{ near = [500, 0] }", "keep = true"), "picks no feature of this part"),
        (_intent('{ group = "ring-1" }', "keep = true"), "picks no feature of this part"),
        (
            _intent('"bore 22"', "size = 22") + _intent("{ size = 22 }", "keep = true"),
            r"line 5: bore-04 has an intent already \(.*line 2\)",
        ),
        (_intent('"bore 22"', 'tolerance = "h7"'), "22 h7 is of shafts, and it is a bore"),
        (
            _intent('"bore 22"', 'tolerance = "Q7"'),
            "line 2: bore-04: no tolerance class Q7",
        ),
        (_intent('"bore 22"', 'tolerance = "H7"', "aim = 23"), "aim = 23 lies outside"),
        (
            _intent('"bore 22"', 'part = "bearing 608"', 'feel = "slide"', "aim = 22"),
            "aim = 22 lies outside 22.05",
        ),
        (_intent('"bore 22"', "size = 25"), "would be made 25 mm: is this the feature"),
        (_intent('"bore 22"', "gap = 0.1"), "gap is for profiles, and it is a bore"),
        (_intent('"profile-01"', "size = 4"), "a profile has no size: give gap"),
        (_intent('"profile-01"', 'part = "screw M4"'), "a profile has no size"),
        (
            _intent('"bore 22"', 'part = "bearing 623"', 'feel = "press"'),
            "bearing 623 has 10 mm there, and it has 22 mm",
        ),
        (_intent('"wall-01"', 'part = "screw M6"'), "wants a bore, and it is a wall"),
        (
            _intent('"slot-01"', 'part = "bearing 608"', 'feel = "press"'),
            "bearing 608 does not go with a slot",
        ),
        (
            _intent('"bore 22"', 'part = "bearing 608"', 'feel = "free"'),
            r"does not know how free feels \(it knows: press, slide\)",
        ),
        (_intent('"bore 5"', 'part = "screw M6"'), "would be made 6.71 mm"),
    ],
)
def test_what_does_not_go_with_the_part_is_refused(aims, text: str, message: str):
    with pytest.raises(OptionError, match=message) as caught:
        aims(text)

    assert "plan.toml, line " in str(caught.value)


def test_a_hub_is_found_around_its_bore(aims, spacer: Inspection):
    (around,) = aims(_intent('"bore-01"', 'tolerance = "H7"'), spacer).values()
    (stated,) = aims(
        _intent('"bore-01"', 'tolerance = "H7"', "hub_diameter = 20"), spacer
    ).values()
    (none,) = aims(_intent('"bore 22"', 'tolerance = "H7"')).values()

    assert around.hub_diameter == pytest.approx(12.0, abs=1e-4)
    assert stated.hub_diameter == 20
    assert none.hub_diameter is None
