"""Depths and shoulders that a plan states: the layer that keeps them, or that it cannot be.

What is compared with: the grid of layers by hand (0, 0.25, 0.45 ...), all choices tried one
by one in fractions, and numpy for reading the written file (tests/outside/measure.py).
"""

from __future__ import annotations

import json
from fractions import Fraction
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outside import measure
from test_layers import GRID, part_of, stepped_block
from typer.testing import CliRunner

import meshcomp
from meshcomp.cli import app
from meshcomp.errors import OptionError
from meshcomp.intents.choices import head_of
from meshcomp.intents.planfile import read_plan
from meshcomp.kits.making import Workers, make_kit
from meshcomp.kits.reading import read_kit
from meshcomp.layering.keeping import chosen_layers
from meshcomp.layers import KeptHeight, LayerGrid, LayerWish, SnapWish
from meshcomp.reports import record_html, record_json, record_text

RECORD = Path(__file__).parents[1] / "models" / "calibration.json"
SNAP = LayerWish(grid=GRID, snap=SnapWish())
DEPTH = '[[height]]\npick = "bore-01"\ntolerance = "+0.25/+0.1"\n'


def rule_of(folder, text):
    path = folder / "plan.toml"
    path.write_text("schema = 1\n" + text, encoding="utf-8")
    record = meshcomp.read_calibration(RECORD)
    return meshcomp.Calibrated(
        model=record.model, sha256=record.sha256, intents=read_plan(path)
    )


def made(folder, text, layers=SNAP):
    # Heights of the block: 0, 2.93, 3.31 (floor of a blind bore), 5.1. Layers lie at
    # 2.85 and 3.05, 3.25 and 3.45, 5.05 and 5.25.
    return meshcomp.compensate_part(
        part_of(stepped_block()), folder / "o.stl", rule_of(folder, text), layers=layers
    )


def moves(record):
    return {round(f.height, 3): round(f.move, 6) for f in record.layers.faces}


def test_a_face_goes_to_the_layer_that_keeps_a_stated_depth(tmp_path):
    # The depth is drawn 1.79, prints 1.80 at the nearest layers; 1.89 to 2.04 is asked.
    record = made(tmp_path, DEPTH)
    (kept,) = record.layers.kept
    assert (round(kept.nearest, 6), round(kept.printed, 6)) == (1.8, 2.0)
    assert kept.is_kept
    assert kept.name == "blind depth of bore-01"
    # 5.1 goes up to 5.25 (0.15), the floor stays at its nearest; 3.31 down to 3.05 would
    # be no layer beside it.
    assert moves(record) == {0.0: 0.0, 2.93: -0.08, 3.31: -0.06, 5.1: 0.15}
    assert record.conforms
    assert record.serves
    levels = measure.read_mesh(tmp_path / "o.stl").vertices[:, 2].round(4)
    assert {3.25, 5.25} <= set(levels.tolist())


def test_without_the_plan_the_nearest_layers_are_taken(tmp_path):
    record = made(tmp_path, "")
    assert moves(record) == {0.0: 0.0, 2.93: -0.08, 3.31: -0.06, 5.1: -0.05}
    assert record.layers.kept == ()


def test_a_distance_between_heights_can_be_stated(tmp_path):
    # 2.17 drawn, 2.20 at the nearest layers; 1.95 to 2.05: the step goes up, not the top.
    text = '[[height]]\nbetween = [2.93, 5.1]\ntolerance = "2 +/-0.05"\n'
    record = made(tmp_path, text)
    assert moves(record) == {0.0: 0.0, 2.93: 0.12, 3.31: -0.06, 5.1: -0.05}
    (kept,) = record.layers.kept
    assert round(kept.printed, 6) == 2.0
    assert kept.name == "step from 2.93 to 5.1 mm"


def test_distances_with_a_height_in_common_are_kept_together(tmp_path):
    text = DEPTH + '[[height]]\nbetween = [2.93, 5.1]\ntolerance = "2.2 +/-0.05"\n'
    record = made(tmp_path, text)
    # The top at 5.25 asks the step to be at 3.05.
    assert moves(record) == {0.0: 0.0, 2.93: 0.12, 3.31: -0.06, 5.1: 0.15}
    assert [round(k.printed, 6) for k in record.layers.kept] == [2.0, 2.2]


def test_what_no_layer_keeps_falls_short_and_the_report_says_so(tmp_path):
    text = '[[height]]\npick = "bore-01"\ntolerance = "+0.15/+0.05"\n'  # 1.84 to 1.94
    record = made(tmp_path, text)
    assert record.conforms
    assert not record.serves
    text = " ".join(record_text(record).split())
    assert "blind depth of bore-01: 1.800 in print, 1.840 to 1.940 asked: SHORT; no" in text
    assert "GEOMETRY PROVED, 1 INTENT FALLS SHORT: blind depth of bore-01." in text
    page = record_html(record)
    assert "Geometry proved, 1 intent falls short: blind depth of bore-01</h2>" in page
    assert "no choice of layers keeps it" in page
    (stated,) = record_json(record)["layers"]["stated"]
    assert (stated["is_kept"], stated["lower"]) == (False, pytest.approx(1.84))


def test_heights_that_are_not_to_move_are_told_what_moving_would_do(tmp_path):
    record = made(tmp_path, DEPTH, LayerWish(grid=GRID))
    assert record.layers.moves is None
    assert not record.serves
    text = " ".join(record_text(record).split())
    assert "SHORT; with --snap-heights it could print at 2.000" in text


def test_the_report_says_which_layer_was_taken_and_for_what(tmp_path):
    text = " ".join(record_text(made(tmp_path, DEPTH)).split())
    assert (
        "5.100 went to the layer above, not the nearest, for the blind depth of bore-01"
        in text
    )
    assert "2.000 in print, 1.890 to 2.040 asked (1.800 at the nearest layers)" in text


def test_only_heights_that_are_to_move_are_chosen(tmp_path):
    wish = LayerWish(grid=GRID, snap=SnapWish(only=(3.31,)))
    record = made(tmp_path, DEPTH, wish)
    assert moves(record)[5.1] == 0.0
    assert not record.serves


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            '[[height]]\ntolerance = "H11"',
            r"line 2: height: which height\? give",
        ),
        ("[[height]]\nbetween = [1, 2]", r"line 2: height.tolerance is missing"),
        (
            '[[height]]\nbetween = [5.1, 2.93]\ntolerance = "H11"',
            r"line 2: height: between = \[5.1, 2.93\]: give the lower",
        ),
        (
            '[[height]]\nbetween = [1, 5.1]\ntolerance = "H11"',
            r"line 2: no level face at 1 mm above the bed: there are some at 0.000, 2.930",
        ),
        ('[[height]]\npick = "bore-01"\ntolerance = "HH"', r"line 4: tolerance: 'HH' is"),
        (
            '[[height]]\npick = "bore-01"\ntolerance = "9 H11"',
            r"line 2: the height of bore-01 is 1.79 mm and 9 H11 is wanted",
        ),
        (
            '[[height]]\npick = "bore-09"\ntolerance = "H11"',
            r"line 2: no feature 'bore-09' in this part",
        ),
    ],
)
def test_a_height_that_cannot_be_meant_is_refused_with_its_line(tmp_path, text, message):
    with pytest.raises(OptionError, match=message):
        made(tmp_path, text)


def test_a_stated_height_needs_layers(tmp_path):
    with pytest.raises(OptionError, match="line 2: a height prints by the layers"):
        made(tmp_path, DEPTH, None)


def test_a_plan_saved_from_the_page_keeps_distances_and_loads(tmp_path):
    text = (
        f"{DEPTH}[[height]]\nbetween = [2.93, 5.1]\ntolerance = 'H11'\n"
        '[[load]]\npick = { kind = "bore", near = [1.0, 2.0] }\ntowards = 90\n'
        "[[load]]\ntowards = 270\n"
    )
    first = rule_of(tmp_path, text).intents
    again = rule_of(tmp_path, head_of(first).replace("schema = 1\n", "")).intents

    def said(intents):
        loads = [(x.pick, x.towards) for x in intents.loads]
        return loads, [(x.pick, x.between, x.tolerance) for x in intents.heights]

    assert said(again) == said(first)


heights = st.lists(st.integers(0, 900), min_size=2, max_size=5, unique=True).map(sorted)


@settings(max_examples=150, deadline=None)
@given(heights, st.integers(10, 40), st.integers(10, 40), st.data())
def test_no_choice_of_layers_is_better(drawn, layer, first, data):
    """All choices one by one, in hundredths of a mm as fractions."""
    pairs = data.draw(
        st.lists(st.sampled_from(range(1, len(drawn))), min_size=1, max_size=4)
    )
    grid = LayerGrid(layer_height=layer / 100, first_layer=first / 100)
    asked = []
    for top in pairs:
        low, high = drawn[top - 1], drawn[top]
        least = high - low + data.draw(st.integers(-30, 30))
        asked.append((low, high, least, least + data.draw(st.integers(1, 20))))
    distances = [
        KeptHeight(
            what="step", feature_ids=(), low=low / 100, high=high / 100, lower=least / 100,
            upper=most / 100, words="", place="", nearest=0.0, printed=0.0,
        )
        for low, high, least, most in asked
    ]  # fmt: skip
    movable = {z / 100: True for z in drawn}
    found = chosen_layers(grid, movable, distances)

    ends = [Fraction(0), *(Fraction(first + k * layer) for k in range(120))]
    around = {
        z: [max(e for e in ends if e <= z), min(e for e in ends if e >= z)] for z in drawn
    }
    for height, layers in around.items():
        assert any(abs(found[height / 100] - float(e) / 100) < 1e-9 for e in layers)

    def broken(layers):
        return sum(
            not least - 0.05 <= layers[high] - layers[low] <= most + 0.05
            for low, high, least, most in asked
        )

    best = min(
        broken(dict(zip(drawn, each, strict=True))) for each in product(*around.values())
    )
    assert broken({z: Fraction(round(found[z / 100] * 100)) for z in drawn}) == best


def test_the_command_and_the_kit_fall_short_together(tmp_path):
    part = tmp_path / "block.stl"
    meshcomp.write(part_of(stepped_block()), part)
    plan = tmp_path / "plan.toml"
    text = '[[height]]\npick = "bore-01"\ntolerance = "+0.09/+0.05"\n'
    plan.write_text("schema = 1\n" + text, encoding="utf-8")
    words = ["compensate", str(part), "-c", str(RECORD), "--plan", str(plan)]
    done = CliRunner().invoke(app, [*words, "--snap-heights", "-o", f"{tmp_path}/o.stl"])
    assert done.exit_code == 3, done.output
    kit = tmp_path / "kit.toml"
    kit.write_text(
        f"calibration = {json.dumps(str(RECORD))}\nsnap_heights = true\n"
        '[[part]]\nfile = "block.stl"\nplan = "plan.toml"\n',
        encoding="utf-8",
    )
    outcome = make_kit(read_kit(kit), workers=Workers(count=1))
    (made_part,) = outcome.parts
    assert made_part.is_proved
    assert not made_part.conforms
    assert "blind depth of bore-01: " in made_part.shortfalls[0]
    assert made_part.written is not None
    one = np.frombuffer(Path(made_part.written).read_bytes(), np.uint8)
    assert np.array_equal(one, np.frombuffer((tmp_path / "o.stl").read_bytes(), np.uint8))
