"""The command line as a user meets it."""

import hashlib
import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from outside import plane
from outside.solids import write_stl

from meshcomp._version import __version__
from meshcomp.meshes import Mesh

PLATE = Path(__file__).parents[1] / "models" / "bearing_plate.stl"


def run(*arguments):
    return subprocess.run(
        [sys.executable, "-m", "meshcomp", *map(str, arguments)],
        capture_output=True,
        encoding="utf-8",
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
    report = json.loads((tmp_path / "plate.stl.report.json").read_text(encoding="utf-8"))
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
        [sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True
    )

    assert shown.stdout.strip() == "[]"


KEYS_OF_A_FEATURE = {
    "id",
    "kind",
    "internal",
    "nominal_size",
    "axis",
    "from",
    "to",
    "is_through",
    "build_angle",
    "facets",
    "size_across_flats",
}


def copy_of_the_plate(folder, name="plate.stl"):
    path = folder / name
    path.write_bytes(PLATE.read_bytes())
    return path


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def report(shown):
    return {row["id"]: row for row in json.loads(shown.stdout)["features"]}


def test_inspect_has_the_keys_that_scripts_rely_on():
    data = json.loads(run("inspect", PLATE, "--json").stdout)

    assert {"schema", "part", "solid", "features"} <= set(data)
    assert {
        "is_watertight",
        "bodies",
        "genus",
        "volume",
        "bounds",
        "triangles",
    } == set(data["solid"])
    for feature in data["features"]:
        assert set(feature) >= KEYS_OF_A_FEATURE
        assert {"point", "direction"} == set(feature["axis"])
        assert [len(v) for v in feature["axis"].values()] == [3, 3]
        assert feature["to"] > feature["from"]


def test_ends_of_a_bore_are_positions_along_its_axis_in_the_frame_of_the_file():
    data = json.loads(run("inspect", PLATE, "--json", "--up", "-X").stdout)

    seat = next(f for f in data["features"] if f["nominal_size"] == pytest.approx(16.0))
    direction = seat["axis"]["direction"]
    assert [abs(x) for x in direction] == [0.0, 0.0, 1.0]
    assert seat["build_angle"] == pytest.approx(90.0)
    ends = sorted(end * direction[2] for end in (seat["from"], seat["to"]))
    assert ends == pytest.approx([1.0, 6.0])


def test_inspect_says_that_the_stand_was_assumed():
    assumed = json.loads(run("inspect", PLATE, "--json").stdout)["stand"]
    asked = json.loads(run("inspect", PLATE, "--json", "--up", "+Z").stdout)["stand"]

    assert (assumed["up"], assumed["is_assumed"]) == ("+Z", True)
    assert (asked["up"], asked["is_assumed"]) == ("+Z", False)
    assert "assumed" in run("inspect", PLATE).stdout


def test_without_a_name_the_result_goes_beside_the_part(tmp_path):
    plate = copy_of_the_plate(tmp_path)

    shown = run("compensate", plate, "--bore-opening", "0.2")

    assert shown.returncode == 0, shown.stderr
    assert names(tmp_path) == [
        "plate.compensated.stl",
        "plate.compensated.stl.report.html",
        "plate.compensated.stl.report.json",
        "plate.stl",
    ]
    assert plate.read_bytes() == PLATE.read_bytes()


def test_json_is_the_report_that_is_written(tmp_path):
    out = tmp_path / "out.stl"

    shown = run("compensate", PLATE, "-o", out, "--bore-opening", "0.2", "--json")

    assert json.loads(shown.stdout) == json.loads(
        Path(f"{out}.report.json").read_text(encoding="utf-8")
    )


def test_keep_and_set_override_single_features(tmp_path):
    shown = run(
        *("compensate", PLATE, "-o", tmp_path / "out.stl", "--json"),
        *("--bore-opening", "0.2", "--keep", "bore-01", "--keep", "bore-02"),
        *("--set", "bore-03=5.5"),
    )

    rows = report(shown)
    kept = [rows[name] for name in ("bore-01", "bore-02")]
    assert [row["correction"] for row in kept] == [0.0, 0.0]
    assert rows["bore-03"]["mesh_size"] == 5.5
    assert rows["bore-03"]["achieved_size"] == pytest.approx(5.5, abs=0.002)
    others = [r for r in rows.values() if r["kind"] == "bore"][3:]
    assert [row["correction"] for row in others] == pytest.approx([0.2] * len(others))


def test_a_law_opens_small_bores_more(tmp_path):
    shown = run(
        *("compensate", PLATE, "-o", tmp_path / "out.stl", "--json"),
        *("--bore-law", "0.12 + 0.45/d"),
    )

    assert shown.returncode == 0, shown.stderr
    bores = [row for row in report(shown).values() if row["kind"] == "bore"]
    assert len(bores) == 9
    for row in bores:
        wanted = 0.12 + 0.45 / row["nominal_size"]
        assert row["achieved_size"] - row["nominal_size"] == pytest.approx(
            wanted, abs=0.002
        )


def test_a_calibration_file_is_used_and_named_by_its_hash(tmp_path):
    calibration = PLATE.with_name("calibration.json")

    shown = run("compensate", PLATE, "-o", tmp_path / "o.stl", "-c", calibration, "--json")

    assert shown.returncode == 0, shown.stderr
    digest = hashlib.sha256(calibration.read_bytes()).hexdigest()
    assert json.loads(shown.stdout)["plan"]["calibration_sha256"] == digest


def test_a_dry_run_shows_the_plan_as_json_too(tmp_path):
    plate = copy_of_the_plate(tmp_path)

    shown = run("compensate", plate, "--bore-opening", "0.2", "--dry-run", "--json")

    data = json.loads(shown.stdout)
    assert (data["written"], data["checks"]) == (None, None)
    bores = [row for row in data["features"] if row["kind"] == "bore"]
    assert [row["correction"] for row in bores] == pytest.approx([0.2] * 9)
    assert names(tmp_path) == ["plate.stl"]


def test_what_had_to_be_limited_exits_with_3_and_is_written(tmp_path):
    # The notch of a tuning fork, 0.06 wide, whose walls would each move by 0.05; one
    # of them leans, so that it is no slot.
    outline = [(0, 0), (20, 0), (20, 10), (10.06, 10), (10.05, 4), (10, 4), (10, 10)]
    source, out = tmp_path / "fork.stl", tmp_path / "out.stl"
    write_stl(plane.prism([np.array([*outline, (0, 10)], dtype=float)], 0, 5), source)

    shown = run("compensate", source, "-o", out, "--wall-growth", "0.05")

    assert shown.returncode == 3, shown.stderr
    assert out.exists()
    limits = json.loads(Path(f"{out}.report.json").read_text(encoding="utf-8"))["limits"]
    assert {limit["wanted_offset"] for limit in limits} == {0.05}
    assert all(limit["used_offset"] < 0.05 for limit in limits)


BAD = {
    "nothing asked": ([], "no corrections given"),
    "unknown id": (["--bore-opening", "1", "--keep", "x-1"], "no feature 'x-1'"),
    "no size": (["--set", "bore-01"], "give ID=SIZE"),
    "no number": (["--set", "bore-01=wide"], "give ID=SIZE"),
    "negative": (["--set", "bore-01=-3"], "give ID=SIZE"),
    "infinite": (["--set", "bore-01=inf"], "give ID=SIZE"),
    "law": (["--bore-law", "0.1 + x"], "may hold numbers, d"),
    "stand": (["--bore-opening", "1", "--up", "W"], "give one of +Z"),
    "unit": (["--bore-opening", "1", "--unit", "mile"], "mile"),
    "below zero": (["--bore-opening", "-9"], "corrected size would be"),
    "no calibration": (["-c", "nowhere.json"], "nowhere.json"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_values_exit_with_1_say_why_and_write_nothing(name, tmp_path):
    options, message = BAD[name]
    plate = copy_of_the_plate(tmp_path)

    shown = run("compensate", plate, *options)

    assert shown.returncode == 1
    assert shown.stderr.startswith("meshcomp: ")
    assert message in shown.stderr
    assert "Traceback" not in shown.stderr
    assert names(tmp_path) == ["plate.stl"]


CALIBRATION = PLATE.with_name("calibration.json")
CONTRADICTIONS = {
    "two rules": (
        ["--bore-opening", "1", "-c", CALIBRATION],
        "-c and --bore-opening together",
    ),
    "two openings": (
        ["--bore-opening", "1", "--bore-law", "0.1 + 0.2/d"],
        "--bore-opening and --bore-law together",
    ),
    "kept and set": (
        ["-c", CALIBRATION, "--keep", "bore-01", "--set", "bore-01=5"],
        "bore-01 is to be kept and set",
    ),
}


@pytest.mark.parametrize("name", CONTRADICTIONS)
def test_options_that_contradict_each_other_are_wrong_usage(name, tmp_path):
    options, message = CONTRADICTIONS[name]
    plate = copy_of_the_plate(tmp_path)

    shown = run("compensate", plate, *options)

    assert shown.returncode == 2
    assert message in " ".join(shown.stderr.split())
    assert names(tmp_path) == ["plate.stl"]


@pytest.mark.parametrize("name", ["missing/out.stl", "out.step", "plate.stl/out.stl"])
def test_a_target_that_cannot_be_written_is_named(name, tmp_path):
    plate = copy_of_the_plate(tmp_path)
    target = tmp_path / name

    shown = run("compensate", plate, "-o", target, "--bore-opening", "0.2")

    assert shown.returncode == 1
    assert str(target) in shown.stderr
    assert ".out." not in shown.stderr
    assert names(tmp_path) == ["plate.stl"]


def test_bores_that_are_all_held_back_are_said_to_be_changed(tmp_path):
    # Bores of 6 mm whose edges are 4 mm apart cannot become 18 mm wide.
    shown = run("demo", tmp_path)
    assert shown.returncode == 0
    ring, out = tmp_path / "parts" / "pin_ring.stl", tmp_path / "out.stl"

    shown = run("compensate", ring, "-o", out, "--bore-opening", "12", "--up", "+Z")

    assert shown.returncode == 3
    words = " ".join(shown.stdout.split())
    assert "Nothing was changed" not in words
    assert "17 features were changed, but by less than wanted" in words


def broken(kind, folder):
    """Write a file that is no solid, and return it."""
    path = folder / f"{kind}.stl"
    cube = plane.prism([[(0, 0), (9, 0), (9, 9), (0, 9)]], 0, 9)
    if kind == "open":
        side = (cube.corners[:, :, 0] == 9).all(axis=1)
        write_stl(Mesh(cube.vertices, cube.faces[~side]), path)
    elif kind == "inverted":
        write_stl(Mesh(cube.vertices, cube.faces[:, ::-1]), path)
    else:
        path.write_bytes(PLATE.read_bytes()[:-30])
    return path


@pytest.mark.parametrize(
    ("kind", "message"),
    [
        ("open", "4 open edges; open about (9.000, 4.500, 4.500) mm"),
        ("truncated", "truncated.stl"),
    ],
)
@pytest.mark.parametrize("command", ["inspect", "compensate"])
def test_what_is_no_solid_is_refused_and_nothing_written(kind, message, command, tmp_path):
    path = broken(kind, tmp_path)
    options = ["--bore-opening", "0.2"] if command == "compensate" else []

    shown = run(command, path, *options)

    assert shown.returncode == 1
    assert message in shown.stderr
    assert shown.stdout == ""
    drawn = ["open.compensated.stl.refused.svg"]
    has_picture = (kind, command) == ("open", "compensate")
    assert names(tmp_path) == sorted([path.name, *(drawn if has_picture else [])])


def test_what_was_repaired_is_told(tmp_path):
    path = broken("inverted", tmp_path)

    shown = run("compensate", path, "--wall-growth", "0.1")

    assert shown.returncode == 0
    assert "1 surface inside out was turned over." in shown.stdout
    assert "1 surface inside out was turned over." in run("inspect", path).stdout
    told = json.loads(run("inspect", path, "--json").stdout)
    assert told["part"]["repairs"] == [{"kind": "bodies turned", "count": 1}]
    page = tmp_path / "inverted.compensated.stl.report.html"
    assert "1 surface inside out was turned over." in page.read_text(encoding="utf-8")


@pytest.mark.parametrize("command", ["inspect", "compensate"])
def test_no_repair_refuses_at_once(command, tmp_path):
    path = broken("inverted", tmp_path)
    options = ["--wall-growth", "0.1"] if command == "compensate" else []

    shown = run(command, path, "--no-repair", *options)

    assert shown.returncode == 1
    assert "not a closed, sound solid: 1 body inside out" in shown.stderr
    assert names(tmp_path) == [path.name]


def test_the_source_is_overwritten_when_asked(tmp_path):
    plate = copy_of_the_plate(tmp_path)

    shown = run("compensate", plate, "--in-place", "--bore-opening", "0.2")

    assert shown.returncode == 0
    assert plate.read_bytes() != PLATE.read_bytes()
    assert names(tmp_path) == [
        "plate.stl",
        "plate.stl.report.html",
        "plate.stl.report.json",
    ]


def test_in_place_and_another_name_contradict_each_other(tmp_path):
    plate = copy_of_the_plate(tmp_path)

    shown = run("compensate", plate, "--in-place", "-o", "x.stl", "--bore-opening", "0.2")

    assert shown.returncode == 2
    assert "--in-place and -o together" in shown.stderr


@pytest.mark.parametrize("way", ["another path", "link", "hard link"])
def test_the_source_is_known_by_any_name(way, tmp_path):
    plate = copy_of_the_plate(tmp_path)
    (tmp_path / "below").mkdir()
    names_of_it = {
        "another path": tmp_path / "below" / ".." / "plate.stl",
        "link": tmp_path / "link.stl",
        "hard link": tmp_path / "hard.stl",
    }
    if way == "link":
        names_of_it[way].symlink_to(plate)
    if way == "hard link":
        names_of_it[way].hardlink_to(plate)

    shown = run("compensate", plate, "-o", names_of_it[way], "--bore-opening", "0.2")

    assert shown.returncode == 1
    assert "never overwritten" in shown.stderr
    assert plate.read_bytes() == PLATE.read_bytes()


def test_a_missing_file_is_an_error_and_no_traceback(tmp_path):
    shown = run("inspect", tmp_path / "nothing.stl")

    assert shown.returncode == 1
    assert "nothing.stl" in shown.stderr
    assert "Traceback" not in shown.stderr


def test_the_source_is_never_overwritten(tmp_path):
    plate = copy_of_the_plate(tmp_path)

    shown = run("compensate", plate, "-o", plate, "--bore-opening", "0.2")

    assert shown.returncode == 1
    assert "never overwritten" in shown.stderr
    assert plate.read_bytes() == PLATE.read_bytes()
    assert names(tmp_path) == ["plate.stl"]


@pytest.mark.parametrize(
    "arguments",
    [["--no-such"], ["compensate"], ["compensate", PLATE, "--bore-opening", "wide"]],
)
def test_wrong_usage_exits_with_2(arguments):
    assert run(*arguments).returncode == 2


def test_version_is_that_of_the_package():
    assert run("--version").stdout.split() == ["meshcomp", __version__]


@pytest.mark.parametrize("command", [[], ["inspect"], ["compensate"], ["demo"]])
def test_help_of_every_command_runs_without_geometry(command):
    code = (
        "import sys\n"
        "from meshcomp.cli import main\n"
        "try:\n    main()\n"
        "finally:\n"
        "    print(sorted({'numpy', 'scipy', 'trimesh', 'jinja2'}"
        " & set(sys.modules)), file=sys.stderr)\n"
    )
    shown = subprocess.run(
        [sys.executable, "-c", code, *command, "--help"],
        capture_output=True,
        encoding="utf-8",
        check=True,
    )

    assert "Usage" in shown.stdout
    assert shown.stderr.strip() == "[]"


def test_the_demo_proves_every_part(tmp_path):
    shown = run("demo", tmp_path / "demo")

    assert shown.returncode == 0, shown.stdout
    assert len(re.findall(r" now +proved$", shown.stdout, re.MULTILINE)) == 8
    assert len(re.findall(r" as asked$", shown.stdout, re.MULTILINE)) == 14
    assert len(list((tmp_path / "demo" / "compensated").glob("*.report.html"))) == 9


def test_want_of_memory_is_told_without_a_traceback():
    code = (
        "import meshcomp.cli as cli\n"
        "def app():\n    raise MemoryError\n"
        "cli.app = app\n"
        "cli.main()"
    )
    shown = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=False
    )

    assert shown.returncode == 1
    assert shown.stderr.startswith("meshcomp: not enough memory")
