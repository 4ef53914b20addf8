"""Kits: what is made, what mates want, what is not done twice, and what goes wrong."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from kit_parts import HEAD, MODELS, mate_entry, part_entry, write_kit
from outside import measure

import meshcomp
from meshcomp.calibration.estimate import estimate_calibration
from meshcomp.calibration.results import Conditions
from meshcomp.kits.making import Workers, make_kit, suggest_mates
from meshcomp.kits.reading import folder_kit, read_kit
from meshcomp.kits.saving import save_kit_reports
from meshcomp.measurements.readings import Instrument, Reading
from meshcomp.workflow import compensate_part

HERE = Workers(count=1)
SPACER = part_entry("spacer")
WHEEL = part_entry("wheel", "indexing_wheel.stl")
PLATE = part_entry("plate", "bearing_plate.stl")
BEARING = mate_entry(bore="plate/bore 22", bought="bearing 608", clearance=[-0.08, 0.08])
SHAFT = mate_entry(bore="spacer/bore-01", bought="8 h9", clearance=[0.05, 0.25])


def made(folder, *entries, head=HEAD, **options):
    return make_kit(
        read_kit(write_kit(folder, *entries, head=head)), workers=HERE, **options
    )


def feature(outcome, part, name):
    (found,) = [p for p in outcome.parts if p.name == part]
    return found.feature(name)


def test_each_part_is_what_it_would_be_by_itself(tmp_path):
    outcome = made(tmp_path, SPACER)
    record = meshcomp.read_calibration(MODELS / "calibration.json")
    rule = meshcomp.Calibrated(
        model=record.model, source=record.conditions.in_words(), sha256=record.sha256
    )
    part = meshcomp.read(tmp_path / "shaft_spacer.stl")
    compensate_part(part, tmp_path / "alone.stl", rule)

    written = (tmp_path / "compensated" / "spacer.stl").read_bytes()
    assert written == (tmp_path / "alone.stl").read_bytes()
    assert outcome.conforms
    assert outcome.parts[0].conforms
    assert not outcome.parts[0].was_there


def test_a_bore_is_aimed_at_the_middle_between_bought_part_and_clearance(tmp_path):
    outcome = made(tmp_path, SPACER, SHAFT)
    bore = feature(outcome, "spacer", "bore-01")
    law = meshcomp.read_calibration(MODELS / "calibration.json").model.laws["bore"]

    # 8 h9 is 0/-0.036 (ISO 286-1): its middle 7.982, and 0.15 above it.
    assert bore.target_size == pytest.approx(8.132)
    assert law.printed_size(bore.mesh_size) == pytest.approx(8.132, abs=1e-5)
    (pair,) = outcome.mates[0].pairs
    assert pair.mean == pytest.approx(0.15, abs=1e-5)
    assert pair.low < 0.15 < pair.high


def test_a_bore_gives_way_to_the_boss_of_another_part(tmp_path):
    mate = mate_entry(bore="wheel/bore 12", boss="spacer/boss-01", clearance=[0.1, 0.3])
    outcome = made(tmp_path, SPACER, WHEEL, mate)

    assert feature(outcome, "wheel", "bore-08").target_size == pytest.approx(12.2)
    assert feature(outcome, "spacer", "boss-01").target_size == pytest.approx(12.0)
    assert outcome.mates[0].worst.mean == pytest.approx(0.2, abs=1e-5)


def test_a_boss_gives_way_when_that_is_asked(tmp_path):
    mate = mate_entry(
        bore="wheel/bore 12", boss="spacer/boss-01", clearance=[0.1, 0.3], aim="boss"
    )
    outcome = made(tmp_path, SPACER, WHEEL, mate)

    assert feature(outcome, "wheel", "bore-08").target_size == pytest.approx(12.0)
    assert feature(outcome, "spacer", "boss-01").target_size == pytest.approx(11.8)


def test_a_fit_aims_both_sides_at_the_middles_of_their_zones(tmp_path):
    mate = mate_entry(bore="wheel/bore 12", boss="spacer/boss-01", fit="12 H11/c11")
    outcome = made(tmp_path, SPACER, WHEEL, mate)

    # ISO 286-1: 12 H11 is +0.110/0, 12 c11 is -0.095/-0.205 (handbook tables).
    assert feature(outcome, "wheel", "bore-08").target_size == pytest.approx(12.055)
    assert feature(outcome, "spacer", "boss-01").target_size == pytest.approx(11.85)


def test_a_word_for_feel_is_what_the_calibration_recorded(tmp_path):
    mate = mate_entry(bore="spacer/bore-01", bought="8 h6", feel="free")
    outcome = made(tmp_path, SPACER, mate)
    record = meshcomp.read_calibration(MODELS / "calibration.json")
    (free,) = [feel for feel in record.feels if feel.word == "free"]

    assert outcome.mates[0].mate.least == free.least
    assert outcome.mates[0].worst.mean == pytest.approx(free.middle, abs=1e-5)

    data = json.loads((MODELS / "calibration.json").read_text(encoding="utf-8"))
    (tmp_path / "calibration.json").write_text(
        json.dumps({**data, "feels": []}), encoding="utf-8"
    )
    with pytest.raises(meshcomp.MeshCompError, match="does not know how free feels"):
        made(tmp_path, SPACER, mate)


def test_a_mate_that_aims_at_nothing_is_only_judged(tmp_path):
    mate = mate_entry(
        bore="wheel/bore 12", boss="spacer/boss-01", clearance=[0.1, 0.3], aim="none"
    )
    outcome = made(tmp_path, SPACER, WHEEL, mate)

    assert feature(outcome, "wheel", "bore-08").target_size == pytest.approx(12.0)
    assert outcome.mates[0].worst.mean == pytest.approx(0.0, abs=1e-5)
    assert not outcome.mates[0].conforms
    assert not outcome.conforms


PLAN = """schema = 1
[[intent]]
pick = "bore-01"
size = 8.3
"""


def test_a_plan_file_says_what_features_are_for_and_goes_before_mates(tmp_path):
    (tmp_path / "spacer.toml").write_text(PLAN, encoding="utf-8")
    spacer = f'{SPACER}\nplan = "spacer.toml"'
    outcome = made(tmp_path, spacer, SHAFT)
    bore = feature(outcome, "spacer", "bore-01")

    assert bore.target_size == 8.3
    assert bore.intent == "8.3 mm in print"
    assert bore.is_fixed
    assert "is aimed at 8.300 mm" in outcome.mates[0].notes[0]

    (tmp_path / "spacer.toml").write_text(PLAN.replace("8.3", "8.2"), encoding="utf-8")
    again = made(tmp_path, spacer, SHAFT)
    assert not again.parts[0].was_there
    assert feature(again, "spacer", "bore-01").target_size == 8.2


def test_an_intent_that_is_not_met_surely_enough_falls_short(tmp_path):
    (tmp_path / "spacer.toml").write_text(
        PLAN.replace("size = 8.3", 'tolerance = "H7"'), encoding="utf-8"
    )
    outcome = made(tmp_path, f'{SPACER}\nplan = "spacer.toml"')

    assert not outcome.conforms
    assert "of 100 prints meet it, 95 are asked" in (
        feature(outcome, "spacer", "bore-01").shortfall
    )


def test_a_plan_that_cannot_be_used_fails_its_part_only(tmp_path):
    (tmp_path / "spacer.toml").write_text("schema = 2\n", encoding="utf-8")
    outcome = made(tmp_path, f'{SPACER}\nplan = "spacer.toml"', PLATE)

    assert "spacer.toml, line 1" in outcome.failed[0].error
    assert outcome.parts[1].conforms


def test_what_a_mate_is_for_stands_in_the_part_s_report(tmp_path):
    outcome = made(tmp_path, SPACER, SHAFT.replace("[[mate]]", '[[mate]]\nname = "axle"'))
    report = json.loads(
        (tmp_path / "compensated" / "spacer.stl.report.json").read_text(encoding="utf-8")
    )

    assert feature(outcome, "spacer", "bore-01").intent == "mate 'axle'"
    assert "mate 'axle'" in json.dumps(report)


DISC = part_entry("disc", "lobed_disc.stl")


def test_a_flank_is_drawn_in_by_the_gap_and_by_half_its_growth(tmp_path):
    mate = mate_entry(flank="disc/profile-01", gap=[0.05, 0.25])
    outcome = made(tmp_path, DISC, mate)
    growth = meshcomp.read_calibration(MODELS / "calibration.json").model.laws["outside x"]
    (pair,) = outcome.mates[0].pairs

    half = growth.coefficients[0] / 2
    assert feature(outcome, "disc", "profile-01").offset == pytest.approx(-half - 0.15)
    assert pair.mean == pytest.approx(0.15)
    # One flank has half of the constant's error, and the scatter of one side of two.
    u = (growth.covariance[0, 0] / 4 + growth.repeatability**2 / 2) ** 0.5
    assert pair.standard_uncertainty == pytest.approx(u)
    assert outcome.conforms


def test_bought_pins_take_from_the_gap_what_they_are_thicker(tmp_path):
    mate = mate_entry(flank="disc/profile-01", bought="dowel 6", gap=[0.05, 0.25])
    outcome = made(tmp_path, DISC, mate)

    # ISO 286-1: 6 m6 is +0.012/+0.004, half of it on each side.
    offset = feature(outcome, "disc", "profile-01").offset
    assert offset == pytest.approx(-0.05 - 0.15 - 0.004)
    assert outcome.mates[0].worst.mean == pytest.approx(0.15)


def test_two_printed_flanks_share_the_gap(tmp_path):
    gear = part_entry("gear", "pinion.stl")
    mate = mate_entry(flank="disc/profile-01", against="gear/profile-*", gap=[0.0, 0.3])
    outcome = made(tmp_path, DISC, gear, mate)
    (pair, *_) = outcome.mates[0].pairs

    assert feature(outcome, "disc", "profile-01").offset == pytest.approx(-0.05 - 0.075)
    assert pair.mean == pytest.approx(0.15)
    assert pair.correlation == pytest.approx(1.0)  # one constant, on both flanks


def test_a_mate_that_would_make_quite_another_size_is_refused(tmp_path):
    mate = mate_entry(bore="spacer/bore-01", bought="bearing 608", clearance=[-0.1, 0.1])
    outcome = made(tmp_path, SPACER, mate)

    assert "bore-01 has 8 mm and would be made 21.99" in outcome.parts[0].error
    assert "is this the feature you mean?" in outcome.parts[0].error


def test_a_later_mate_goes_by_what_a_fit_wants(tmp_path):
    fit = mate_entry(bore="wheel/bore 12", boss="spacer/boss-01", fit="12 H11/c11")
    other = mate_entry(bore="plate/bore 10", boss="spacer/boss-01", clearance=[-3, -1])
    outcome = made(tmp_path, SPACER, WHEEL, PLATE, other, fit)

    assert feature(outcome, "plate", "bore-05").target_size == pytest.approx(11.85 - 2)


@pytest.mark.parametrize(
    ("setting", "target", "mesh"),
    [
        ("target = { bore-01 = 8.3 }", 8.3, None),
        ("set = { bore-01 = 8.25 }", None, 8.25),
        ('keep = ["bore-01"]', None, 8.0),
    ],
)
def test_what_a_part_says_of_a_feature_goes_before_a_mate(tmp_path, setting, target, mesh):
    outcome = made(tmp_path, f"{SPACER}\n{setting}", SHAFT)
    bore = feature(outcome, "spacer", "bore-01")

    if target is not None:
        assert bore.target_size == target
    if mesh is not None:
        assert bore.mesh_size == pytest.approx(mesh, abs=1e-5)
    assert "is aimed at" in outcome.mates[0].notes[0]


def test_the_first_of_two_mates_on_one_feature_decides(tmp_path):
    second = mate_entry(bore="spacer/bore-01", bought="8 h9", clearance=[0.2, 0.3])
    outcome = made(tmp_path, SPACER, SHAFT, second)

    assert feature(outcome, "spacer", "bore-01").target_size == pytest.approx(8.132)
    assert not outcome.mates[0].notes
    (note,) = outcome.mates[1].notes
    assert note == (
        "spacer/bore-01 is aimed at 8.132 mm by its part or an earlier mate, not at "
        "8.232 mm"
    )


def test_pairs_are_counted_by_features_and_quantities(tmp_path):
    dowels = mate_entry(bore="plate/bore 5", bought="dowel 5", clearance=[-0.1, 0.1])
    outcome = made(tmp_path, f"{PLATE}\nquantity = 3", dowels)
    (mate,) = outcome.mates

    assert [pair.internal for pair in mate.pairs] == ["plate/bore-03", "plate/bore-07"]
    assert mate.copies == 6
    one = mate.worst.fits
    # Six pairs share the calibration's error, so they are surer than if they did not.
    assert one**6 < outcome.all_fit < one


def test_unequal_numbers_of_features_cannot_be_paired(tmp_path):
    mate = mate_entry(bore="plate/bore 4.3", boss="wheel/boss-*", least=0)
    outcome = made(tmp_path, PLATE, WHEEL, mate)

    assert "4 internal and 2 external features cannot be paired" in outcome.mates[0].unknown
    assert outcome.all_fit is None
    assert not outcome.conforms


@pytest.mark.parametrize(
    ("mate", "message"),
    [
        (mate_entry(bore="spacer/bore-9", bought="8 h9", least=0), "no feature 'bore-9'"),
        (
            mate_entry(bore="plate/profile-01", bought="8 h9", least=0),
            "plate/profile-01 is a profile and has no size",
        ),
        (
            mate_entry(flank="plate/wall-01", gap=[0.05, 0.1], aim="none"),
            "plate/wall-01 is a wall, no flank",
        ),
    ],
)
def test_a_mate_of_nothing_is_unknown_and_says_why(tmp_path, mate, message):
    outcome = made(tmp_path, SPACER, PLATE, mate)

    assert message in outcome.mates[0].unknown
    assert not outcome.conforms


def test_a_mate_that_aims_at_what_is_not_there_fails_its_part(tmp_path):
    mate = mate_entry(bore="spacer/bore-9", bought="8 h9", clearance=[0, 1])
    outcome = made(tmp_path, SPACER, mate)

    assert "spacer: no feature 'bore-9': it has bore-01 (8 mm)" in outcome.parts[0].error
    assert outcome.mates[0].unknown == "spacer failed"


def test_a_kind_without_calibration_makes_its_mate_unknown(tmp_path):
    data = json.loads((MODELS / "calibration.json").read_text(encoding="utf-8"))
    del data["model"]["laws"]["bore"]
    (tmp_path / "calibration.json").write_text(json.dumps(data), encoding="utf-8")
    outcome = made(tmp_path, SPACER, SHAFT)

    assert "spacer/bore-01: no calibration for bore" in (outcome.mates[0].unknown)


def test_nothing_is_done_twice(tmp_path):
    first = made(tmp_path, SPACER, PLATE, BEARING)
    files = {p: p.stat().st_mtime_ns for p in (tmp_path / "compensated").iterdir()}
    again = made(tmp_path, SPACER, PLATE, BEARING)

    assert [part.was_there for part in first.parts] == [False, False]
    assert [part.was_there for part in again.parts] == [True, True]
    assert {p: p.stat().st_mtime_ns for p in files} == files
    assert again.mates == first.mates
    assert again.all_fit == first.all_fit


def _change_part(folder):
    shutil.copy(MODELS / "knob.stl", folder / "shaft_spacer.stl")


def _change_output(folder):
    (folder / "compensated" / "spacer.stl").write_bytes(b"cut off")


def _lose_report(folder):
    (folder / "compensated" / "spacer.stl.report.html").unlink()


def _spoil_record(folder):
    next((folder / "compensated").glob(".*/spacer.json")).write_text("{", encoding="utf-8")


@pytest.mark.parametrize(
    "change", [_change_part, _change_output, _lose_report, _spoil_record]
)
def test_what_has_changed_is_done_again_and_nothing_else(tmp_path, change):
    made(tmp_path, SPACER, PLATE)
    change(tmp_path)
    again = made(tmp_path, SPACER, PLATE)

    assert [part.was_there for part in again.parts] == [False, True]
    assert all(part.conforms for part in again.parts)


def test_a_changed_wish_or_calibration_is_an_input(tmp_path):
    made(tmp_path, SPACER, PLATE, BEARING)
    kept = made(tmp_path, f'{SPACER}\nkeep = ["boss-01"]', PLATE, BEARING)
    assert [part.was_there for part in kept.parts] == [False, True]

    aimed = made(tmp_path, SPACER, PLATE, BEARING.replace("0.08]", "0.10]"))
    assert [part.was_there for part in aimed.parts] == [False, False]

    record = tmp_path / "calibration.json"
    record.write_text(
        record.read_text(encoding="utf-8").replace("invented spool", "another spool"),
        encoding="utf-8",
    )
    anew = made(tmp_path, SPACER, PLATE, BEARING.replace("0.08]", "0.10]"))
    assert [part.was_there for part in anew.parts] == [False, False]


def test_quantity_and_place_are_no_reason_to_begin_again(tmp_path):
    (tmp_path / "a").mkdir()
    made(tmp_path / "a", SPACER)
    (tmp_path / "a").rename(tmp_path / "b")
    again = made(tmp_path / "b", f"{SPACER}\nquantity = 4")

    (part,) = again.parts
    assert part.was_there
    assert part.quantity == 4
    assert part.written == str(tmp_path / "b" / "compensated" / "spacer.stl")


def test_one_bad_part_does_not_stop_the_others(tmp_path):
    (tmp_path / "bad.stl").write_bytes(b"no mesh")
    seen = []
    outcome = made(
        tmp_path,
        part_entry("bad", "bad.stl"),
        SPACER,
        part_entry("lost", "lost.stl"),
        progress=seen.append,
    )

    assert [part.name for part in outcome.failed] == ["bad", "lost"]
    assert "bad.stl is no STL file" in outcome.failed[0].error
    assert "lost.stl: cannot be read" in outcome.failed[1].error
    assert outcome.parts[1].conforms
    assert sorted(part.name for part in seen) == ["bad", "lost", "spacer"]
    assert not (tmp_path / "compensated" / "bad.stl").exists()


def test_an_error_that_nobody_foresaw_is_that_part_s_own(tmp_path, monkeypatch):
    def fail(*_, **__):
        raise ZeroDivisionError("of a kind")

    monkeypatch.setattr("meshcomp.kits.jobs.inspect", fail)
    outcome = made(tmp_path, SPACER)

    assert "did not foresee (ZeroDivisionError: of a kind" in outcome.failed[0].error
    assert "test_kits.py" in outcome.failed[0].error


def test_parts_can_have_calibrations_of_their_own(tmp_path):
    data = json.loads((MODELS / "calibration.json").read_text(encoding="utf-8"))
    data["model"]["laws"]["boss"]["coefficients"] = [0.2]
    (tmp_path / "other.json").write_text(json.dumps(data), encoding="utf-8")
    mate = mate_entry(bore="wheel/bore 12", boss="spacer/boss-01", clearance=[0.1, 0.3])
    outcome = made(tmp_path, f'{SPACER}\ncalibration = "other.json"', WHEEL, mate)

    boss = feature(outcome, "spacer", "boss-01")
    assert boss.mesh_size == pytest.approx(11.8, abs=1e-5)
    assert outcome.mates[0].worst.mean == pytest.approx(0.2, abs=1e-5)
    assert outcome.mates[0].worst.correlation == 0.0


def test_the_reports_are_written_beside_the_parts(tmp_path):
    paths = save_kit_reports(made(tmp_path, SPACER, SHAFT))

    assert [path.name for path in paths] == [
        "kit.report.html",
        "kit.report.json",
        "kit.features.csv",
        "kit.mates.csv",
    ]
    assert json.loads(paths[1].read_text(encoding="utf-8"))["conforms"] is True


def test_likely_mates_are_near_sizes_of_two_parts(tmp_path):
    for name in ("indexing_wheel", "shaft_spacer", "bearing_plate"):
        shutil.copy(MODELS / f"{name}.stl", tmp_path)
    kit = folder_kit(tmp_path, MODELS / "calibration.json")

    (found,) = suggest_mates(kit, workers=HERE).mates

    assert found.internal.in_words() == "indexing_wheel/bore-08"
    assert found.external.in_words() == "shaft_spacer/boss-01"
    assert (found.internal_size, found.external_size) == pytest.approx((12.0, 12.0))
    assert not list((tmp_path / "compensated").glob("*.stl"))


def test_parts_that_cannot_be_looked_at_are_told_of(tmp_path):
    (tmp_path / "bad.stl").write_bytes(b"no mesh")
    kit = folder_kit(tmp_path, MODELS / "calibration.json")

    found = suggest_mates(kit, workers=HERE)

    assert found.mates == ()
    ((name, error),) = found.failed
    assert name == "bad"
    assert "is no STL file" in error


def test_a_file_in_the_place_of_the_folder_is_told(tmp_path):
    (tmp_path / "compensated").write_text("", encoding="utf-8")
    with pytest.raises(meshcomp.MeshCompError, match="cannot be made a folder"):
        made(tmp_path, SPACER)


def test_a_part_is_never_written_over_its_source(tmp_path):
    path = write_kit(tmp_path, part_entry("shaft_spacer"))
    before = (tmp_path / "shaft_spacer.stl").read_bytes()
    outcome = make_kit(read_kit(path, out=tmp_path), workers=HERE)

    assert "is the file that the part was read from" in outcome.failed[0].error
    assert (tmp_path / "shaft_spacer.stl").read_bytes() == before


def reading(kind, size, value):
    return Reading(
        piece="bench",
        feature_id=f"{kind} {size:g}",
        kind=kind,
        nominal_size=size,
        mesh_size=size,
        values=(value,),
        instrument=Instrument(name="caliper", resolution=0.01, accuracy=0.08),
    )


def one_caliper(folder):
    """Calibrate an invented printer by one caliper, and write the record."""
    rng = np.random.default_rng(4)
    sizes = [2.0, 3.0, 4.0, 5.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 30.0]
    rows = [reading("bore", d, d - 0.1 - 0.4 / d + rng.normal(0, 0.02)) for d in sizes]
    rows += [reading("boss", d, d + 0.06 + rng.normal(0, 0.02)) for d in sizes]
    conditions = Conditions(
        printer="invented", material="invented", nozzle=0.4, layer_height=0.2,
        line_width=0.44,
    )  # fmt: skip
    record = estimate_calibration(rows, conditions=conditions)
    meshcomp.write_calibration(record, folder / "calibration.json")
    return record.model.laws


def printed(rng, law, size, error, share, prints=None):
    """Print one mesh size by 100,000 processes that a law leaves possible: numpy only.

    Once, (n,), or so many times by each process, (prints, n).
    """
    n = len(error)
    scale = np.sqrt(law.degrees_of_freedom / rng.chisquare(law.degrees_of_freedom, n))
    own = np.array(law.covariance)
    own[law.terms.index("constant"), law.terms.index("constant")] -= share**2
    spread = rng.multivariate_normal(np.zeros(len(own)), own, n) * scale[:, None]
    row = [size ** {"scale": 1, "constant": 0, "inverse": -1}[term] for term in law.terms]
    shape = n if prints is None else (prints, n)
    scatter = rng.normal(0, law.repeatability, shape) * scale
    return size + (law.coefficients + spread) @ row + share * error + scatter


def test_a_kit_says_how_often_its_printed_pair_fits(tmp_path):
    """100,000 draws; the written meshes are measured by tests/outside/measure.py.

    One caliper read bores and bosses: what it errs in common does not count in a clearance.
    """
    laws = one_caliper(tmp_path)
    mate = mate_entry(bore="wheel/bore 12", boss="spacer/boss-01", clearance=[0.08, 0.22])
    outcome = made(tmp_path, SPACER, WHEEL, mate)
    (pair,) = outcome.mates[0].pairs

    up, share = (0.0, 0.0, 1.0), 0.08 / np.sqrt(3)
    wheel, spacer = (measure.read_mesh(tmp_path / "compensated" / f"{n}.stl")
                     for n in ("wheel", "spacer"))  # fmt: skip
    bore = measure.bore_circle(wheel, (0, 0, 0), up, 3.0, internal=True).diameter
    boss = measure.bore_circle(spacer, (0, 0, 0), up, 7.0, internal=False).diameter
    rng = np.random.default_rng(6)
    error = rng.normal(0, 1, 100_000)
    gaps = printed(rng, laws["bore"], bore, error, share)
    gaps = gaps - printed(rng, laws["boss"], boss, error, share)

    assert pair.correlation > 0.8
    assert pair.assembles == pytest.approx(np.mean(gaps >= 0.08), abs=0.01)
    assert pair.is_tight == pytest.approx(np.mean(gaps <= 0.22), abs=0.01)
    fits = np.mean((gaps >= 0.08) & (gaps <= 0.22))
    assert pair.fits == pytest.approx(fits, abs=0.01)
    assert np.mean((gaps > pair.low) & (gaps < pair.high)) == pytest.approx(0.95, abs=0.01)
    # Were the two errors taken as apart, the figure would be far off.
    apart = rng.normal(0, 1, 100_000)
    other = printed(rng, laws["bore"], bore, error, share)
    other = other - printed(rng, laws["boss"], boss, apart, share)
    assert fits - np.mean((other >= 0.08) & (other <= 0.22)) > 0.1


@pytest.mark.parametrize(("wheels", "spacers"), [(2, 1), (2, 2), (1, 3)])
def test_copies_of_which_there_are_fewer_go_with_several(tmp_path, wheels, spacers):
    """100,000 kits drawn by numpy: each copy is printed once."""
    laws = one_caliper(tmp_path)
    mate = mate_entry(bore="wheel/bore 12", boss="spacer/boss-01", clearance=[0.10, 0.20])
    outcome = made(
        tmp_path,
        f"{SPACER}\nquantity = {spacers}",
        f"{WHEEL}\nquantity = {wheels}",
        mate,
    )

    rng, share = np.random.default_rng(8), 0.08 / np.sqrt(3)
    error = rng.normal(0, 1, 100_000)
    sizes = {f"{p.name}/{f.id}": f.mesh_size for p in outcome.parts for f in p.features}
    (pair,) = outcome.mates[0].pairs
    bores = printed(rng, laws["bore"], sizes[pair.internal], error, share, wheels)
    bosses = printed(rng, laws["boss"], sizes[pair.external], error, share, spacers)
    number = max(wheels, spacers)
    gaps = np.array([bores[n % wheels] - bosses[n % spacers] for n in range(number)])
    good = ((gaps >= 0.10) & (gaps <= 0.20)).all(axis=0)

    assert outcome.mates[0].copies == number
    assert outcome.all_fit == pytest.approx(np.mean(good), abs=0.01)


def test_part_pages_show_the_calibration_with_its_charts(tmp_path):
    one_caliper(tmp_path)
    outcome = made(tmp_path, SPACER, WHEEL)

    for part in outcome.parts:
        text = Path(part.report).read_text(encoding="utf-8")
        kinds = {f.kind for f in part.features} & {"bore", "boss"}
        assert text.count('class="chart"') == len(kinds) > 0
