"""The surface of the 3D view: displacements against closed forms, thinning, its data."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import time
from dataclasses import replace
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import records
import trimesh
from colorspacious import cspace_convert, deltaE
from simulated_bench import CONDITIONS
from test_reports_calibration import bores, reading

import meshcomp
from meshcomp.calibration.estimate import estimate_calibration
from meshcomp.meshes import Mesh
from meshcomp.offers import offers_for
from meshcomp.reports import record_html
from meshcomp.reports._surfaces import COLOURS, scale_of, ticks
from meshcomp.rules import Calibrated
from meshcomp.scenes import surface_of
from meshcomp.views import plan_views

ASSETS = Path(meshcomp.__file__).parent / "reports" / "assets"
SOURCES = Path(__file__).parents[1] / "meshcomp" / "reports" / "viewer"


def made(part, **by_hand):
    found = meshcomp.inspect(part)
    wanted = meshcomp.plan(found, meshcomp.ByHand(**by_hand))
    return found, wanted, meshcomp.compensate(found, wanted)


REAL = Path(__file__).parents[2] / "shared" / "data" / "solid"


@pytest.mark.skipif(not REAL.exists(), reason="no shared data")
@pytest.mark.parametrize("name", ["s32", "s50"])
def test_no_face_is_measured_from_a_plane_that_it_does_not_come_from(name):
    """Of real parts, on which planes are made anew and walls brought to their places."""
    part = meshcomp.repair(meshcomp.read(REAL / f"{name}.stl"))
    found, wanted, result = made(part, wall_growth=-0.05, bore_opening=0.2)
    surface = surface_of(found, wanted, result, most=10**6)
    # A corner moves by no more than a few offsets, 0.1 mm at the most.
    off = np.abs(surface.displacements).max(axis=1) > 0.3
    areas = np.linalg.norm(result.part.mesh.area_vectors, axis=1)
    assert areas[off].sum() < 2e-3 * areas.sum()


@pytest.mark.parametrize("name", ["bearing_plate", "stepper_bracket", "pinion"])
def test_every_feature_is_displaced_by_its_offset_and_nothing_else_is(name):
    found, wanted, result = made(
        meshcomp.demo_part(name), wall_growth=-0.05, pocket_opening=0.04, bore_opening=0.2
    )
    surface = surface_of(found, wanted, result)
    areas = np.linalg.norm(result.part.mesh.area_vectors, axis=1)
    rises = np.abs(result.part.mesh.area_vectors[:, 2]) / np.maximum(areas, 1e-12)
    for index, correction in enumerate(wanted.corrections):
        if correction.kind == "distance":
            assert not (surface.owners == index).any()  # its faces are others'
            continue
        # A wall that leans is moved sideways, by less along its normal.
        upright = rises < 1e-3 if correction.kind == "profile" else True
        own = (surface.owners == index) & (areas > 1e-6) & upright
        assert own.any()
        moved = surface.displacements[own]
        assert np.median(moved) == pytest.approx(correction.offset, abs=2e-5)
    # Upright walls alone move: faces of no feature stay where they were.
    level = (rises > 0.99) & (surface.owners < 0)
    assert np.abs(surface.displacements[level]).max() < 1e-5


def test_a_plan_shows_the_offsets_planned():
    found, wanted, _ = made(meshcomp.demo_part("shaft_spacer"), bore_opening=0.2)
    surface = surface_of(found, wanted, None)
    assert np.unique(surface.displacements[surface.owners == 0]).tolist() == [
        pytest.approx(-0.1)
    ]
    assert len(surface.faces) == surface.triangles == found.solid.triangles


def test_a_large_part_is_thinned_out_within_the_tolerance_it_tells():
    found, wanted, result = made(
        meshcomp.demo_part("lobed_disc"), wall_growth=-0.05, bore_opening=0.2
    )
    whole = surface_of(found, wanted, result)
    few = surface_of(found, wanted, result, most=len(whole.faces) // 2)
    assert len(few.faces) <= len(whole.faces) // 2
    assert few.triangles == len(whole.faces)
    assert 0 < few.strayed < 0.1
    assert set(np.unique(few.owners)) == set(np.unique(whole.owners))
    for index, correction in enumerate(wanted.corrections):
        moved = few.displacements[few.owners == index]
        assert np.median(moved) == pytest.approx(correction.offset, abs=2e-3)
    # Volumes by the divergence theorem: thinning moves no more than it says.
    before = Mesh(whole.vertices, whole.faces)
    after = Mesh(few.vertices, few.faces)
    area = np.linalg.norm(before.area_vectors, axis=1).sum()
    assert abs(after.volume - before.volume) < area * few.strayed


def unpacked(field):
    kinds = {"u2": "<u2", "u4": "<u4", "i2": "<i2"}
    return np.frombuffer(base64.b64decode(field["data"]), kinds[field["kind"]])


def test_the_data_in_the_page_give_the_surface_back():
    whole = records.record()
    surface = whole.surface
    text = record_html(whole)
    raw = re.search(r'<script type="application/json" id="surface">(.*?)</script>', text)[1]
    data = json.loads(raw)
    places = unpacked(data["vertices"]).reshape(-1, 3) * data["step"] + data["origin"]
    # 60 mm in 65,535 steps.
    assert np.abs(places - surface.vertices).max() <= 60 / 65_535
    assert (unpacked(data["faces"]).reshape(-1, 3) == surface.faces).all()
    assert (unpacked(data["owners"]).astype(int) - 1 == surface.owners).all()
    moved = unpacked(data["displacements"]).reshape(-1, 3) * data["displacement_step"]
    assert np.abs(moved - surface.displacements).max() < 1e-5
    assert [f["id"] for f in data["features"]] == [
        c.feature_id for c in whole.plan.corrections
    ]


def test_a_part_of_50_000_triangles_makes_a_page_below_5_mb():
    seen = records.inspection(records.many_bores(60))
    whole = records.record(inspection=seen, bores=records.many_bores(60))
    mesh = seen.part.mesh.to_trimesh()
    while len(mesh.faces) < 50_000:
        mesh = mesh.subdivide()
    faces = np.asarray(mesh.faces[:50_000])
    surface = replace(
        whole.surface,
        vertices=np.asarray(mesh.vertices),
        faces=faces,
        displacements=np.zeros((50_000, 3)),
        owners=np.zeros(50_000, np.int64),
    )
    assert len(record_html(replace(whole, surface=surface)).encode()) < 5_000_000


def test_the_report_of_50_000_triangles_takes_less_than_3_seconds_more(tmp_path):
    mesh = meshcomp.demo_part("lobed_disc").mesh
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(mesh.vertices.copy(), mesh.faces.astype(np.uint64))
    )
    fine = solid.refine_to_length(0.88).to_mesh64()
    assert len(fine.tri_verts) > 50_000
    path = tmp_path / "disc.stl"
    trimesh.Trimesh(fine.vert_properties, fine.tri_verts).export(path)
    readings = [*bores(), *(reading("outside x", x, 0.1) for x in (10.0, 40.0, 80.0))]
    calibration = estimate_calibration(readings, conditions=CONDITIONS)
    rule = Calibrated(model=calibration.model)
    found = meshcomp.inspect(meshcomp.read(path, up="+Z"))
    wanted = meshcomp.plan(found, rule)
    # Of the processor: what others do on the machine meanwhile does not count.
    start = time.process_time()
    whole = replace(
        records.record(),
        inspection=found,
        plan=wanted,
        verification=None,
        surface=surface_of(found, wanted, None),
        views=plan_views(found, wanted, None),
        offers=offers_for(found, rule),
    )
    text = record_html(whole, calibration)
    assert time.process_time() - start < 3.0
    assert text.count('<figure class="law"') == 2
    assert len(text.encode()) < 5_000_000


def test_the_scale_is_round_symmetric_and_covers_what_moved():
    surface = records.record().surface
    reach = scale_of(surface)
    assert reach >= np.abs(surface.displacements).max()
    assert reach == 0.12  # half of 0.23 is the largest offset
    assert ticks(reach) == ["+0.12", "+0.06", "0.00", "-0.06", "-0.12"]
    assert ticks(0.025) == ["+0.025", "+0.013", "0.000", "-0.013", "-0.025"]


@pytest.mark.parametrize("kind", ["deuteranomaly", "protanomaly", "tritanomaly"])
def test_colour_blind_people_can_read_the_scale(kind):
    """By colorspacious: CIECAM02-UCS, and the model of Machado and others (2009)."""
    colours = [tuple(int(hex_[i : i + 2], 16) for i in (1, 3, 5)) for hex_ in COLOURS]
    space = {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
    seen = np.clip(cspace_convert(np.array(colours) / 255, space, "sRGB1"), 0, 1)
    light = cspace_convert(seen, "sRGB1", "CAM02-UCS")[:, 0]
    # Lightness falls on both sides of the middle, so that sizes can be ordered.
    assert (np.diff(light[:4]) > 5).all()
    assert (np.diff(light[3:]) < -5).all()
    # The two sides differ at every step: 10 is far more than a just visible difference.
    for step in range(3):
        assert deltaE(seen[step], seen[-1 - step], input_space="sRGB1") > 10


def test_the_script_is_built_from_the_sources_that_lie_here():
    if not SOURCES.exists():
        pytest.skip("the sources of the script are not here")
    digest = hashlib.sha256((SOURCES / "package.json").read_bytes())
    for path in sorted((SOURCES / "src").iterdir()):
        digest.update(path.read_bytes())
    for name in ("kit.min.js", "report.min.js"):
        script = (ASSETS / name).read_text(encoding="utf-8")
        assert f"sources {digest.hexdigest()}" in script, (
            f"{name}: npm run build in meshcomp/reports/viewer"
        )
    licence = (ASSETS / "three.LICENSE.txt").read_text(encoding="utf-8").strip()
    assert licence in script
