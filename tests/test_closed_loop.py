"""The closed loop through the command line: bench, calibration, part, and print.

The hidden printer is a noiseless process inside the model family, stated here. It "prints"
by its formula: what a mesh measures, plus the deviation of its kind at that size. Meshes
are measured by tests/outside/measure.py, which is not the product.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from outside import measure
from typer.testing import CliRunner

import meshcomp
from meshcomp.cli import app

TOLERANCE = 0.003  # mm
PIECES = ("bore-ladder", "boss-ladder", "outside-ladder")


def hidden(kind: str, size: float) -> float:
    """Return by how much a mesh size deviates in print, mm."""
    if kind == "bore":
        return -0.11 - 0.42 / size
    if kind == "boss":
        return 0.07
    return 0.0008 * size + 0.09  # outside lengths: scale, and 0.045 a side


def diameter(mesh, kind: str, axis: dict, at: float) -> float:
    """Measure a bore or a boss in a section of a mesh."""
    return measure.bore_circle(
        mesh, axis["point"], axis["direction"], at, internal=kind == "bore"
    ).diameter


def run(*arguments: object) -> str:
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    assert result.exit_code == 0, result.output
    return result.output


def fill_in(folder: Path) -> Path:
    """Measure the piece's mesh where testpiece.json says, and write down its print."""
    name = next(folder.glob("*.stl"))
    mesh = measure.read_mesh(name)
    sheet = json.loads((folder / "testpiece.json").read_text(encoding="utf-8"))["features"]
    path = folder / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    comments = [line for line in lines if line.startswith("#")]
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    for row, feature in zip(rows, sheet, strict=True):
        assert row["id"] == feature["id"]
        if feature["kind"] not in {"bore", "boss", "outside x", "outside y"}:
            continue
        middle = (feature["start"] + feature["end"]) / 2
        if feature["kind"] in {"bore", "boss"}:
            size = diameter(mesh, feature["kind"], feature, middle)
        else:
            size = feature["nominal_size"]
        row["reading_1"] = f"{size + hidden(feature['kind'], size):.6f}"
    with path.open("w", newline="", encoding="utf-8") as stream:
        stream.write("\n".join(comments) + "\n")
        table = csv.DictWriter(stream, rows[0].keys())
        table.writeheader()
        table.writerows(rows)
    return path


@pytest.fixture(scope="module")
def calibration(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("bench")
    tables = []
    for piece in PIECES:
        run("testpiece", piece, "-o", folder / piece, "--no-sheets")
        tables.append(fill_in(folder / piece))
    out = folder / "calibration.json"
    words = run(
        "calibrate", *tables, "-o", out, "--printer", "hidden", "--material", "PETG"
    )
    assert "Bores close by 0.110 + 0.420/d mm" in words
    return out


def test_the_hidden_law_is_found(calibration):
    laws = meshcomp.read_calibration(calibration).model.laws
    for kind, sizes in (("bore", (2.5, 8, 22)), ("boss", (5, 12)), ("outside x", (20, 60))):
        for size in sizes:
            assert laws[kind].deviation(size) == pytest.approx(hidden(kind, size), abs=5e-4)


@pytest.mark.parametrize("name", ["shaft_spacer", "bearing_plate", "indexing_wheel"])
def test_every_bore_and_boss_prints_at_its_nominal_size(calibration, tmp_path, name):
    source, out = tmp_path / f"{name}.stl", tmp_path / "out.stl"
    part = meshcomp.demo_part(name)
    meshcomp.write(part, source)
    run("compensate", source, "-o", out, "-c", calibration, "--up", "+Z")
    after = measure.read_mesh(out)
    seen = 0
    for feature in meshcomp.inspect(part).cylinders:
        if feature.span < 359:  # notches in the rim are no part of the circle
            continue
        middle = (feature.start + feature.end) / 2
        axis = {"point": feature.point, "direction": feature.direction}
        size = diameter(after, feature.kind, axis, middle)
        printed = size + hidden(feature.kind, size)
        assert printed == pytest.approx(feature.nominal_size, abs=TOLERANCE)
        seen += 1
    assert seen > 1


def test_predictions_are_what_the_hidden_printer_would_print(calibration, tmp_path):
    source = tmp_path / "part.stl"
    meshcomp.write(meshcomp.demo_part("shaft_spacer"), source)
    data = json.loads(run("predict", source, "-c", calibration, "--up", "+Z", "--json"))
    known = [f for f in data["features"] if f["printed_size"] is not None]
    assert {f["kind"] for f in known} >= {"bore", "boss"}
    for feature in known:
        nominal = feature["nominal_size"]
        kind = feature["kind"] if feature["kind"] in {"bore", "boss"} else "outside"
        printed = nominal + hidden(kind, nominal)
        assert feature["printed_size"] == pytest.approx(printed, abs=1e-3)
        assert feature["low"] < printed < feature["high"]
    assert "95 % from" in run("predict", source, "-c", calibration, "--up", "+Z")


def test_walls_print_at_their_nominal_distance(calibration, tmp_path):
    source, out = tmp_path / "plate.stl", tmp_path / "out.stl"
    meshcomp.write(meshcomp.demo_part("bearing_plate"), source)
    run("compensate", source, "-o", out, "-c", calibration, "--up", "+Z")
    report = json.loads(Path(f"{out}.report.json").read_text(encoding="utf-8"))
    walls = [f for f in report["features"] if f["kind"] == "wall"]
    assert walls
    for wall in walls:
        size = wall["achieved_size"]
        assert size + hidden("outside", size) == pytest.approx(
            wall["nominal_size"], abs=TOLERANCE
        )


def test_all_test_pieces_are_listed():
    assert set(PIECES) < set(run("testpiece", "--list").split())


@pytest.mark.parametrize(
    "arguments",
    [
        ("testpiece",),
        ("testpiece", "bore-ladder"),
        ("testpiece", "foot", "-o", "x", "--sizes", "a"),
        ("testpiece", "plug-and-rings", "-o", "x", "--with", "step"),
    ],
)
def test_incomplete_wishes_are_wrong_usage(arguments):
    assert CliRunner().invoke(app, arguments).exit_code == 2


def test_every_measure_of_a_piece_can_be_chosen(tmp_path):
    wishes = ("--with", "size=12", "--with", "clearances=0.1,0.2,0.3", "--no-sheets")
    run("testpiece", "fit-ladder", "-o", tmp_path, *wishes)
    sheet = json.loads((tmp_path / "testpiece.json").read_text(encoding="utf-8"))[
        "features"
    ]
    assert [f["nominal_size"] for f in sheet] == pytest.approx([12, 11.9, 11.8, 11.7])
    assert "--with size, step, steps, rings" in run("testpiece", "--list")
    one = ("--with", "rings=0.1", "--with", "step=0.05", "--no-sheets")
    run("testpiece", "plug-and-rings", "-o", tmp_path / "plug", *one)
    many = ("testpiece", "foot", "-o", str(tmp_path / "foot"), "--with", "size=20,30")
    refused = CliRunner().invoke(app, many)
    assert "foot takes one number as size, got 2 of them" in str(refused.exception)


def test_an_older_record_is_updated_by_new_readings(calibration, tmp_path):
    second = tmp_path / "second"
    run("testpiece", "bore-ladder", "-o", second, "--sizes", "3,6,12", "--no-sheets")
    table = fill_in(second)
    table.write_text(
        table.read_text(encoding="utf-8").replace("\n,B", "\nsecond,B"), encoding="utf-8"
    )
    out = tmp_path / "updated.json"
    run("calibrate", table, "-o", out, "--update", calibration)
    before, after = (meshcomp.read_calibration(path) for path in (calibration, out))
    assert len(after.readings) == len(before.readings) + 3
    assert after.conditions == before.conditions


def test_drift_of_the_printer_is_told(calibration, tmp_path):
    moved = tmp_path / "moved"
    run("testpiece", "bore-ladder", "-o", moved, "--sizes", "3,4,6,8,12", "--no-sheets")
    rows = ["piece,id,kind,nominal_size,reading_1"]
    for k, size in enumerate((3, 4, 6, 8, 12), start=1):
        printed = size + hidden("bore", size) + 0.1
        rows.append(f"moved,B{k},bore,{size},{printed:.6f}")
    (moved / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    out = tmp_path / "updated.json"
    words = run("calibrate", moved / "readings.csv", "-o", out, "--update", calibration)
    assert "the printer has drifted" in " ".join(words.split())


def test_the_wall_strip_tells_the_flow(tmp_path):
    """Common practice, no source: 0.44 mm intended over 0.45 mm measured is 0.978."""
    run("testpiece", "wall-strip", "-o", tmp_path / "strip", "--no-sheets")
    path = tmp_path / "strip" / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    names = next(line for line in lines if line.startswith("piece,")).split(",")
    assert names[7:12] == [f"reading_{k}" for k in range(1, 6)]  # five places to read
    path.write_text(
        "\n".join(
            line.replace("0.44,,,,", "0.44,caliper,0.01,,") + "0.45,0.44,0.46,0.45,0.45"
            if line.startswith(",F")
            else line
            for line in [",".join(names[:7] + names[7:12]), ",F1,strip,0.44,,,,"]
        ),
        encoding="utf-8",
    )
    words = run("calibrate", path, "-o", tmp_path / "cal.json", "--no-report")
    assert "Multiply the extrusion flow by 0.978" in words
    assert "does not hold after it" in " ".join(words.split())
    assert not (tmp_path / "cal.json.report.html").exists()


def test_a_page_with_charts_lies_beside_the_record(calibration):
    html = Path(f"{calibration}.report.html").read_text(encoding="utf-8")
    assert html.count("<svg") == 4  # bores, bosses, lengths along X and along Y
