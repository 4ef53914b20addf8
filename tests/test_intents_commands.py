"""Plans on the command line, from the template to the report."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from html.parser import HTMLParser
from pathlib import Path

import pytest

import meshcomp
from meshcomp.calibration.record import invented_calibration_path
from meshcomp.intents.planfile import read_plan
from meshcomp.intents.suggesting import suggestions
from meshcomp.reports.plan_template import plan_template
from meshcomp.scenario import demo_part

RECORD = invented_calibration_path()
PARTS = ("bearing_plate", "shaft_spacer", "stepper_bracket", "indexing_wheel")
SEAT = '[[intent]]\npick = "bore 22"\npart = "bearing 608"\nfeel = "press"\n'


def run(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    code = "from meshcomp.cli import main; main()"
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)],
        capture_output=True,
        encoding="utf-8",
        check=False,
    )


@pytest.fixture(scope="module")
def plate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("part") / "plate.stl"
    meshcomp.write(demo_part("bearing_plate"), path)
    return path


def _template(name: str) -> str:
    found = meshcomp.inspect(demo_part(name))
    return plan_template(found, suggestions(found))


@pytest.mark.parametrize("name", PARTS)
def test_a_template_as_it_is_states_nothing(name: str, tmp_path: Path):
    path = tmp_path / "plan.toml"
    path.write_text(_template(name), encoding="utf-8")

    assert read_plan(path).intents == ()


@pytest.mark.parametrize("name", PARTS)
def test_every_suggestion_of_a_template_can_be_taken(name: str, tmp_path: Path):
    """Each block in turn, its # taken away, is a plan that goes with the part."""
    part = demo_part(name)
    found = meshcomp.inspect(part)
    record = meshcomp.read_calibration(RECORD)
    blocks = re.findall(r"(?m)^#\[\[intent\]\]\n(?:#\w.*\n)+", _template(name))
    for number, block in enumerate(blocks):
        path = tmp_path / f"{number}.toml"
        path.write_text("schema = 1\n" + re.sub(r"(?m)^#", "", block), encoding="utf-8")
        rule = meshcomp.Calibrated(
            model=record.model, intents=read_plan(path), feels=record.feels
        )
        stated = [
            c
            for c in meshcomp.plan(found, rule).corrections
            if c.outlook.intent is not None
        ]
        assert stated, block
    assert len(blocks) >= len({f.kind for f in found.features})


def test_the_template_names_what_sizes_may_mean():
    text = _template("bearing_plate")

    # 22 mm: outside of a 608 (ISO 15); 4.3 mm: M4 fine (ISO 273); 5 mm: a dowel.
    assert "seat of a bearing 608" in text
    assert "clearance for an M4 screw, fine (ISO 273)?" in text
    assert "hole for a dowel of 5 mm" in text
    assert "gap per flank" in text
    assert "bore-01, bore-02, bore-08, bore-09: bore of 4.300 mm, through" in text
    assert tomllib.loads(text) == {"schema": 1, "probability": 0.95}


def test_a_template_is_written_and_never_over_another(plate: Path, tmp_path: Path):
    out = tmp_path / "plan.toml"

    first = run("inspect", plate, "--plan-template", "-o", out)
    text = out.read_text(encoding="utf-8")
    second = run("inspect", plate, "--plan-template", "-o", out)
    shown = run("inspect", plate, "--plan-template")

    assert (first.returncode, first.stdout) == (0, f"written: {out}\n")
    assert second.returncode == 1
    assert "is there already, perhaps filled in" in second.stderr
    assert out.read_text(encoding="utf-8") == text
    assert shown.stdout.strip() == text.strip()
    assert run("inspect", plate, "-o", out).returncode == 2


def test_a_plan_is_carried_out_and_reported(plate: Path, tmp_path: Path):
    plan, out = tmp_path / "plan.toml", tmp_path / "out.stl"
    plan.write_text("schema = 1\nprobability = 0.8\n" + SEAT, encoding="utf-8")

    done = run("compensate", plate, "-c", RECORD, "--plan", plan, "-o", out)
    report = json.loads(Path(f"{out}.report.json").read_text(encoding="utf-8"))
    seat = next(f for f in report["features"] if f["id"] == "bore-04")

    assert done.returncode == 0, done.stderr
    assert "1 feature with an intent: none falls short." in done.stdout
    # The title is broken where the plan's path is long.
    table = re.split(r"in\s+print,\s+mm:\n", done.stdout)[1].partition("What for")[0]
    assert 40 < max(len(line) for line in table.splitlines()) <= 80
    assert report["intents"]["stated"] == ["bore-04"]
    assert report["intents"]["fall_short"] == []
    # The ring's middle, 21.9955, plus that of press in the invented record, 0.005.
    assert seat["target_size"] == pytest.approx(22.0005)
    assert seat["outlook"]["predicted"] == pytest.approx(22.0005)
    assert seat["outlook"]["probability"] == pytest.approx(0.879, abs=0.01)
    assert seat["conforms"] is True
    found = meshcomp.inspect(meshcomp.read(out, unit="mm", up="+Z"))
    sizes = [f.nominal_size for f in found.features if f.kind == "bore"]
    assert any(size == pytest.approx(seat["mesh_size"], abs=1e-3) for size in sizes)


def test_what_falls_short_is_told_by_the_exit_status(plate: Path, tmp_path: Path):
    plan = tmp_path / "plan.toml"
    plan.write_text("schema = 1\n" + SEAT, encoding="utf-8")

    dry = run("compensate", plate, "-c", RECORD, "--plan", plan, "--dry-run")

    assert dry.returncode == 3
    assert "Falls short:\n  bore-04: 87.9 of 100 prints meet it, 95 are asked" in dry.stdout
    told = " ".join(dry.stdout.split())
    assert "PLAN ONLY, 1 INTENT FALLS SHORT: bore-04." in told
    assert "1 of 1 feature with an intent falls short: bore-04." in told


def test_the_headline_says_that_the_mesh_is_proved_and_which_intent_is_not_met(
    plate: Path, tmp_path: Path
):
    plan, out = tmp_path / "plan.toml", tmp_path / "out.stl"
    plan.write_text("schema = 1\n" + SEAT, encoding="utf-8")

    done = run("compensate", plate, "-c", RECORD, "--plan", plan, "-o", out)

    assert done.returncode == 3
    assert "GEOMETRY PROVED, 1 INTENT FALLS SHORT: bore-04." in done.stdout
    page = (tmp_path / "out.stl.report.html").read_text(encoding="utf-8")
    assert "Geometry proved, 1 intent falls short: bore-04</h2>" in page
    report = json.loads((tmp_path / "out.stl.report.json").read_text(encoding="utf-8"))
    assert report["verdict"]["state"] == "short"
    assert report["verdict"]["heading"].endswith("falls short: bore-04")


def test_wrong_plans_are_refused_before_anything_is_written(plate: Path, tmp_path: Path):
    plan, out = tmp_path / "plan.toml", tmp_path / "out.stl"
    plan.write_text(
        'schema = 1\n[[intent]]\npick = "bore-77"\nkeep = true\n', encoding="utf-8"
    )

    alone = run("compensate", plate, "--plan", plan, "--bore-opening", "0.2", "-o", out)
    wrong = run("compensate", plate, "-c", RECORD, "--plan", plan, "-o", out)
    gone = run(
        "compensate", plate, "-c", RECORD, "--plan", tmp_path / "gone.toml", "-o", out
    )

    assert alone.returncode == 2
    assert "--plan needs -c" in alone.stderr
    assert wrong.returncode == gone.returncode == 1
    assert f"{plan}, line 2: no feature 'bore-77' in this part" in wrong.stderr
    assert "gone.toml: cannot be read" in gone.stderr
    assert not out.exists()


class _Text(HTMLParser):
    """Collects the text of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []

    def handle_data(self, data: str) -> None:
        self.words += data.split()


def test_the_page_tells_intent_interval_and_chance(tmp_path: Path):
    plan = tmp_path / "plan <b>.toml"
    plan.write_text("schema = 1\n" + SEAT, encoding="utf-8")
    record = meshcomp.read_calibration(RECORD)
    rule = meshcomp.Calibrated(
        model=record.model, sha256="00", intents=read_plan(plan), feels=record.feels
    )
    done = meshcomp.compensate_part(demo_part("bearing_plate"), tmp_path / "o.stl", rule)
    page = meshcomp.save_reports(done)[1].read_text(encoding="utf-8")
    reader = _Text()
    reader.feed(page)
    text = " ".join(reader.words)

    assert "What to expect in print" in text
    assert "press on bearing 608 (22 0/" in text
    assert "21.942 to 22.059 21.956 to 22.046 87 % falls short" in text
    assert "plan <b>.toml" in text  # and as text: markup from file names is escaped
    assert "plan <b>" not in page
    assert "strike a bearing" in text  # the cautions of press fits
    assert not done.serves
    assert done.conforms


def test_without_a_calibration_the_page_expects_nothing(tmp_path: Path):
    rule = meshcomp.ByHand(bore_opening=0.2)
    done = meshcomp.compensate_part(demo_part("shaft_spacer"), tmp_path / "o.stl", rule)

    assert "What to expect in print" not in meshcomp.save_reports(done)[1].read_text(
        encoding="utf-8"
    )
    assert done.serves
