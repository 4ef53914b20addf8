"""The JSON objects: what the issue asks for, plain, exact and in the file's frame."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
import records

from meshcomp.reports import inspection_json, record_json
from meshcomp.results import Check
from meshcomp.stands import STANDS


def parsed(report):
    """Write and read as strict JSON (RFC 8259), which knows no NaN and no numpy."""
    return json.loads(json.dumps(report, allow_nan=False))


def test_an_inspection_is_the_object_of_the_documented_form():
    report = inspection_json(records.inspection())
    assert parsed(report) == report
    assert list(report) == [
        *("schema", "part", "solid", "features", "groups", "patterns", "stand"),
        *("layers", "notes"),
    ]
    assert report["schema"] == 1
    assert list(report["solid"]) == [
        *("is_watertight", "bodies", "genus", "volume", "bounds", "triangles")
    ]
    first = report["features"][0]
    assert list(first)[:14] == [
        *("id", "kind", "internal", "nominal_size", "axis", "from", "to"),
        *("is_through", "build_angle", "facets", "size_across_flats"),
        *("span", "form_deviation", "curve_length"),
    ]
    assert first["axis"] == {"point": [-22.0, -12.0, 3.0], "direction": [0.0, 0.0, 1.0]}


def test_the_numbers_of_an_inspection_are_not_rounded():
    report = inspection_json(records.inspection())
    assert report["solid"]["volume"] == 11_974.5123456
    assert report["features"][0]["size_across_flats"] == 3.2 * math.cos(math.pi / 48)


def test_what_a_wall_does_not_have_is_null():
    walls = {f["id"]: f for f in inspection_json(records.inspection())["features"]}
    for key in ("is_through", "build_angle", "facets", "size_across_flats"):
        assert walls["w01"][key] is None
        assert walls["p01"][key] is None
    assert walls["p01"]["nominal_size"] is None
    assert walls["p01"]["curve_length"] == 200.0
    assert (walls["w01"]["from"], walls["w01"]["to"]) == (-30.0, 30.0)


@pytest.mark.parametrize("up", STANDS)
def test_axes_and_ends_fit_the_vertices_of_the_file_whatever_the_stand(up):
    inspection = records.inspection(up=up)
    part = inspection.part
    in_file = part.stand.to_file(part.mesh.vertices)
    report = {f["id"]: f for f in parsed(inspection_json(inspection))["features"]}
    for bore in inspection.cylinders:
        vertices = in_file[np.unique(part.mesh.faces[bore.faces])]
        axis = report[bore.id]["axis"]
        direction = np.array(axis["direction"])
        along = vertices @ direction
        across = vertices - axis["point"]
        across -= np.outer(across @ direction, direction)
        np.testing.assert_allclose(
            np.linalg.norm(across, axis=1), bore.nominal_size / 2, atol=1e-12
        )
        assert (along.min(), along.max()) == (
            report[bore.id]["from"],
            report[bore.id]["to"],
        )


def test_the_stand_is_told_with_what_others_would_make_of_the_bores():
    report = inspection_json(records.inspection())
    assert report["stand"] == {
        "up": "+Z",
        "is_assumed": True,
        "counts": [{"up": "+Z", "standing": 4, "lying": 0, "leaning": 0}],
    }


def test_doubts_about_the_file_and_about_sizes_are_told_once():
    source = records.source(questions=("Is it in inches?", "Is it cut?"))
    part = records.part(source=source)
    report = inspection_json(records.inspection(part=part, notes=("Is it cut?", "31.98?")))
    assert report["notes"] == ["Is it in inches?", "Is it cut?", "31.98?"]


def test_numpy_numbers_and_numbers_that_are_none_become_plain_json():
    solid = records.solid(
        bodies=np.int64(2), volume=np.float64(math.nan), is_watertight=np.bool_(False)
    )
    report = parsed(inspection_json(records.inspection(solid=solid)))["solid"]
    assert (report["bodies"], report["volume"], report["is_watertight"]) == (2, None, False)


def test_a_record_tells_every_feature_with_its_proof():
    whole = records.record()
    report = record_json(whole)
    assert parsed(report) == report
    assert [f["id"] for f in report["features"]] == [
        c.feature_id for c in whole.plan.corrections
    ]
    by_id = {f["id"]: f for f in report["features"]}
    assert by_id["b01"] == {
        "id": "b01",
        "kind": "bore",
        "internal": True,
        "nominal_size": 3.2,
        "predicted_deviation": -0.23,
        "standard_uncertainty": 0.012,
        "target_size": 3.2,
        "mesh_size": 3.2 + 0.23,
        "correction": 3.2 + 0.23 - 3.2,
        "offset": -0.115,
        "achieved_size": 3.2 + 0.23 + 0.0003,
        "conforms": True,
        "how_measured": "circle or planes, cut again",
        "state": "changed",
        "is_left_alone": False,
        "reason": "calibrated: bores that stand",
        "lying": None,
        "flags": [],
        "outlook": None,
    }
    assert by_id["b03"]["state"] == "left alone"
    assert by_id["b03"]["reason"] == "kept: asked for"
    assert by_id["p01"]["correction"] is None


def test_a_record_tells_where_everything_came_from():
    report = record_json(records.record())
    assert report["part"]["sha256"] == "0123456789abcdef" * 4
    assert (report["part"]["unit"], report["part"]["unit_origin"]) == ("mm", "assumed")
    assert report["part"]["stand"] == {"up": "+Z", "is_assumed": True}
    assert report["plan"] == {
        "source": "invented printer, PLA, 0.2 mm layers",
        "calibration_sha256": "fedcba9876543210" * 4,
        "axes": None,
        "foot": None,
    }
    assert report["written"] == {
        "path": "cover-plate.compensated.stl",
        "sha256": "00ff" * 16,
    }
    assert report["version"] == "0.1.0"
    assert report["volume"] == {"change": -174.5123456, "predicted_change": -174.49}
    assert report["solid"]["before"]["triangles"] == 412
    assert report["solid"]["after"]["triangles"] == 812


def test_a_dry_run_has_nothing_written_and_nothing_proved():
    report = record_json(records.dry_record())
    assert parsed(report) == report
    assert report["verdict"]["state"] == "plan only"
    assert (report["checks"], report["written"], report["solid"]["after"]) == (None,) * 3
    assert {f["achieved_size"] for f in report["features"]} == {None}
    assert {f["state"] for f in report["features"]} == {"to change", "left alone"}


def test_limits_are_told_with_their_place():
    report = record_json(records.with_limit(records.record()))
    assert report["limits"] == [
        {
            "id": "b01",
            "wanted_offset": -0.115,
            "used_offset": -0.0575,
            "place": [-20.4, -12.0, 0.0],
            "reason": "the wall to the edge would turn over",
        }
    ]
    assert report["conforms"] is False
    assert report["verdict"]["state"] == "limited"


def test_a_failed_check_is_never_proved():
    whole = records.record()
    failed = Check(name="no crossing faces", passed=False, figure="2 pairs")
    proof = replace(whole.verification, checks=(*whole.verification.checks, failed))
    report = record_json(replace(whole, verification=proof))
    assert report["conforms"] is False
    assert report["verdict"]["state"] == "not proved"
    assert "1 of 4 checks failed" in report["verdict"]["sentence"]


def test_a_size_off_the_plan_is_never_proved_even_when_another_was_limited():
    whole = records.with_limit(records.record(), "b01")
    sizes = tuple(
        replace(size, conforms=size.feature_id not in ("b01", "b02"))
        for size in whole.verification.sizes
    )
    proof = replace(whole.verification, sizes=sizes)
    report = record_json(replace(whole, verification=proof))
    assert report["verdict"]["state"] == "not proved"
    assert "1 of 7 sizes is not as planned" in report["verdict"]["sentence"]


@pytest.mark.parametrize("by_hand", [False, True])
def test_the_cautions_fit_the_source_of_the_corrections(by_hand):
    cautions = record_json(records.record(by_hand=by_hand))["cautions"]
    assert cautions[0].startswith("Size compensation in the slicer must be off")
    assert any("given by hand" in caution for caution in cautions) is by_hand
    assert any("The calibration holds for one" in c for c in cautions) is not by_hand
    assert any("assumed to stand on the bed with +Z up" in c for c in cautions)
    assert any("licensed practice" in caution for caution in cautions)


def test_a_stand_that_was_asked_for_is_not_called_assumed():
    inspection = records.inspection(up="-Y")
    cautions = record_json(records.record(inspection=inspection))["cautions"]
    assert not any("assumed" in caution for caution in cautions)
