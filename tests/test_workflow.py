"""The whole job on files: what is written, what is never written, and what is refused."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path

import manifold3d
import numpy as np
import pytest
from outside import measure, plane
from outside.solids import write_stl

import meshcomp
from meshcomp import workflow
from meshcomp.compensation.limits import CUT
from meshcomp.errors import NotASolidError, OptionError, PartFileError, UnsoundResultError
from meshcomp.meshes import Mesh, concatenate
from meshcomp.printer_axes import PrinterAxes

MODELS = Path(__file__).parents[1] / "models"
RULE = meshcomp.ByHand(wall_growth=0.05, bore_opening=0.2)


@pytest.fixture
def plate(tmp_path):
    """Return a copy of a demo part, alone in its folder."""
    path = tmp_path / "plate.stl"
    path.write_bytes((MODELS / "bearing_plate.stl").read_bytes())
    return path


def heights_in_text(path):
    """Lowest and highest Z of an OBJ file, as the text says."""
    lines = path.read_text(encoding="utf-8").splitlines()
    heights = [float(line.split()[3]) for line in lines if line.startswith("v ")]
    return min(heights), max(heights)


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def block(size=10.0, corner=(0.0, 0.0, 0.0)):
    mesh = plane.prism([[(0, 0), (size, 0), (size, size), (0, size)]], 0, size)
    return mesh.moved(mesh.vertices + np.array(corner))


@pytest.mark.parametrize("axes", [None, PrinterAxes(scale=(1.001, 1, 1), skew=0.002)])
@pytest.mark.parametrize(("low", "high"), [(-7.000001, 6.9), (-0.7, 0.3)])
def test_heights_that_only_text_can_hold_are_kept(low, high, axes, tmp_path):
    # 16 facets around: refined, so that there are new points at both ends.
    turns = np.arange(16) * np.pi / 8
    hole = 5 * np.column_stack([np.cos(turns), -np.sin(turns)])
    mesh = plane.prism([[(-9, -9), (9, -9), (9, 9), (-9, 9)], hole], low, high)
    points = [f"v {x!r} {y!r} {z!r}" for x, y, z in mesh.vertices.tolist()]
    faces = [f"f {a} {b} {c}" for a, b, c in (mesh.faces + 1).tolist()]
    path, out = tmp_path / "ring.obj", tmp_path / "out.obj"
    path.write_text("\n".join([*points, *faces]), encoding="utf-8")

    rule = replace(RULE, axes=axes)
    record = meshcomp.compensate_part(meshcomp.read(path, up="+Z"), out, rule)

    assert len(record.inspection.part.mesh.faces) < len(meshcomp.read(out).mesh.faces)
    # About a centre and back: the last bit of 64 may change.
    limit = 0 if axes is None else 1e-14
    assert heights_in_text(out) == pytest.approx((low, high), rel=0, abs=limit)
    assert record.conforms


@pytest.mark.parametrize("unit", ["inch", "m"])
def test_a_file_in_another_unit_holds_what_was_judged_to_the_last_bit(unit, tmp_path):
    scale = {"inch": 25.4, "m": 1000.0}[unit]
    ball = manifold3d.Manifold.sphere(2.0, 160) - manifold3d.Manifold.cylinder(
        10.0, 0.5, 0.5, 64
    ).translate((0, 0, -5))  # facets smaller than the offset: its bore is cut
    found = ball.to_mesh64()
    mesh = Mesh(found.vert_properties[:, :3], np.asarray(found.tri_verts, np.int64))
    write_stl(mesh.moved(mesh.vertices / scale), tmp_path / "ball.stl")

    seen = meshcomp.inspect(meshcomp.read(tmp_path / "ball.stl", unit=unit))
    result = meshcomp.compensate(
        seen, meshcomp.plan(seen, meshcomp.ByHand(bore_opening=0.2))
    )
    meshcomp.write(result.part, tmp_path / "out.stl")

    data = (tmp_path / "out.stl").read_bytes()[84:]
    kind = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("", "<u2")])
    numbers = np.frombuffer(data, kind)["corners"].astype(np.float64)
    assert {x.reason for x in result.limits} == {CUT}
    assert np.array_equal(numbers * scale, result.part.mesh.corners)


def test_the_part_is_written_and_nothing_is_left_beside_it(plate):
    out = plate.with_name("out.stl")
    record = meshcomp.compensate_part(meshcomp.read(plate, up="+Z"), out, RULE)
    assert names(plate.parent) == ["out.stl", "plate.stl"]
    assert record.conforms
    assert record.written == str(out)
    assert record.written_sha256 == hashlib.sha256(out.read_bytes()).hexdigest()


@pytest.mark.parametrize("ending", ["stl", "3mf", "obj", "ply"])
def test_the_ending_chooses_the_format(ending, plate):
    out = plate.with_name(f"out.{ending}")
    record = meshcomp.compensate_part(meshcomp.read(plate, up="+Z"), out, RULE)
    assert record.conforms
    assert meshcomp.read(out).source.format == ending
    bores = [f for f in record.inspection.cylinders if f.nominal_size > 20]
    mesh = meshcomp.read(out, up="+Z").mesh
    size = measure.bore_diameter(mesh, bores[0].point, (0, 0, 1), 3.3)
    assert size == pytest.approx(22.2, abs=0.002)


def test_the_same_input_gives_the_same_bytes(plate):
    outs = [plate.with_name(f"{k}.stl") for k in (1, 2)]
    for out in outs:
        meshcomp.compensate_part(meshcomp.read(plate, up="+Z"), out, RULE)
    assert outs[0].read_bytes() == outs[1].read_bytes()


@pytest.mark.parametrize("spelling", ["plate.stl", "./plate.stl", "../{}/plate.stl"])
def test_the_source_is_never_overwritten(plate, spelling, monkeypatch):
    before = plate.read_bytes()
    monkeypatch.chdir(plate.parent)
    out = spelling.format(plate.parent.name)
    with pytest.raises(PartFileError, match="never overwritten: choose another name"):
        meshcomp.compensate_part(meshcomp.read(plate, up="+Z"), out, RULE)
    assert plate.read_bytes() == before
    assert names(plate.parent) == ["plate.stl"]


def test_the_source_is_not_overwritten_through_a_link(plate):
    before = plate.read_bytes()
    link = plate.with_name("link.stl")
    link.symlink_to(plate)
    with pytest.raises(PartFileError, match="never overwritten"):
        meshcomp.compensate_part(meshcomp.read(plate, up="+Z"), link, RULE)
    assert plate.read_bytes() == before


def test_a_failed_job_leaves_an_older_result_alone(plate):
    out = plate.with_name("out.stl")
    out.write_bytes(b"older result")
    with pytest.raises(OptionError, match="no feature 'bore-99'"):
        meshcomp.compensate_part(
            meshcomp.read(plate, up="+Z"), out, RULE, keep=("bore-99",)
        )
    assert out.read_bytes() == b"older result"
    assert names(plate.parent) == ["out.stl", "plate.stl"]


def test_a_result_that_proves_broken_is_not_written(plate, monkeypatch):
    # The proof is made to see a missing face: what it must hold then is the refusal.
    def torn(part, path):
        mesh = Mesh(part.mesh.vertices, part.mesh.faces[1:])
        write_stl(mesh, path)

    monkeypatch.setattr(workflow, "write_part", torn)
    with pytest.raises(UnsoundResultError, match="fails the check 'closed solid'"):
        meshcomp.compensate_part(
            meshcomp.read(plate, up="+Z"), plate.with_name("out.stl"), RULE
        )
    assert names(plate.parent) == ["plate.stl"]


def test_an_open_mesh_is_refused_and_nothing_written(tmp_path):
    mesh = block()
    source = tmp_path / "open.stl"
    write_stl(Mesh(mesh.vertices, mesh.faces[1:]), source)
    with pytest.raises(NotASolidError, match="3 open edges, the first at"):
        meshcomp.compensate_part(meshcomp.read(source), tmp_path / "out.stl", RULE)
    assert names(tmp_path) == ["open.stl"]


def test_a_mesh_inside_out_is_refused_and_nothing_written(tmp_path):
    mesh = block()
    source = tmp_path / "inverted.stl"
    write_stl(Mesh(mesh.vertices, mesh.faces[:, ::-1]), source)
    with pytest.raises(NotASolidError, match=r"inside out \(volume -1000\.000 mm³\)"):
        meshcomp.compensate_part(meshcomp.read(source), tmp_path / "out.stl", RULE)
    assert names(tmp_path) == ["inverted.stl"]


def pair_grown(tmp_path, beside):
    """Grow two blocks that stand 0.06 mm apart by 0.05 mm a side."""
    source, out = tmp_path / "pair.stl", tmp_path / "out.stl"
    write_stl(concatenate([block(), block(10, (10.06, beside, 0))]), source)
    record = meshcomp.compensate_part(meshcomp.read(source, up="+Z"), out, RULE)
    written = measure.read_mesh(out)
    return record, measure.width_between(written, (1, 0, 0), (10.03, 5, 5))


def test_bodies_that_would_grow_into_each_other_are_limited_and_said_so(tmp_path):
    record, gap = pair_grown(tmp_path, beside=1.3)
    assert not record.conforms
    assert {limit.wanted for limit in record.limits} == {0.05}
    assert all(0 <= limit.used < 0.03 for limit in record.limits)
    assert 0 < gap <= 0.06 + 1e-6  # 32-bit coordinates


def test_bodies_in_line_that_would_grow_into_each_other_are_limited(tmp_path):
    # No edge passes through a face here, not even once the bodies overlap.
    record, gap = pair_grown(tmp_path, beside=0.0)
    assert "another body lies against it, or would" in {x.reason for x in record.limits}
    assert gap == pytest.approx(0.06, abs=1e-6)
    assert not record.conforms


def test_a_dry_run_plans_the_same_and_writes_nothing(plate):
    part = meshcomp.read(plate, up="+Z")
    planned = meshcomp.plan_part(part, RULE, keep=("bore-01",))
    assert names(plate.parent) == ["plate.stl"]
    assert (planned.verification, planned.written, planned.written_sha256) == (None,) * 3
    made = meshcomp.compensate_part(
        part, plate.with_name("out.stl"), RULE, keep=("bore-01",)
    )
    assert planned.plan == made.plan
    assert made.plan.of("bore-01").is_left_alone


def test_a_dry_run_has_no_report_files(plate):
    record = meshcomp.plan_part(meshcomp.read(plate, up="+Z"), RULE)
    with pytest.raises(OptionError, match="no report files"):
        meshcomp.save_reports(record)


def test_reports_stand_beside_the_part(plate):
    out = plate.with_name("out.stl")
    record = meshcomp.compensate_part(meshcomp.read(plate, up="+Z"), out, RULE)
    json_path, html_path = meshcomp.save_reports(record)
    assert names(plate.parent) == [
        "out.stl",
        "out.stl.report.html",
        "out.stl.report.json",
        "plate.stl",
    ]
    data = json.loads(json_path.read_text(encoding="utf-8"))
    assert data["schema"] == 1
    assert data["written"]["sha256"] == record.written_sha256
    assert data["part"]["sha256"] == hashlib.sha256(plate.read_bytes()).hexdigest()
    assert 'src="http' not in html_path.read_text(encoding="utf-8")


def test_a_part_in_inches_stays_in_inches(tmp_path):
    source, out = tmp_path / "inch.stl", tmp_path / "out.stl"
    write_stl(block(2.0), source)
    part = meshcomp.read(source, unit="inch", up="+Z")
    record = meshcomp.compensate_part(part, out, meshcomp.ByHand(wall_growth=0.254))
    low, high = measure.read_mesh(out).bounds[:, 0]
    # 0.254 mm are 0.01 inch a side.
    assert (low, high) == pytest.approx((-0.01, 2.01), abs=1e-6)
    assert record.conforms


def test_without_a_name_the_result_goes_beside_the_part():
    assert workflow.output_path("kit/wheel.v2.3mf") == Path("kit/wheel.v2.compensated.3mf")


def test_a_folder_that_is_not_there_is_named(plate):
    out = plate.parent / "nowhere" / "out.stl"
    with pytest.raises(PartFileError, match="nowhere"):
        meshcomp.compensate_part(meshcomp.read(plate, up="+Z"), out, RULE)
    assert names(plate.parent) == ["plate.stl"]
