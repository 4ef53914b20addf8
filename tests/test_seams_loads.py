"""Seats for the seam and loads: away from the side that a counterpart presses on.

Which side is free follows from the balance of forces alone: what is pushed along a bearing
lies in a bore on that side and round a boss on the other, and there it presses.
"""

from __future__ import annotations

import numpy as np
import pytest
from test_seams import DEPTH, WIDTH, circle, cut_away, disc, groove_of, made, part_of, prism
from typer.testing import CliRunner

import meshcomp
from meshcomp.cli import app
from meshcomp.errors import OptionError
from meshcomp.grooving import choosing
from meshcomp.intents.planfile import read_plan
from meshcomp.seams import SeamWish

HAND = meshcomp.ByHand()


def wish(*features, loads, width=WIDTH):
    return SeamWish(
        features=features, everywhere=not features, width=width, depth=DEPTH, loads=loads
    )


def apart(a, b):
    return abs((a - b + 180.0) % 360.0 - 180.0)


@pytest.mark.parametrize("towards", [0.0, 90.0, 200.0, 270.0])
def test_a_groove_is_opposite_to_where_its_counterpart_presses(towards, tmp_path):
    record = made(disc(), tmp_path, wish(loads=(("all", towards),)), HAND)
    ring, shaft = groove_of(record, "boss-01"), groove_of(record, "bore-01")
    # The shaft in the bore presses at `towards`, the ring round the boss at the other side.
    assert apart(shaft.bearing, towards) > 95.0
    assert apart(ring.bearing, towards + 180.0) > 95.0
    assert "the load" in shaft.reason
    assert "the load" in ring.reason
    assert record.conforms


def test_one_feature_can_be_loaded_otherwise_than_the_others(tmp_path):
    loads = (("all", 270.0), ("bore-01", 0.0))
    record = made(disc(), tmp_path, wish(loads=loads), HAND)
    assert apart(groove_of(record, "bore-01").bearing, 0.0) > 95.0
    assert apart(groove_of(record, "boss-01").bearing, 90.0) > 95.0


def test_of_two_edges_of_a_keyway_the_free_one_is_taken(tmp_path):
    key = np.array([(3.0, -1.0), (6.0, -1.0), (6.0, 1.0), (3.0, 1.0)])
    blank = prism(circle(11.0, 96), [circle(4.0, 192)], 0.0, 5.0)
    mesh = cut_away([blank], [prism(key, [], -1.0, 9.0)])
    bearings = {}
    for towards in (110.0, 250.0):
        loads = (("bore-01", towards),)
        record = made(mesh, tmp_path, wish(("bore-01", None), loads=loads), HAND)
        groove = groove_of(record, "bore-01")
        assert groove.reason == "beside a keyway, on the side that the load leaves free"
        assert apart(groove.bearing, towards) > 95.0
        bearings[towards] = groove.bearing
    assert apart(bearings[110.0], 360.0 - bearings[250.0]) < 0.1  # the other edge


def test_a_keyway_on_the_loaded_side_is_no_reason(tmp_path):
    key = np.array([(3.0, -1.0), (6.0, -1.0), (6.0, 1.0), (3.0, 1.0)])
    blank = prism(circle(11.0, 96), [circle(4.0, 192)], 0.0, 5.0)
    mesh = cut_away([blank], [prism(key, [], -1.0, 9.0)])
    loads = (("bore-01", 0.0),)
    record = made(mesh, tmp_path, wish(("bore-01", None), loads=loads), HAND)
    groove = groove_of(record, "bore-01")
    assert groove.bearing == pytest.approx(180.0)
    assert groove.reason == (
        "as far from the load as it can be, on the side that the load leaves free"
    )


def test_troughs_of_lobes_are_taken_on_the_free_side_only(tmp_path):
    turns = 2 * np.pi * np.arange(720) / 720
    radii = 12.0 + 0.8 * np.cos(5 * turns)  # troughs at 36, 108 ... degrees
    lobes = radii[:, None] * np.column_stack([np.cos(turns), np.sin(turns)])
    mesh = prism(lobes, [circle(3.0, 96)], 0.0, 5.0)
    loads = (("profile-01", 288.0),)
    record = made(mesh, tmp_path, wish(("profile-01", None), loads=loads), HAND)
    groove = groove_of(record, "profile-01")
    # Pushed towards 288, its ring presses at 108: that trough, the nearest to the back of
    # those beside it, is out.
    assert (groove.bearing - 36.0) % 72.0 == pytest.approx(0.0, abs=1e-6)
    assert apart(groove.bearing, 108.0) > 95.0
    assert groove.reason.startswith("in a trough of its outline, on the side")


def test_where_only_the_loaded_side_has_room_there_is_none_and_it_says_so(
    tmp_path, monkeypatch
):
    # A shaft with a flat towards +X, and a free side no wider than the flat.
    monkeypatch.setattr(choosing, "_FREE", 20.0)
    d_shape = np.array([p for p in circle(9.0, 192) if p[0] < 6.3])
    mesh, loads = prism(d_shape, [], 0.0, 8.0), (("boss-01", 0.0),)
    with pytest.raises(OptionError, match=r"boss-01 .* the side that the load leaves free"):
        made(mesh, tmp_path, wish(("boss-01", None), loads=loads), HAND)
    record = made(mesh, tmp_path, wish(("boss-01", 180.0), loads=loads), HAND)
    assert groove_of(record, "boss-01").reason == "asked for, where it is loaded"


def test_a_load_of_a_feature_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(OptionError, match="load of 'bore-07': no such feature"):
        made(disc(), tmp_path, wish(loads=(("bore-07", 0.0),)), HAND)


def plan_of(tmp_path, text):
    path = tmp_path / "plan.toml"
    path.write_text("schema = 1\n" + text, encoding="utf-8")
    return path


RECORD = "models/calibration.json"


def calibrated(plan):
    record = meshcomp.read_calibration(RECORD)
    return meshcomp.Calibrated(model=record.model, intents=read_plan(plan))


def test_a_plan_file_says_loads(tmp_path):
    plan = plan_of(
        tmp_path,
        '[[load]]\ntowards = 270\n[[load]]\npick = "bore 7"\ntowards = 0\n',
    )
    record = made(disc(), tmp_path, wish(loads=()), calibrated(plan))
    assert apart(groove_of(record, "bore-01").bearing, 0.0) > 95.0
    assert apart(groove_of(record, "boss-01").bearing, 90.0) > 95.0
    # What is said beside the plan goes before it.
    other = made(disc(), tmp_path, wish(loads=(("bore-01", 180.0),)), calibrated(plan))
    assert apart(groove_of(other, "bore-01").bearing, 180.0) > 95.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[[load]]\ntowards = 400\n", r"line 3: load.towards: .* found 400"),
        ('[[load]]\npick = "bore-01"\n', r"line 2: load.towards is missing"),
        ('[[load]]\npick = "bore-09"\ntowards = 1\n', r"line 2: no feature 'bore-09'"),
        (
            "".join(
                f'[[load]]\npick = "{name}"\ntowards = 1\n' for name in ("bore-01", "b*")
            ),
            r"line 5: bore-01 has a load already \(.*line 2\)",
        ),
    ],
)
def test_a_load_that_cannot_be_meant_is_refused_with_its_line(text, message, tmp_path):
    plan = plan_of(tmp_path, text)
    with pytest.raises(OptionError, match=message):
        made(disc(), tmp_path, wish(loads=()), calibrated(plan))


def test_the_command_takes_loads(tmp_path):
    part, out = tmp_path / "part.stl", tmp_path / "out.stl"
    meshcomp.write(part_of(disc()), part)
    base = ["compensate", str(part), "-o", str(out), "--seam-groove", "all"]
    done = CliRunner().invoke(app, [*base, "--load", "270", "--load", "bore-01@0"])
    assert done.exit_code == 0, done.output
    assert "the load" in done.output
    wrong = CliRunner().invoke(app, [*base, "--load", "down"])
    assert wrong.exit_code == 1
    assert "load 'down': give DEGREES, or ID@DEGREES" in str(wrong.exception)
    alone = CliRunner().invoke(app, [*base[:-2], "--load", "90"])
    assert "--load says where no groove" in str(alone.exception)
