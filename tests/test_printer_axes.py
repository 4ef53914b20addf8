"""Scale and skew of the axes: what they draw, and how they are undone.

Source of the diagonals of a sheared square: elementary geometry, the law of cosines in
the two triangles of a rhombus.
"""

from __future__ import annotations

import json
from math import radians, sin, sqrt

import numpy as np
import pytest
from outside import measure
from outside.crossings import crossing_faces
from typer.testing import CliRunner

import meshcomp
from meshcomp.calibration.record import read_calibration
from meshcomp.calibration.specials import skew_of
from meshcomp.cli import app
from meshcomp.corrections import ByHand, Calibrated
from meshcomp.deviations import ProcessModel, SizeLaw, Skew
from meshcomp.errors import UnsoundResultError
from meshcomp.measurements.readings import Instrument, Reading
from meshcomp.meshes import Mesh, concatenate
from meshcomp.printer_axes import PrinterAxes

SIDE = 100.0
FINE = Instrument(name="comparator", resolution=1e-6)
ASKEW = PrinterAxes(scale=(1.002, 0.999, 1.0), skew=0.004)


def law(*, scale=0.0, constant=0.0):
    return SizeLaw(
        terms=("scale", "constant"),
        coefficients=[scale, constant],
        covariance=np.diag([1e-10, 1e-6]),
        repeatability=0.01,
        degrees_of_freedom=8.0,
        valid_from=2.0,
        valid_to=120.0,
    )


MODEL = ProcessModel(
    laws={
        "outside x": law(scale=0.002, constant=0.1),
        "outside y": law(scale=-0.001, constant=0.1),
        "bore": law(scale=0.0005, constant=-0.15),
        "slot": law(scale=0.0005, constant=-0.12),
    },
    skew=Skew(angle=0.004, standard_uncertainty=1e-4),
)


def diagonal(sign, length):
    return Reading(
        piece="square",
        feature_id=f"D{sign}",
        kind=f"diagonal {sign}",
        nominal_size=SIDE * sqrt(2),
        mesh_size=SIDE * sqrt(2),
        values=(length,),
        instrument=FINE,
    )


@pytest.mark.parametrize("degrees", [0.05, 0.2, -0.3])
def test_the_diagonals_of_a_sheared_square_give_its_skew_back(degrees):
    """A rhombus of side L that leans by g has diagonals L sqrt(2) sqrt(1 +- sin g)."""
    g = radians(degrees)
    axes = PrinterAxes(skew=np.tan(g), scale=(1.0, np.cos(g), 1.0))
    corners = axes.drawn([(0, 0, 0), (SIDE, 0, 0), (SIDE, SIDE, 0), (0, SIDE, 0)])
    plus, minus = (np.linalg.norm(corners[i] - corners[j]) for i, j in ((2, 0), (1, 3)))
    assert plus == pytest.approx(SIDE * sqrt(2) * sqrt(1 + sin(g)), abs=1e-9)
    assert minus == pytest.approx(SIDE * sqrt(2) * sqrt(1 - sin(g)), abs=1e-9)
    skew, _ = skew_of([diagonal("+", plus), diagonal("-", minus)], 1e-6, {})
    assert skew.angle == pytest.approx(np.tan(g), rel=1e-4)


def test_undoing_is_the_inverse_of_drawing():
    points = np.random.default_rng(5).uniform(-150, 150, (200, 3))
    axes = PrinterAxes(scale=(1.003, 0.998, 1.001), skew=-0.006, centre=(10.0, -4.0, 2.0))
    assert axes.drawn(axes.undone(points)) == pytest.approx(points, abs=1e-10)


@pytest.mark.parametrize("turn", [0.0, 30.0, 45.0, 90.0, 137.0])
def test_stretches_are_those_of_drawn_planes_and_circles(turn):
    """Measured on points: planes through their corners, an ellipse by its area."""
    normal = np.array([np.cos(radians(turn)), np.sin(radians(turn)), 0.0])
    along = np.array([-normal[1], normal[0], 0.0])
    drawn = np.array([0 * along, 40 * along, 25 * normal])  # two points of one plane
    asked = ASKEW.undone(drawn)
    line = (asked[1] - asked[0]) / np.linalg.norm(asked[1] - asked[0])
    away = asked[2] - asked[0]
    distance = np.linalg.norm(away - (away @ line) * line)
    assert 25 / distance == pytest.approx(ASKEW.stretch_across(normal), rel=1e-12)

    t = np.linspace(0, 2 * np.pi, 4001)
    circle = ASKEW.undone(np.column_stack([11 * np.cos(t), 11 * np.sin(t), 0 * t]))
    x, y = circle[:, 0], circle[:, 1]
    area = abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2
    mean = 2 * sqrt(area / np.pi)
    assert 22 / mean == pytest.approx(ASKEW.stretch_round((0.0, 0.0, 1.0)), rel=1e-5)


def compensated(part, rule):
    found = meshcomp.inspect(part)
    plan = meshcomp.plan(found, rule)
    return found, plan, meshcomp.compensate(found, plan)


def test_a_skewed_machines_plate_comes_out_square():
    """Drawn by the machine, then grown by 0.05 a side: 92 x 70 with right angles."""
    part = meshcomp.demo_part("bearing_plate")
    _, plan, made = compensated(part, Calibrated(model=MODEL))
    printed = plan.axes.drawn(made.part.mesh.vertices)
    low, high = printed.min(axis=0), printed.max(axis=0)
    assert high[0] - low[0] + 0.1 == pytest.approx(92.0, abs=0.002)
    assert high[1] - low[1] + 0.1 == pytest.approx(70.0, abs=0.002)
    # Each long side is straight along its axis, over its whole length.
    for axis, end in ((0, low), (0, high), (1, low), (1, high)):
        side = printed[np.abs(printed[:, axis] - end[axis]) < 0.05]
        assert np.ptp(side[:, axis]) < 0.002


def test_holes_are_drawn_round_and_where_they_belong():
    """The machine's map is applied to the written shape by this test, not the product."""
    part = meshcomp.demo_part("bearing_plate")
    found, plan, made = compensated(part, Calibrated(model=MODEL))
    printed = made.part.mesh.moved(plan.axes.drawn(made.part.mesh.vertices))
    for bore in found.cylinders:
        planned = plan.of(bore.id).drawn_size
        circle = measure.bore_circle(
            printed, bore.point, bore.direction, (bore.start + bore.end) / 2, internal=True
        )
        assert circle.diameter == pytest.approx(planned, abs=0.001)
        assert circle.centre == pytest.approx(bore.point, abs=0.001)
        # Its own law: bores print 0.15 small, and the axes' scale is no longer in it.
        final = circle.diameter / plan.axes.stretch_round(bore.direction)
        assert final * 1.0005 - 0.15 == pytest.approx(bore.nominal_size, abs=0.002)


def test_a_bore_left_alone_still_goes_along():
    part = meshcomp.demo_part("shaft_spacer")
    _, _, made = compensated(part, ByHand(axes=PrinterAxes(scale=(1.01, 1.0, 1.0))))
    before, after = part.mesh.bounds, made.part.mesh.bounds
    assert np.ptp(after[:, 0]) == pytest.approx(np.ptp(before[:, 0]) / 1.01, abs=1e-5)
    assert np.ptp(after[:, 1]) == pytest.approx(np.ptp(before[:, 1]), abs=1e-5)
    assert (after[:, 2] == before[:, 2]).all()


def test_the_proof_undoes_the_axes_and_conforms(tmp_path):
    source, out = tmp_path / "part.stl", tmp_path / "out.stl"
    meshcomp.write(meshcomp.demo_part("indexing_wheel"), source)
    arguments = ["compensate", source, "-o", out, "--up", "+Z", "--bore-opening", "0.2"]
    arguments += ["--axis-scale", "1.002,0.999", "--axis-skew", "4"]
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    assert result.exit_code == 0, result.output
    words = " ".join(result.output.split())
    assert "X too long by 2.00 mm/m, Y too short by 1.00 mm/m" in words
    assert "Y leans towards X by +4.00 mm/m" in words
    report = json.loads((tmp_path / "out.stl.report.json").read_text(encoding="utf-8"))
    axes = report["plan"]["axes"]
    assert axes["skew"] == 0.004
    # The farthest corner of an 86 mm wheel: half of it askew and scaled.
    assert axes["largest_displacement"] == pytest.approx(0.261, abs=0.003)
    written = measure.read_mesh(out)
    assert crossing_faces(written) == 0
    assert np.ptp(written.vertices[:, 0]) != pytest.approx(86.0, abs=0.05)


def test_scales_stay_in_the_sizes_where_axes_are_not_undone():
    found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    plain = meshcomp.plan(found, Calibrated(model=MODEL, undoes_axes=False))
    assert plain.axes is None
    wall = next(f for f in found.features if f.kind == "wall" and abs(f.direction[0]) == 1)
    size = plain.of(wall.id).mesh_size
    assert size * 1.002 + 0.1 == pytest.approx(wall.nominal_size, abs=1e-9)


def test_the_invented_record_has_true_axes():
    from meshcomp.calibration.record import invented_calibration_path

    model = read_calibration(invented_calibration_path()).model
    assert Calibrated(model=model).axes is None


def test_bodies_that_lie_face_to_face_are_sheared_soundly():
    """Two blocks, cut into triangles of different sizes where they meet."""
    blocks = [_block((0, 0, 0), (10, 10, 8)), _block((10, 1.3, 1.7), (19, 8.1, 6.9))]
    found, plan = _askew(blocks)
    result = meshcomp.compensate(found, plan)
    assert crossing_faces(result.part.mesh) == 0
    assert meshcomp.verify(found, result, result.part).conforms
    drawn = plan.axes.drawn(result.part.mesh.vertices)
    between = np.concatenate(
        [drawn[:8, 0][drawn[:8, 0] > 5], drawn[8:, 0][drawn[8:, 0] < 15]]
    )
    # 32 bits tell 1e-6 mm apart there: a few times that is what they may be drawn back.
    assert between == pytest.approx(np.full(8, 10.0), abs=1e-5)
    plainly = np.round(plan.axes.undone(found.part.mesh.vertices).astype(np.float32), 9)
    assert crossing_faces(found.part.mesh.moved(plainly.astype(np.float64))) > 0


def test_bodies_that_touch_along_an_edge_are_not_sheared():
    """Nothing can be drawn back there: the edge of one lies on a face of the other."""
    block, edged = _block((0, 0, 0), (10, 10, 8)), _block((0, 0, 1.7), (3, 3, 6.9))
    turned = edged.vertices @ np.array([[1, 1, 0], [-1, 1, 0], [0, 0, 1.0]])
    edged = edged.moved(turned + [10 - turned[:, 0].min(), 3.3, 0.0])
    found, plan = _askew([block, edged], 0.0043)
    with pytest.raises(UnsoundResultError, match="unite the bodies, or leave the axes"):
        meshcomp.compensate(found, plan)


def _askew(blocks, skew=0.00371):
    part = meshcomp.demo_part("bearing_plate")
    both = part.with_mesh(concatenate(blocks), np.zeros(24, dtype=np.int64))
    found = meshcomp.inspect(both)
    return found, meshcomp.plan(found, ByHand(axes=PrinterAxes(skew=skew)))


def _block(low, high):
    corners = np.array(np.meshgrid(*np.column_stack([low, high]), indexing="ij"))
    quads = [
        (0, 1, 3, 2),
        (4, 6, 7, 5),
        (0, 4, 5, 1),
        (2, 3, 7, 6),
        (0, 2, 6, 4),
        (1, 5, 7, 3),
    ]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return Mesh(corners.reshape(3, -1).T, faces)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--axis-scale", "1.5,1"], "is no scale of an axis"),
        (["--axis-scale", "1.001"], "give X,Y or X,Y,Z"),
        (["--axis-skew", "400"], "axes lean by less than 100 mm/m"),
    ],
)
def test_impossible_axes_are_refused(options, words, tmp_path):
    source = tmp_path / "part.stl"
    meshcomp.write(meshcomp.demo_part("knob"), source)
    result = CliRunner().invoke(app, ["compensate", str(source), *options])
    assert result.exit_code == 1
    assert words in str(result.exception or result.output)
