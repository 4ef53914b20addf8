"""Kit files: what they mean, and every problem with its line."""

import re
from pathlib import Path

import pytest
from console_blocks import ROOT
from kit_parts import HEAD, MODELS, mate_entry, part_entry, write_kit

from meshcomp.errors import OptionError
from meshcomp.kits.entries import KitFile, MateEntry, PartEntry
from meshcomp.kits.reading import folder_kit, read_kit
from meshcomp.mechanisms import Bought, Reference

SPACER = part_entry("spacer")
MATE = mate_entry(bore="spacer/bore-01", bought="8 h9", clearance=[0.05, 0.15])


def test_a_kit_file_is_read_with_what_it_says(tmp_path):
    wheel = part_entry("wheel", "indexing_wheel.stl", quantity=2, up='"-Z"')
    extra = 'keep = ["boss-01"]\nset = { bore-08 = 12.1 }\ntarget = { bore-01 = 3.3 }'
    path = write_kit(tmp_path, SPACER, f"{wheel}\n{extra}", MATE)

    kit = read_kit(path)

    assert (kit.name, kit.out) == ("shaft", tmp_path / "compensated")
    assert [part.name for part in kit.parts] == ["spacer", "wheel"]
    wheel = kit.part("wheel")
    assert (wheel.path, wheel.quantity) == (tmp_path / "indexing_wheel.stl", 2)
    assert (wheel.up, wheel.keep) == ("-Z", ("boss-01",))
    assert wheel.sizes == (("bore-08", 12.1),)
    assert wheel.targets == (("bore-01", 3.3),)
    (mate,) = kit.mates
    assert mate.internal == Reference(part="spacer", features="bore-01")
    assert (mate.least, mate.most, mate.probability) == (0.05, 0.15, 0.95)


def test_a_fit_gives_the_clearances_of_its_classes(tmp_path):
    # ISO 286-1: 8 H11 is +0.090/0, 8 c11 is -0.080/-0.170 (handbook tables).
    mate = mate_entry(bore="spacer/bore-01", boss="other/boss-01", fit="8 H11/c11")
    kit = read_kit(write_kit(tmp_path, SPACER, part_entry("other"), mate))

    assert kit.mates[0].least == pytest.approx(0.08)
    assert kit.mates[0].most == pytest.approx(0.26)
    assert kit.mates[0].aims == pytest.approx((8.045, 7.875))


@pytest.mark.parametrize(
    ("side", "feature", "limits"),
    [
        ("bore", "bore-01", (21.991, 22.0)),  # outside of 608, 22 0/-0.009 (ISO 492)
        ("boss", "boss-01", (7.992, 8.0)),  # its bore, 8 0/-0.008
    ],
)
def test_a_bearing_meets_a_bore_by_its_outside_and_a_boss_by_its_bore(
    tmp_path, side, feature, limits
):
    mate = mate_entry(
        **{side: f"spacer/{feature}"}, bought="bearing 608", clearance=[-0.1, 0.1]
    )
    mate = read_kit(write_kit(tmp_path, SPACER, mate)).mates[0]
    bought = mate.external if side == "bore" else mate.internal

    assert isinstance(bought, Bought)
    assert (bought.lower, bought.upper) == pytest.approx(limits)
    assert mate.gives_way == side


def test_the_options_of_the_command_take_the_place_of_the_file(tmp_path):
    path = write_kit(tmp_path, SPACER, head="")
    kit = read_kit(path, calibration="other.json", out="elsewhere")

    assert kit.parts[0].calibration == Path("other.json")
    assert kit.out == Path("elsewhere")


BAD = {
    "no calibration": ("", [SPACER], r"line 2: no calibration"),
    "no part": (HEAD, [], r"line 1: part is missing"),
    "same names": (HEAD, [SPACER, SPACER], r"line 8: a second part is named 'spacer'"),
    "unsafe name": (HEAD, [part_entry("../x")], r"line 5: part '../x' would name no file"),
    "unknown key": (HEAD, [SPACER + "\ncount = 2"], r"line 7: part.count is no key"),
    "layers": (HEAD, [SPACER + "\nlayer_height = 0"], r"line 7: part.layer_height: .* 0"),
    "heights": (
        HEAD,
        [SPACER + "\nsnap_heights = [-1]"],
        r"line 7: part.snap_heights: .* found -1",
    ),
    "heights of a kit": (
        HEAD + "snap_heights = [9]\n",
        [SPACER],
        r"line 3: snap_heights: the height 9 is a part's own",
    ),
    "groove": (
        HEAD,
        [SPACER + '\nseam_groove = ["boss-01@north"]'],
        r"line 7: part.seam_groove: seam groove 'boss-01@north': give ID, ID@DEGREES",
    ),
    "groove of a kit": (
        HEAD + 'seam_groove = ["all", "boss-01"]\n',
        [SPACER],
        r"line 3: seam_groove: boss-01 is a part's own: say it in its \[\[part\]\]",
    ),
    "width alone": (
        HEAD,
        [SPACER + "\ngroove_width = 0.5"],
        r"line 7: groove_width without a groove: give seam_groove",
    ),
    "load alone": (HEAD, [SPACER + "\nload = [90]"], r"line 7: load without a groove"),
    "deep groove": (
        HEAD + 'seam_groove = ["all"]\ngroove_depth = 0.8\n',
        [SPACER + "\ngroove_width = 0.5"],
        r"line 4: groove_depth: 0.8 mm is more than the width, 0.5 mm",
    ),
    "load": (
        HEAD,
        [SPACER + '\nseam_groove = ["all"]\nload = ["down"]'],
        r"line 8: part.load: load 'down': give DEGREES, or ID@DEGREES",
    ),
    "foot": (HEAD, [SPACER + '\nfoot = "no way"'], r"line 7: part.foot: .* 'no way'"),
    "roof": (HEAD, [SPACER + '\nroof = "round"'], r"line 7: part.roof: .* 'round'"),
    "overhang": (
        HEAD,
        [SPACER + "\nroof = 'flat'\noverhang = 5"],
        r"line 8: part.overhang: .* found 5",
    ),
    "quantity": (HEAD, [SPACER + "\nquantity = 0"], r"line 7: part.quantity: .* found 0"),
}
BAD_MATES = {
    "one side": (
        {"bore": "spacer/bore-01", "clearance": [0, 1]},
        r"line 7: mate: a mate has two sides",
    ),
    "three sides": (
        {"bore": "spacer/a", "boss": "spacer/b", "bought": "8 h9", "fit": "8 H7/g6"},
        r"line 7: mate: a mate has two sides",
    ),
    "nothing asked": (
        {"bore": "spacer/bore-01", "bought": "8 h9"},
        r"line 7: mate: what is asked",
    ),
    "asked twice": (
        {"bore": "spacer/bore-01", "bought": "8 h9", "fit": "8 H7/h9", "least": 0.1},
        r"line 7: mate: give fit or a clearance, not both",
    ),
    "fit and feel": (
        {"bore": "spacer/b", "bought": "8 h9", "fit": "8 H7/h9", "feel": "free"},
        r"line 7: mate: give fit or feel, not both",
    ),
    "limits twice": (
        {"bore": "spacer/bore-01", "bought": "8 h9", "clearance": [0, 1], "least": 0.1},
        r"line 7: mate: give clearance, or least and most, not both",
    ),
    "wrong order": (
        {"bore": "spacer/bore-01", "bought": "8 h9", "clearance": [1, 0]},
        r"line 7: mate: the least, 1, is not below 0 mm",
    ),
    "no feature": (
        {"bore": "spacer", "bought": "8 h9", "clearance": [0, 1]},
        r"line 8: 'spacer' is no feature: give PART/FEATURE",
    ),
    "no such part": (
        {"bore": "wheel/bore-01", "bought": "8 h9", "clearance": [0, 1]},
        r"line 8: no part is named 'wheel': there are spacer",
    ),
    "no such fit": (
        {"bore": "spacer/bore-01", "bought": "8 h9", "fit": "8 H7"},
        r"line 10: '8 H7' is no fit",
    ),
    "no such bought part": (
        {"bore": "spacer/bore-01", "bought": "thing 9", "clearance": [0, 1]},
        r"line 9: 'thing 9' is no standard part",
    ),
    "a screw for a boss": (
        {"boss": "spacer/boss-01", "bought": "screw M6", "clearance": [0, 1]},
        r"line 9: screw M6 .* has no size of its own for a boss",
    ),
    "flank without gap": ({"flank": "spacer/profile-01"}, r"what gap per flank is asked"),
    "flank and bore": (
        {"flank": "spacer/p", "bore": "spacer/b", "gap": [0, 1]},
        r"line 7: mate: flank and bore together",
    ),
    "gap without flank": (
        {"bore": "spacer/b", "bought": "8 h9", "gap": [0, 1]},
        r"line 7: mate: gap is for outlines",
    ),
    "two counterparts": (
        {"flank": "spacer/p", "against": "spacer/p", "bought": "dowel 6", "gap": [0, 1]},
        r"line 7: mate: against and bought together",
    ),
    "probability": (
        {"bore": "spacer/b", "bought": "8 h9", "clearance": [0, 1], "probability": 95},
        r"line 11: mate.probability: .* found 95",
    ),
    "aim": (
        {"bore": "spacer/b", "bought": "8 h9", "clearance": [0, 1], "aim": "both"},
        r"line 11: mate.aim: .* found 'both'",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_a_kit_that_cannot_be_meant_is_refused_with_its_line(tmp_path, case):
    head, entries, message = BAD[case]
    with pytest.raises(OptionError, match=message):
        read_kit(write_kit(tmp_path, *entries, head=head))


@pytest.mark.parametrize("case", BAD_MATES)
def test_a_mate_that_cannot_be_meant_is_refused_with_its_line(tmp_path, case):
    settings, message = BAD_MATES[case]
    with pytest.raises(OptionError, match=message):
        read_kit(write_kit(tmp_path, SPACER, mate_entry(**settings)))


def test_a_folder_is_a_kit_of_its_meshes(tmp_path):
    names = ["b.stl", "a.3mf", "a.stl", "c.obj", "note.txt", ".d.stl", "b.compensated.stl"]
    for name in names:
        (tmp_path / name).touch()
    (tmp_path / "e.stl").mkdir()

    kit = folder_kit(tmp_path, "calibration.json")

    assert [part.name for part in kit.parts] == ["a-3mf", "a-stl", "b", "c"]
    assert [part.path.name for part in kit.parts] == ["a.3mf", "a.stl", "b.stl", "c.obj"]
    assert kit.out == tmp_path / "compensated"


def test_a_folder_without_meshes_is_refused(tmp_path):
    with pytest.raises(OptionError, match="holds no mesh"):
        folder_kit(tmp_path, MODELS / "calibration.json")


def test_the_example_of_the_page_about_kits_is_a_kit_file(tmp_path):
    page = (ROOT / "docs" / "kits.md").read_text(encoding="utf-8")
    path = tmp_path / "kit.toml"
    path.write_text(re.search(r"(?ms)^```toml\n(.*?)^```$", page)[1], encoding="utf-8")

    kit = read_kit(path)

    assert [part.name for part in kit.parts] == ["wheel", "spacer", "disc"]
    assert [mate.is_gap for mate in kit.mates] == [False, False, False, False, True]
    assert kit.parts[0].plan == tmp_path / "wheel.plan.toml"


def test_every_key_of_a_kit_file_is_in_the_page_about_kits():
    page = (ROOT / "docs" / "kits.md").read_text(encoding="utf-8")
    keys = {key for model in (KitFile, PartEntry, MateEntry) for key in model.model_fields}

    missing = {key for key in keys if f"{key} =" not in page and f"`{key}`" not in page}
    assert missing <= {"part", "mate"}  # tables: [[part]], [[mate]]
