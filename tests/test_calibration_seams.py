"""The bump of the seam: from readings of posts to the depth of a groove.

What is compared with: the arithmetic mean and the standard deviation of a mean (GUM,
JCGM 100:2008, 4.2), by the standard library's statistics.
"""

from __future__ import annotations

import json
import statistics
from dataclasses import replace
from math import sqrt

import pytest
from typer.testing import CliRunner

from meshcomp.calibration.estimate import calibrate, estimate_calibration
from meshcomp.calibration.record import (
    invented_calibration_path,
    read_calibration,
    write_calibration,
)
from meshcomp.calibration.results import Conditions
from meshcomp.calibration.seams import seam_of
from meshcomp.cli import app
from meshcomp.deviations import SeamBump
from meshcomp.errors import OptionError
from meshcomp.measurements.readings import Reading
from meshcomp.reports.calibration import calibration_text
from meshcomp.testpieces.writing import write_testpiece
from meshcomp.treatments import Treatment
from meshcomp.wishes import layer_wish, seam_wish

CONDITIONS = Conditions(
    printer="bench", material="PETG", nozzle=0.4, layer_height=0.2, line_width=0.5
)


def posts(bumps, across=15.0, piece="first"):
    readings = []
    for k, bump in enumerate(bumps, start=1):
        size = 8.0 + k
        for letter, kind, value in (
            ("A", "seam along", across + bump),
            ("C", "seam across", across),
        ):
            readings.append(
                Reading(
                    piece=piece,
                    feature_id=f"P{k}{letter}",
                    kind=kind,
                    nominal_size=size,
                    mesh_size=size,
                    values=(size + value - across,),
                )
            )
    return readings


def test_the_bump_is_the_mean_difference_with_the_uncertainty_of_a_mean():
    bumps = [0.08, 0.11, 0.12, 0.09]
    found, words = seam_of(posts(bumps), 0.05, {})
    assert words == ""
    assert found.height == pytest.approx(statistics.mean(bumps))
    assert found.standard_uncertainty == pytest.approx(statistics.stdev(bumps) / 2)


def test_two_posts_take_the_repeatability_of_outsides():
    found, _ = seam_of(posts([0.11, 0.11]), 0.02, {})
    assert found.standard_uncertainty == pytest.approx(sqrt(2 * 0.02**2 / 2))


def test_posts_that_agree_better_than_calipers_read_keep_the_step_of_the_display():
    # Two readings with a step of 0.01 each, of three posts: 2 (0.01²/12) / 3.
    found, _ = seam_of(posts([0.1, 0.1, 0.1]), 0.05, {})
    assert found.standard_uncertainty == pytest.approx(sqrt(2 * 0.01**2 / 12 / 3))


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ([], "not measured"),
        (posts([0.1])[:1], "not measured"),
        (posts([0.02, -0.03, 0.01]), "not supported"),
        (posts([-0.1, -0.11, -0.1]), "not supported"),
    ],
)
def test_a_bump_that_readings_do_not_show_is_left_out_and_said(readings, words):
    found, said = seam_of(readings, 0.02, {})
    assert found is None
    assert words in said


def test_pieces_are_not_mixed():
    readings = posts([0.1])[:1] + posts([0.1], piece="second")[1:]
    assert seam_of(readings, 0.02, {})[0] is None


def test_a_calibration_keeps_its_bump_and_tells_it(tmp_path):
    made = estimate_calibration(posts([0.1, 0.11, 0.12]), conditions=CONDITIONS)
    write_calibration(made, tmp_path / "c.json")
    read = read_calibration(tmp_path / "c.json")
    assert read.model.seam == made.model.seam
    assert "The seam stands out by 0.110 mm" in " ".join(calibration_text(read).split())


def test_records_without_a_bump_or_a_first_layer_are_as_before(tmp_path):
    record = read_calibration(invented_calibration_path())
    write_calibration(record, tmp_path / "c.json")
    told = json.loads((tmp_path / "c.json").read_text(encoding="utf-8"))
    assert "seam" not in told["model"]
    assert "first_layer" not in told["conditions"]
    other = replace(record, conditions=replace(record.conditions, first_layer=0.3))
    write_calibration(other, tmp_path / "d.json")
    assert read_calibration(tmp_path / "d.json").conditions.first_layer == 0.3


def test_the_test_piece_goes_through_the_table_to_a_bump(tmp_path):
    write_testpiece("seam-posts", tmp_path, sheets=False)
    table = tmp_path / "readings.csv"
    lines = table.read_text(encoding="utf-8").splitlines()
    head = next(k for k, line in enumerate(lines) if line.startswith("piece,"))
    columns = lines[head].split(",")
    for k in range(head + 1, len(lines)):
        cells = lines[k].split(",")
        bump = 0.1 if cells[1].endswith("A") else 0.0
        value = float(cells[3]) + 0.06 + bump
        cells[columns.index("reading_1")] = f"{value:.2f}"
        lines[k] = ",".join(cells)
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = calibrate([table], conditions=CONDITIONS)
    assert found.model.seam.height == pytest.approx(0.1)


# What the command makes of a calibration

EVERYWHERE = Treatment(seam_grooves=(("all", None),))


def test_a_groove_is_as_deep_as_the_bump_and_twice_its_uncertainty():
    record = read_calibration(invented_calibration_path())
    seam = SeamBump(height=0.1, standard_uncertainty=0.01)
    known = replace(record, model=replace(record.model, seam=seam))
    wish = seam_wish(EVERYWHERE, known)
    assert (wish.width, wish.depth) == (record.conditions.line_width, pytest.approx(0.12))
    assert "calibrated bump" in wish.origin
    by_hand = seam_wish(replace(EVERYWHERE, groove_width=0.6, groove_depth=0.3), known)
    assert (by_hand.width, by_hand.depth) == (0.6, 0.3)
    without = seam_wish(EVERYWHERE, record)
    assert without.depth == pytest.approx(record.conditions.line_width / 3)


def test_a_calibration_tells_its_layers():
    record = read_calibration(invented_calibration_path())
    other = replace(record, conditions=replace(record.conditions, first_layer=0.3))
    wish = layer_wish(Treatment(), other)
    assert (wish.grid.layer_height, wish.grid.first_layer) == (0.2, 0.3)
    wish = layer_wish(Treatment(layer_height=0.15), other)
    assert (wish.grid.layer_height, wish.grid.first_layer) == (0.15, 0.15)
    assert layer_wish(Treatment(), None) is None


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (Treatment(snap_heights=True), "needs the layers"),
        (Treatment(first_layer=0.3), "needs --layer-height"),
    ],
)
def test_heights_cannot_be_looked_at_without_layers(asked, message):
    with pytest.raises(OptionError, match=message):
        layer_wish(asked, None)


def test_calibrate_keeps_the_first_layer(tmp_path):
    table = tmp_path / "readings.csv"
    table.write_text("id,kind,nominal_size,reading_1\nB1,bore,8,7.85\n", encoding="utf-8")
    out = str(tmp_path / "c.json")
    words = ["calibrate", str(table), "-o", out, "--first-layer", "0.28", "--no-report"]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    assert read_calibration(out).conditions.first_layer == 0.28
    assert "first layer 0.28 mm" in " ".join(done.output.split())
