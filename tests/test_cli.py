"""The command line as a user meets it."""

import json
import subprocess
import sys
from pathlib import Path

PLATE = Path(__file__).parents[1] / "models" / "bearing_plate.stl"


def run(*arguments):
    return subprocess.run(
        [
            sys.executable,
            "-c",
            "from meshcomp.cli import main; main()",
            *map(str, arguments),
        ],
        capture_output=True,
        text=True,
        check=False,
    )


def test_inspect_prints_one_json_object():
    shown = run("inspect", PLATE, "--json")

    data = json.loads(shown.stdout)
    sizes = sorted(f["nominal_size"] for f in data["features"] if f["kind"] == "bore")
    assert data["schema"] == 1
    assert [round(size, 4) for size in sizes] == [4.3] * 4 + [5.0] * 2 + [10.0, 16.0, 22.0]
    assert data["solid"]["is_watertight"] is True


def test_compensate_writes_the_part_and_both_reports(tmp_path):
    out = tmp_path / "plate.stl"

    shown = run("compensate", PLATE, "-o", out, "--bore-opening", "0.2", "--up", "+Z")

    assert shown.returncode == 0, shown.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "plate.stl",
        "plate.stl.report.html",
        "plate.stl.report.json",
    ]
    report = json.loads((tmp_path / "plate.stl.report.json").read_text())
    assert report["conforms"] is True


def test_a_dry_run_writes_nothing(tmp_path):
    out = tmp_path / "plate.stl"

    shown = run("compensate", PLATE, "-o", out, "--bore-opening", "0.2", "--dry-run")

    assert shown.returncode == 0
    assert not list(tmp_path.iterdir())


def test_errors_exit_with_1_and_write_nothing(tmp_path):
    out = tmp_path / "plate.stl"

    unknown = run(
        "compensate", PLATE, "-o", out, "--bore-opening", "0.2", "--keep", "bore-99"
    )
    nothing = run("compensate", PLATE, "-o", out)
    usage = run("compensate", PLATE, "--no-such-option")

    assert (unknown.returncode, nothing.returncode, usage.returncode) == (1, 1, 2)
    assert "no feature 'bore-99'" in unknown.stderr
    assert "no corrections given" in nothing.stderr
    assert not list(tmp_path.iterdir())


def test_help_loads_no_geometry():
    code = (
        "import sys; from meshcomp.cli import app; "
        "print([m for m in ('numpy', 'scipy', 'trimesh') if m in sys.modules])"
    )
    shown = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )

    assert shown.stdout.strip() == "[]"
