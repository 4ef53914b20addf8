"""The text for the terminal: complete, 80 columns, and nothing that flatters."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import records

import meshcomp
from meshcomp.compensation.limits import CUT
from meshcomp.inspections import StandCount
from meshcomp.printer_axes import PrinterAxes
from meshcomp.reports import inspection_text, record_text
from meshcomp.reports._rows import rows_of as known_of
from meshcomp.reports._sentences import verdict as verdict_of
from meshcomp.results import Limit

LONG = "cover plate of the filter changer, seventh try, " * 4
HOSTILE = "plate\x1b[31m\n\udcff\t<b>.stl"


def inspections():
    small = records.inspection()
    yield "small", small
    yield "on its side", records.inspection(up="-X")
    yield "many", records.inspection(records.many_bores(60))
    yield "empty", replace(small, features=())
    yield "noted", replace(small, notes=(LONG,), solid=records.solid(is_watertight=False))
    for name in (LONG, HOSTILE):
        source = records.source(path=name, unit="inch", unit_origin="asked for")
        part = records.part(source=source, name=name)
        yield repr(name[:5]), records.inspection(part=part)
    bores = (("b01", -412.5, 377.25, 122.125), ("b02", 1412.5, -377.25, 3.2))
    yield "large", records.inspection(bores)


def askew(record):
    axes = PrinterAxes(scale=(1.0012, 0.9991, 1.0), skew=-0.003)
    return replace(record, plan=replace(record.plan, axes=axes))


def all_records():
    whole = records.record()
    yield "proved", whole
    yield "limited", records.with_limit(whole)
    yield "planned", records.dry_record(by_hand=True)
    yield "not measured", replace(whole, verification=None)
    yield "scaled", askew(whole)
    for name, inspection in inspections():
        yield name, records.record(inspection=inspection)
    yield "named", replace(whole, written=HOSTILE, plan=replace(whole.plan, source=LONG))


def rows_of(text, names):
    """Return the cells of the table rows that begin with these ids."""
    lines = [line.split() for line in text.splitlines()]
    return {cells[0]: cells[1:] for cells in lines if cells and cells[0] in names}


@pytest.mark.parametrize(("name", "inspection"), list(inspections()))
def test_an_inspection_fits_80_columns_and_sends_no_controls(name, inspection):
    lines = inspection_text(inspection).splitlines()
    assert max(len(line) for line in lines) <= 80, name
    assert all(line.isprintable() for line in lines), name


@pytest.mark.parametrize(("name", "record"), list(all_records()))
def test_a_record_fits_80_columns_and_sends_no_controls(name, record):
    lines = record_text(record).splitlines()
    assert max(len(line) for line in lines) <= 80, name
    assert all(line.isprintable() for line in lines), name


def test_an_inspection_lists_size_ends_angle_axis_and_extent_of_each_bore():
    cells = rows_of(inspection_text(records.inspection()), {"b02", "w01"})
    assert cells["b02"] == [
        *("bore", "3.200", "3.193", "48", "through", "0.0"),
        *("+Z", "22.00,", "-12.00", "0.00", "6.00"),
    ]
    assert cells["w01"] == [
        *("wall", "60.000", "-", "-", "-", "-"),
        *("+X", "0.00,", "3.00", "-30.00", "30.00"),
    ]


def test_axes_are_told_in_the_frame_of_the_file():
    cells = rows_of(inspection_text(records.inspection(up="-X")), {"b02"})
    assert cells["b02"][6] == "-X"


def test_an_oblique_axis_is_told_below_the_table():
    small = records.inspection(with_profile=False)
    bore = replace(
        small.features[0], direction=np.array([0.6, 0.0, 0.8]), notes=("cut off",)
    )
    text = inspection_text(replace(small, features=(bore, *small.features[1:])))
    assert rows_of(text, {"b01"})["b01"][6:8] == ["oblique,", "below"]
    assert "b01: axis through (-22.00, -12.00, 3.00) along (0.6000, 0.0000, 0.8000)" in text
    assert "b01: cut off" in text


def test_every_dash_of_an_inspection_has_its_reason():
    text = inspection_text(records.inspection())
    assert "p01: no size, a profile has none of its own" in text
    assert "w01, w02: a wall has no facets, ends or build angle" in text


def test_equal_features_are_put_together_when_there_are_many():
    lines = inspection_text(records.inspection(records.many_bores(60))).splitlines()
    at = lines.index("     b01 to b60")
    assert lines[at - 1].split() == ["60", "bore", "3.200", "3.193", "48", "through", "0.0"]


def test_features_that_differ_stay_apart_when_there_are_many():
    bores = [*records.many_bores(30)]
    bores[4] = (*bores[4][:3], 4.0)
    lines = inspection_text(records.inspection(tuple(bores))).splitlines()
    assert "     b01 to b04, b06 to b30" in lines
    assert "     b05" in lines


def test_a_better_stand_is_proposed_with_what_it_would_do():
    stands = (
        StandCount(up="+Z", standing=1, lying=3, leaning=0),
        StandCount(up="+X", standing=3, lying=1, leaning=0),
    )
    text = inspection_text(records.inspection(stands=stands))
    assert "+Z is up on the bed (assumed; say --up if it is not)." in text
    assert "Bores so placed: 1 standing, 3 lying, 0 leaning." in text
    assert "With +X up: 3 standing, 1 lying, 0 leaning (--up +X)." in text


def test_the_next_step_repeats_the_options_that_were_given():
    source = records.source(
        path="my plate.stl", unit="inch", unit_origin="asked for", questions=()
    )
    part = records.part(up="-Y", source=source)
    last = inspection_text(records.inspection(part=part)).splitlines()[-1]
    assert last == (
        "next: meshcomp compensate 'my plate.stl' -c CALIBRATION.json --up -Y --unit inch"
    )


def test_an_open_solid_is_called_so():
    text = inspection_text(records.inspection(solid=records.solid(is_watertight=False)))
    assert "Solid: NOT closed, 1 body, genus 4" in text


def test_a_record_lists_nominal_predicted_correction_offset_planned_and_achieved():
    cells = rows_of(record_text(records.record()), {"b01", "b03", "p01", "w01"})
    assert cells["b01"] == [
        *("bore", "3.200", "-0.230", "+0.230", "-0.115", "3.430", "3.430", "changed")
    ]
    assert cells["b03"][3:] == ["0.000", "0.000", "3.200", "3.200", "left", "alone"]
    assert cells["p01"] == ["profile", "-", "-", "-", "-0.060", "-", "-", "changed"]
    assert cells["w01"][3] == "-0.120"


def test_every_dash_of_a_record_has_its_reason():
    text = record_text(records.dry_record(by_hand=True))
    assert "b01 to b04, w01, w02: no predicted deviation: no calibration was given" in text
    assert "b01 to b04, p01, w01, w02: no achieved size: nothing was written" in text
    assert "p01: no sizes: a profile has none of its own" in text


def test_the_verdict_of_a_proved_record_says_what_changed_and_by_how_much():
    text = " ".join(record_text(records.record()).split())
    assert (
        "PROVED. 3 bores were changed in size by +0.230 mm and 2 walls by -0.120 mm; "
        "1 profile was moved by -0.060 mm per side. All 7 sizes measured again in the "
        "written file are as planned, and all 3 checks passed." in text
    )
    assert "Size compensation in the slicer must be off" in text


def test_a_limited_feature_is_not_counted_as_changed():
    text = " ".join(record_text(records.with_limit(records.record())).split())
    assert "HELD BACK IN PLACES. 2 bores were changed in size by +0.230 mm" in text
    assert "b01: offset -0.058 instead of -0.115 mm at (-20.40, -12.00, 0.00)" in text
    assert "PROVED" not in text


def test_bores_cut_to_size_have_their_size_and_are_told_of_together():
    whole = records.record()
    limits = tuple(
        Limit(feature_id=name, wanted=-0.115, used=-0.115, place=(0, 0, 0), reason=CUT)
        for name in ("b01", "b02", "b03")
    )
    text = " ".join(record_text(replace(whole, limits=limits)).split())
    assert (
        "HELD BACK IN PLACES. 3 bores were changed in size by +0.230 mm and 2 walls by "
        "-0.120 mm; 1 profile was moved by -0.060 mm per side. But 3 features could only "
        "be made with less than was wanted of their facets, or of what lies beside them: "
        "every size was measured again in the written file and is as planned."
    ) in text
    assert "b01 to b03: offset as wanted, but faces would cross: cut to size" in text
    assert "limited" not in text


def test_a_size_that_misses_by_little_is_shown_to_miss():
    whole = records.record()
    sizes = tuple(
        replace(size, conforms=False, achieved=size.planned + 0.00204)
        if size.feature_id == "b01"
        else size
        for size in whole.verification.sizes
    )
    missed = replace(whole, verification=replace(whole.verification, sizes=sizes))
    text = record_text(missed)
    cells = rows_of(text, {"b01"})["b01"]
    assert cells[-3:] == ["3.4300", "3.4321", "DIFFERS"]
    assert "NOT PROVED. 3 bores were to be changed" in text
    assert "b01: circle or planes, cut again" in text


def test_a_plan_proves_nothing():
    text = " ".join(record_text(records.dry_record()).split())
    assert "PLAN ONLY. 3 bores would be changed in size by +0.230 mm" in text
    assert "Nothing was written, so nothing is proved." in text


def test_a_part_without_features_says_so():
    inspection = replace(records.inspection(), features=())
    text = record_text(records.record(inspection=inspection))
    assert "No features of size found: nothing to correct." in text
    assert "Nothing was changed: no feature was found." in text


def test_a_table_of_usual_features_is_one_table():
    named = []
    for number, feature in enumerate(records.inspection().features):
        name = f"{feature.kind}-{number + 1:02d}"
        # As wide as usual: a part of 200 mm that lies off the origin.
        moved = replace(feature, id=name, point=feature.point - (100.0, 100.0, 0.0))
        named.append(moved)
    lines = inspection_text(replace(records.inspection(), features=tuple(named)))
    heads = [line for line in lines.splitlines() if line.startswith("id ")]
    assert len(heads) == 1
    assert heads[0].split()[-2:] == ["from", "to"]


def test_errors_of_the_axes_are_told_with_the_largest_displacement():
    text = " ".join(record_text(askew(records.record())).split())
    assert "X too long by 1.20 mm/m, Y too short by 0.90 mm/m" in text
    assert "Y leans towards X by -3.00 mm/m" in text
    assert "largest displacement is 0." in text


def test_a_distance_whose_wall_was_held_back_is_limited_too(tmp_path):
    """It has no walls of its own, so what holds those back holds it back."""
    bracket = meshcomp.demo_part("stepper_bracket")
    rule = meshcomp.ByHand(wall_growth=-0.05)
    whole = meshcomp.compensate_part(bracket, tmp_path / "bracket.stl", rule)
    owner = next(f for f in whole.inspection.features if f.id == "distance-01").between[0]
    off = tuple(
        replace(size, conforms=size.feature_id not in {"distance-01", owner})
        for size in whole.verification.sizes
    )
    held = Limit(
        feature_id=owner, wanted=-0.05, used=0.0, place=(0.0, 0.0, 0.0), reason="held"
    )
    proof = replace(whole.verification, sizes=off)

    limited = replace(whole, verification=proof, limits=(held,))
    states = {row.correction.feature_id: row.state for row in known_of(limited)}
    assert (states["distance-01"], states[owner]) == ("limited", "limited")
    assert verdict_of(limited).state == "limited"
    assert verdict_of(replace(limited, limits=())).state == "not proved"
