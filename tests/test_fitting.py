"""The verb fit and its words."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

import meshcomp
from meshcomp.calibration.record import invented_calibration_path
from meshcomp.cli import app
from meshcomp.deviations import ProcessModel, SizeLaw
from meshcomp.errors import OptionError
from meshcomp.measurements.readings import Instrument, Reading
from meshcomp.reports.fitting import fit_json, fit_text

RECORD = str(invented_calibration_path())


@pytest.fixture(scope="module")
def model() -> ProcessModel:
    return meshcomp.read_calibration(RECORD).model


def _run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["fit", *arguments])
    return result.exit_code, result.output


def test_a_fit_is_told_without_a_calibration():
    code, text = _run("25 H7/p6")

    assert code == 0
    # 25 H7/p6: interference 1 to 35 um, as printed in a public package's description.
    assert "25 H7/p6: interference fit, clearance from -35 to -1 µm" in text
    assert "Printed" not in text


def test_a_class_is_judged_by_the_calibration(model: ProcessModel):
    study = meshcomp.fit("22 H7", model)
    text = " ".join(fit_text(study, "a bench").split())

    (found,) = study.capabilities
    assert found.kind == "bore"
    assert "H7 at 22 mm is 21 µm wide" in text
    assert f"({int(100 * found.probability)} %)" in text
    assert "3 prints in 10 are inside" in text
    assert "H11 is what you can hold" in text
    assert max(len(line) for line in fit_text(study, "a bench").splitlines()) <= 80


def test_a_fit_of_two_prints_says_how_often_the_pair_is_as_asked(model: ProcessModel):
    study = meshcomp.fit("8 H11/c11", model)

    assert [found.kind for found in study.capabilities] == ["bore", "boss"]
    # A pair is within the fit's clearances more often than both are within their limits.
    both = study.capabilities[0].probability * study.capabilities[1].probability
    assert both < study.pair_probability <= 1
    assert "pairs in 100 are as the fit asks" in fit_text(study)


def test_a_shaft_prints_as_a_boss_unless_told(model: ProcessModel):
    assert meshcomp.fit("8 h9", model).capabilities[0].kind == "boss"
    assert meshcomp.fit("8 h9", model, kind="outside x").capabilities[0].kind == "outside x"
    assert meshcomp.fit("8 H9", model, kind="slot").capabilities[0].kind == "slot"


def test_the_error_of_one_caliper_cancels_in_a_pair():
    """Both sides read with it: 0.05/root 3 mm in each law, and none in the clearance."""
    common = 0.05**2 / 3

    def law(sign: float) -> SizeLaw:
        return SizeLaw(
            terms=("constant",),
            coefficients=[sign * 0.1],
            covariance=[[1e-6 + common]],
            repeatability=0.01,
            degrees_of_freedom=1e6,
            valid_from=2.0,
            valid_to=30.0,
        )

    caliper = Instrument(name="caliper", resolution=0.01, accuracy=0.05)
    readings = [
        Reading(
            piece="p",
            feature_id=kind,
            kind=kind,
            nominal_size=8.0,
            mesh_size=8.0,
            values=(8.0,),
            instrument=caliper,
        )
        for kind in ("bore", "boss")
    ]
    model = ProcessModel(laws={"bore": law(-1.0), "boss": law(1.0)})
    alone = meshcomp.fit("8 H11/h11", model)
    shared = meshcomp.fit("8 H11/h11", model, readings=readings)

    own = 2 * (0.01**2 + 1e-6)
    assert shared.pair.standard_uncertainty == pytest.approx(own**0.5, rel=1e-3)
    assert alone.pair.standard_uncertainty == pytest.approx(
        (own + 2 * common) ** 0.5, rel=1e-3
    )


@pytest.mark.parametrize(
    ("text", "kind", "message"),
    [
        ("22 +0.1/-0.1", None, "may be of a hole or a shaft: say which, with --kind"),
        ("22 H7", "boss", "22 H7 is of holes, and a boss is none: take bore or lying"),
        ("22 h7", "slot", "22 h7 is of shafts, and a slot is none: take boss or outside"),
        ("22 H7", "peg", "no kind 'peg': kinds are bore"),
        ("8 H7/p6", "bore", "leave --kind out"),
    ],
)
def test_kinds_that_do_not_go_with_it_are_refused(
    text: str, kind: str | None, message: str, model: ProcessModel
):
    with pytest.raises(OptionError, match=message):
        meshcomp.fit(text, model, kind=kind)


def test_a_kind_that_was_not_measured_is_told(model: ProcessModel):
    bores = ProcessModel(laws={"bore": model.laws["bore"]})

    study = meshcomp.fit("8 H7/p6", bores)

    assert study.capabilities == ()
    assert study.notes == (
        "the calibration has no law for boss (it has: bore): measure some first",
    )
    assert "no law for boss" in fit_text(study)
    assert meshcomp.fit("8 h9", bores).capabilities == ()


def test_the_json_holds_what_the_text_says(model: ProcessModel):
    study = meshcomp.fit("8 H7/p6", model)
    data = json.loads(json.dumps(fit_json(study, "a bench"), allow_nan=False))

    assert data["fit"]["least_clearance"] == -0.024
    assert data["capabilities"][0]["probability"] == study.capabilities[0].probability
    assert data["capabilities"][0]["holds"]["name"] == study.capabilities[0].holds.name
    assert data["pair"]["probability"] == study.pair_probability
    assert [zone["name"] for zone in data["zones"]] == ["H7", "p6"]


def test_the_command_reads_a_calibration():
    code, text = _run("22 H7", "-c", RECORD)

    assert code == 0
    assert "(invented example)" in text
    assert "H11 is what you can hold" in " ".join(text.split())


def test_the_command_speaks_json():
    code, text = _run("22 +0.1/-0.1", "-c", RECORD, "--kind", "bore", "--json")

    assert code == 0
    assert json.loads(text)["capabilities"][0]["kind"] == "bore"


def test_the_command_refuses_what_it_cannot_read(tmp_path: Path):
    result = CliRunner().invoke(app, ["fit", "22 Q7"])
    gone = CliRunner().invoke(app, ["fit", "22 H7", "-c", str(tmp_path / "gone.json")])

    assert isinstance(result.exception, OptionError)
    assert "no tolerance class Q7" in str(result.exception)
    assert "cannot be read" in str(gone.exception)
