"""What a kit wants of its parts beside sizes: layers, seam, foot, axes, lying bores."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from kit_parts import HEAD, part_entry, write_kit
from typer.testing import CliRunner

from meshcomp.calibration.record import (
    invented_calibration_path,
    read_calibration,
    write_calibration,
)
from meshcomp.cli import app
from meshcomp.deviations import Flare, Skew
from meshcomp.kits.making import Workers, make_kit
from meshcomp.kits.reading import read_kit

HERE = Workers(count=1)
LAYERS = HEAD + "layer_height = 0.4\nfirst_layer = 0.3\n"
SPACER, KNOB = part_entry("spacer"), part_entry("knob", "knob.stl")
ALONE = ["--layer-height", "0.4", "--first-layer", "0.3"]


def made(folder, *entries, head=LAYERS):
    """Make a kit by the invented calibration with a flare and axes out of square."""
    if not (folder / "calibration.json").exists():
        record = read_calibration(invented_calibration_path())
        flare = Flare(growth=0.12, height=0.4, standard_uncertainty=0.01)
        skew = Skew(angle=0.002, standard_uncertainty=0.0002)
        model = replace(record.model, flare=flare, skew=skew)
        write_calibration(replace(record, model=model), folder / "calibration.json")
    return make_kit(read_kit(write_kit(folder, *entries, head=head)), workers=HERE)


def report(part):
    return json.loads(Path(f"{part.written}.report.json").read_text("utf-8"))


CASES = {
    "nothing": ("", []),
    "heights": ("snap_heights = true", ["--snap-heights"]),
    "one height": ("snap_heights = [9.0]", ["--snap-only", "9"]),
    "all grooves": ('seam_groove = ["all"]', ["--seam-groove", "all"]),
    "a groove of its own shape": (
        'seam_groove = ["bore-01@90"]\ngroove_width = 0.6\ngroove_depth = 0.25',
        ["--seam-groove", "bore-01@90", "--groove-width", "0.6", "--groove-depth", "0.25"],
    ),
    "the foot as it is": ("foot = false", ["--no-foot"]),
    "open bores": ("flare_bores = true", ["--flare-bores"]),
    "the axes as they are": ("axes = false", ["--no-axes"]),
    "a roof": ('roof = "flat"\noverhang = 40', ["--roof", "flat", "--overhang", "40"]),
}


def model_of(case):
    """Name a part on which a case changes the mesh: lying bores are in one alone."""
    return "stepper_bracket" if case == "a roof" else "knob"


@pytest.mark.parametrize("case", CASES)
def test_a_part_of_a_kit_is_what_the_options_make_of_it(tmp_path, case):
    keys, options = CASES[case]
    name = model_of(case)
    (part,) = made(tmp_path, f"{part_entry(name, f'{name}.stl')}\n{keys}").parts
    assert part.error is None
    out = tmp_path / "alone.stl"
    words = ["compensate", str(tmp_path / f"{name}.stl"), "-o", str(out)]
    words += ["-c", str(tmp_path / "calibration.json"), *ALONE, *options]
    alone = CliRunner().invoke(app, words)

    assert alone.exit_code in {0, 3}, alone.output
    assert (tmp_path / "compensated" / f"{name}.stl").read_bytes() == out.read_bytes()
    by_itself = json.loads((tmp_path / "alone.stl.report.json").read_text("utf-8"))
    assert report(part)["layers"] == by_itself["layers"]
    assert report(part)["seams"] == by_itself["seams"]


def test_the_cases_above_are_of_different_meshes(tmp_path):
    """Else they would prove nothing."""
    seen = {}
    for number, (case, (keys, _)) in enumerate(CASES.items()):
        place = tmp_path / str(number)
        place.mkdir()
        name = model_of(case)
        (part,) = made(place, f"{part_entry(name, f'{name}.stl')}\n{keys}").parts
        seen[case] = part.written_sha256
    assert len(set(seen.values())) == len(CASES), seen


def test_what_a_part_says_itself_wins_over_its_kit(tmp_path):
    head = LAYERS + 'snap_heights = true\nseam_groove = ["all"]\n'
    own = f"{KNOB}\nsnap_heights = false\nseam_groove = []\nlayer_height = 0.2"
    spacer, knob = made(tmp_path, SPACER, own, head=head).parts

    assert report(spacer)["seams"]["grooves"]
    assert report(spacer)["layers"]["layer_height"] == 0.4
    assert report(knob)["seams"] is None
    assert report(knob)["layers"]["moves"] is None
    assert report(knob)["layers"]["layer_height"] == 0.2
    assert report(knob)["layers"]["first_layer"] == 0.3


@pytest.mark.parametrize("case", [case for case in CASES if case != "nothing"])
def test_a_changed_wish_makes_its_part_anew_and_no_other(tmp_path, case):
    made(tmp_path, SPACER, KNOB)
    again = made(tmp_path, SPACER, f"{KNOB}\n{CASES[case][0]}")
    assert [part.was_there for part in again.parts] == [True, False]
    third = made(tmp_path, SPACER, f"{KNOB}\n{CASES[case][0]}")
    assert [part.was_there for part in third.parts] == [True, True]


def test_a_wish_that_a_part_cannot_have_fails_that_part_alone(tmp_path):
    outcome = made(tmp_path, SPACER, f"{KNOB}\nsnap_heights = [4.0]")

    (failed,) = outcome.failed
    assert failed.name == "knob"
    assert "no level face at 4 mm above the bed" in failed.error
