"""The foot drawn in: outlines against mitred buffers, and nothing above moved by a bit.

Source of the outlines: shapely (GEOS `buffer` with mitred joins), by `outside.plane`. The
process is simulated as the calibration states it: first layers spread by the flare at the
bed, by less in proportion to height, and by nothing from the flare height on.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import shapely
from outside import measure
from outside.crossings import crossing_faces, open_edges
from outside.plane import offset_outline, outline_gap
from shapely.geometry.polygon import orient
from typer.testing import CliRunner

import meshcomp
from meshcomp.cli import app
from meshcomp.compensation.splitting import split_at_height
from meshcomp.corrections import ByHand, Calibrated
from meshcomp.deviations import Flare, ProcessModel
from meshcomp.errors import OptionError
from meshcomp.lying_bores import Roof
from meshcomp.meshes import Mesh
from meshcomp.plans import Foot
from meshcomp.printer_axes import PrinterAxes

UP = (0.0, 0.0, 1.0)
FOOT = Foot(growth=0.12, height=0.4)
FLUSH = 0.005  # mm
SHARED = Path(__file__).parents[2] / "shared" / "data" / "solid"


def outline(mesh, at):
    """Return the rings of a level section of one body: its outer ring, then the holes."""
    rings = [shapely.Polygon(ring[:, :2]) for ring in measure.section(mesh, UP, at)]
    outer, *holes = sorted(rings, key=lambda ring: -ring.area)
    turned = [orient(outer, 1.0), *(orient(hole, -1.0) for hole in holes)]
    return [np.array(ring.exterior.coords)[:-1] for ring in turned]


def made(part, **rule):
    found = meshcomp.inspect(part)
    plan = meshcomp.plan(found, ByHand(**rule))
    return found, meshcomp.compensate(found, plan)


@pytest.mark.parametrize(
    "name", ["bearing_plate", "pinion", "lobed_disc", "indexing_wheel", "knob"]
)
@pytest.mark.parametrize("at", [0.001, 0.2])
def test_layers_spread_flush_with_the_walls_above(name, at):
    """Printed, a layer of the foot spreads to the outline at the flare height."""
    _, result = made(meshcomp.demo_part(name), foot=FOOT)
    mesh = result.part.mesh
    foot = outline(mesh, at)
    # The knob has draft, so that its outline above is that of the same height before.
    above = outline(meshcomp.demo_part(name).mesh, at)
    spread = FOOT.growth * (1 - at / FOOT.height)
    drawn = offset_outline(above, -spread, 0.0)
    assert outline_gap(drawn, foot) < FLUSH


@pytest.mark.parametrize("name", ["bearing_plate", "pinion", "stepper_bracket"])
def test_nothing_above_the_flare_height_moves_by_a_bit(name):
    wanted = {"wall_growth": -0.05, "bore_opening": 0.2}
    _, plain = made(meshcomp.demo_part(name), **wanted)
    _, result = made(meshcomp.demo_part(name), **wanted, foot=FOOT)
    top = np.float32(FOOT.height)
    before, after = (
        {tuple(v) for v in part.part.mesh.vertices.tolist() if v[2] > top}
        for part in (plain, result)
    )
    assert after == before
    low = result.part.mesh.vertices[:, 2]
    assert set(np.unique(low[low <= top]).tolist()) >= {0.0, float(top)}


@pytest.mark.parametrize("name", ["bearing_plate", "indexing_wheel", "pin_ring", "pinion"])
def test_the_result_is_sound_and_proved(name):
    found, result = made(
        meshcomp.demo_part(name), wall_growth=-0.05, bore_opening=0.2, foot=FOOT
    )
    assert crossing_faces(result.part.mesh) == 0
    assert open_edges(result.part.mesh) == 0
    proof = meshcomp.verify(found, result, result.part)
    assert proof.conforms, [c for c in proof.checks if not c.passed]
    assert result.limits == ()


def test_bores_open_only_when_asked():
    part = meshcomp.demo_part("bearing_plate")
    bore = next(f for f in meshcomp.inspect(part).cylinders if f.nominal_size == 22)

    def diameter_at_the_bed(foot):
        _, result = made(part, foot=foot)
        away = [
            np.linalg.norm(r - bore.point[:2], axis=1)
            for r in outline(result.part.mesh, 1e-4)
        ]
        return 2 * next(r.max() for r in away if r.max() < 12 and r.min() > 10)

    assert diameter_at_the_bed(FOOT) == pytest.approx(22.0, abs=0.001)
    opened = Foot(growth=0.12, height=0.4, opens_bores=True)
    assert diameter_at_the_bed(opened) == pytest.approx(22.24, abs=0.003)


def test_a_chamfered_foot_is_left_alone():
    """The spacer has chamfers of 0.6 mm at both ends."""
    part = meshcomp.demo_part("shaft_spacer")
    _, result = made(part, foot=FOOT)
    assert (result.part.mesh.vertices == part.mesh.vertices).all()


def test_a_kept_feature_keeps_its_foot():
    part = meshcomp.demo_part("bearing_plate")
    found = meshcomp.inspect(part)
    walls = tuple(f.id for f in found.features if not f.is_internal)
    plan = meshcomp.plan(found, ByHand(foot=FOOT), keep=walls)
    assert (meshcomp.compensate(found, plan).part.mesh.vertices == part.mesh.vertices).all()


def test_the_calibrated_flare_is_drawn_in():
    flare = Flare(growth=0.1, height=0.6, standard_uncertainty=0.01)
    rule = Calibrated(model=ProcessModel(flare=flare))
    found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    plan = meshcomp.plan(found, rule)
    assert plan.foot == Foot(growth=0.1, height=0.6)
    low, high = meshcomp.compensate(found, plan).part.mesh.bounds
    foot = measure.section(meshcomp.compensate(found, plan).part.mesh, UP, 1e-4)
    assert high[0] - low[0] == pytest.approx(92.0, abs=1e-5)
    assert np.ptp(np.concatenate(foot)[:, 0]) == pytest.approx(91.8, abs=0.001)
    assert (
        meshcomp.plan(found, Calibrated(model=rule.model, draws_in_foot=False)).foot is None
    )


def test_a_foot_as_high_as_the_part_is_refused():
    found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    with pytest.raises(OptionError, match="the foot is 6 mm high and the part 6 mm"):
        meshcomp.plan(found, ByHand(foot=Foot(growth=0.1, height=6.0)))


def box(low, high) -> Mesh:
    corners = np.array(np.meshgrid(*np.column_stack([low, high]), indexing="ij"))
    corners = corners.reshape(3, -1).T
    quads = [
        (0, 1, 3, 2),
        (4, 6, 7, 5),
        (0, 4, 5, 1),
        (2, 3, 7, 6),
        (0, 2, 6, 4),
        (1, 5, 7, 3),
    ]
    return Mesh(corners, [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])


def part_of(mesh):
    none = np.zeros(len(mesh.faces), dtype=np.int64)
    return meshcomp.demo_part("bearing_plate").with_mesh(mesh, none)


def test_a_narrow_rib_is_limited_and_named():
    """A rib of 0.2 mm cannot lose 0.12 mm on both sides."""
    rib = box((0, 0, 0), (20, 0.2, 3))
    assert rib.volume == pytest.approx(12.0)
    _, result = made(part_of(rib), foot=FOOT)
    assert crossing_faces(result.part.mesh) == 0
    assert any("foot" in limit.reason for limit in result.limits)


def test_walls_of_bodies_that_touch_keep_their_foot():
    """Between them nothing can spread; all around, the foot is drawn in."""
    one, other = box((0, 0, 0), (10, 10, 5)), box((10, 2, 0), (25, 8, 5))
    vertices = np.concatenate([one.vertices, other.vertices])
    pair = Mesh(vertices, np.concatenate([one.faces, other.faces + 8]))
    found, result = made(part_of(pair), foot=FOOT)
    proof = meshcomp.verify(found, result, result.part)
    assert [c.name for c in proof.checks if not c.passed] == []
    assert {limit.reason for limit in result.limits} == {
        "another body lies against it, or would"
    }
    at_bed = result.part.mesh.vertices[result.part.mesh.vertices[:, 2] == 0, :2]
    x, y = np.unique(at_bed.round(6), axis=0).T
    assert sorted(set(x)) == pytest.approx([0.12, 10.0, 24.88])
    assert sorted(set(y)) == pytest.approx([0.12, 2.12, 7.88, 9.88])


def test_a_part_that_stands_on_an_edge_has_no_foot_there():
    """Drawn in, the edge would leave the slope on its other side, and drag it along."""
    ends = [(0, 0), (0, 20), (15, 20)]  # y, z: a wall, and a slope over the bed
    vertices = np.array([(x, y, z) for x in (0.0, 30.0) for y, z in ends])
    sides = [
        t for a, b in ((0, 1), (1, 2), (2, 0)) for t in ((a, a + 3, b), (b, a + 3, b + 3))
    ]
    wedge = Mesh(vertices, [(0, 1, 2), (3, 5, 4), *sides])
    if wedge.volume < 0:
        wedge = Mesh(vertices, wedge.faces[:, ::-1])
    assert wedge.volume == pytest.approx(30 * 15 * 20 / 2)
    found, result = made(part_of(wedge), foot=FOOT)
    assert result.part.mesh.volume == pytest.approx(wedge.volume, abs=1e-9)
    assert meshcomp.verify(found, result, result.part).conforms


def test_the_command_tells_of_the_foot(tmp_path):
    source, out = tmp_path / "part.stl", tmp_path / "out.stl"
    meshcomp.write(meshcomp.demo_part("pinion"), source)
    arguments = ["compensate", source, "-o", out, "--up", "+Z", "--flare", "0.115"]
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    assert result.exit_code == 0, result.output
    words = " ".join(result.output.split())
    assert "the foot is drawn in by 0.115 mm a side at the bed" in words
    report = json.loads((tmp_path / "out.stl.report.json").read_text(encoding="utf-8"))
    assert report["plan"]["foot"] == {"growth": 0.115, "height": 0.4, "opens_bores": False}
    too_much = CliRunner().invoke(app, ["compensate", str(source), "--flare", "3"])
    assert too_much.exit_code == 1


def test_cut_faces_are_those_of_the_same_surface():
    part = meshcomp.demo_part("indexing_wheel")
    every = np.ones(len(part.mesh.faces), dtype=bool)
    cut, parents = split_at_height(part.mesh, 3.123, every)
    assert open_edges(cut) == 0
    assert cut.volume == pytest.approx(part.mesh.volume, rel=1e-12)
    z = cut.corners[..., 2]
    assert not ((z.min(axis=1) < 3.122) & (z.max(axis=1) > 3.124)).any()
    areas = np.bincount(parents, np.linalg.norm(cut.area_vectors, axis=1))
    assert areas == pytest.approx(np.linalg.norm(part.mesh.area_vectors, axis=1), abs=1e-9)


@pytest.mark.slow
@pytest.mark.skipif(not SHARED.is_dir(), reason="no meshes of others here")
@pytest.mark.parametrize("name", ["s03", "s10", "s17", "s24", "s33", "s42", "s50"])
def test_real_parts_stay_sound(name):
    part = meshcomp.read(next(SHARED.glob(f"{name}*.stl")), up="+Z")
    found, result = made(part, foot=Foot(growth=0.1, height=0.4))
    assert open_edges(result.part.mesh) == 0
    assert crossing_faces(result.part.mesh) <= crossing_faces(part.mesh)
    proof = meshcomp.verify(found, result, result.part)
    assert all(check.passed for check in proof.checks)


def test_all_steps_together_come_out_as_planned():
    """Offsets, lying roofs, foot and axes on one part, in the order of docs/axes.md."""
    rule = ByHand(
        wall_growth=-0.05,
        bore_opening=0.2,
        foot=FOOT,
        axes=PrinterAxes(scale=(1.002, 0.999, 1.0), skew=0.004),
        roof=Roof(shape="pointed"),
    )
    found = meshcomp.inspect(meshcomp.demo_part("stepper_bracket"))
    result = meshcomp.compensate(found, meshcomp.plan(found, rule))
    proof = meshcomp.verify(found, result, result.part)
    assert proof.conforms, [c for c in proof.checks if not c.passed]
    assert crossing_faces(result.part.mesh) == 0
    drawn = result.plan.axes.drawn(result.part.mesh.vertices)
    at_bed, above = (drawn[np.abs(drawn[:, 2] - z) < 1e-4] for z in (0.0, 0.4))
    # Drawn by the axes, the foot is 0.12 inside the walls, which are 0.05 inside nominal.
    assert np.ptp(above[:, 0]) == pytest.approx(50.0 - 0.1, abs=0.001)
    assert np.ptp(at_bed[:, 0]) == pytest.approx(50.0 - 0.1 - 0.24, abs=0.001)
