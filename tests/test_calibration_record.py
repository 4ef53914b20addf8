from __future__ import annotations

import hashlib
import json

import numpy as np
import pytest

from meshcomp.calibration.record import (
    invented_calibration_path,
    read_calibration,
    write_calibration,
)
from meshcomp.deviations import KINDS
from meshcomp.errors import CalibrationError, PartFileError


@pytest.fixture
def record():
    return json.loads(invented_calibration_path().read_text(encoding="utf-8"))


def _written(record, tmp_path):
    path = tmp_path / "record.json"
    path.write_text(json.dumps(record), encoding="utf-8")
    return path


def test_the_invented_record_has_a_law_of_every_kind_and_is_marked():
    calibration = read_calibration(invented_calibration_path())
    assert sorted(calibration.model.laws) == sorted(KINDS)
    assert calibration.conditions.is_invented
    assert "invented" in calibration.conditions.in_words()


def test_the_digest_is_that_of_the_file():
    path = invented_calibration_path()
    expected = hashlib.sha256(path.read_bytes()).hexdigest()
    assert read_calibration(path).sha256 == expected


def test_a_record_survives_writing_bit_for_bit(tmp_path):
    first = read_calibration(invented_calibration_path())
    write_calibration(first, tmp_path / "again.json")
    again = (tmp_path / "again.json").read_bytes()
    assert again == invented_calibration_path().read_bytes()
    second = read_calibration(tmp_path / "again.json")
    for kind, law in first.model.laws.items():
        assert np.array_equal(second.model.laws[kind].covariance, law.covariance)


def test_nothing_is_left_beside_a_written_record(tmp_path):
    calibration = read_calibration(invented_calibration_path())
    write_calibration(calibration, tmp_path / "c.json")
    assert [p.name for p in tmp_path.iterdir()] == ["c.json"]


def _without_repeatability(record):
    del record["model"]["laws"]["bore"]["repeatability"]


def _text_for_number(record):
    record["model"]["laws"]["bore"]["covariance"][1][0] = "much"


def _other_schema(record):
    record["schema"] = 2


def _misspelt(record):
    record["conditions"]["nozle"] = 0.4


def _negative_eigenvalue(record):
    record["model"]["laws"]["slot"]["covariance"] = [[-1.0]]


def _ragged(record):
    record["model"]["laws"]["slot"]["covariance"] = [[1.0, 2.0]]


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (_without_repeatability, r"model\.laws\.bore\.repeatability: field required"),
        (_text_for_number, r"model\.laws\.bore\.covariance\[1\]\[0\]: .*'much'"),
        (_other_schema, "schema: is 2, this version reads 1"),
        (_misspelt, r"conditions\.nozle: "),
        (_negative_eigenvalue, r"model\.laws\.slot: covariance is no covariance"),
        (_ragged, r"model\.laws\.slot\.covariance: needs 1 numbers in every row"),
    ],
)
def test_a_wrong_record_is_refused_naming_file_and_place(record, tmp_path, spoil, message):
    spoil(record)
    with pytest.raises(CalibrationError, match=rf"record\.json: {message}"):
        read_calibration(_written(record, tmp_path))


def test_a_file_that_is_no_json_is_refused(tmp_path):
    path = tmp_path / "record.json"
    path.write_text("solid\n", encoding="utf-8")
    with pytest.raises(
        CalibrationError, match=r"record\.json: the whole file: invalid JSON"
    ):
        read_calibration(path)


def test_a_missing_record_is_named(tmp_path):
    with pytest.raises(CalibrationError, match=r"none\.json: cannot be read"):
        read_calibration(tmp_path / "none.json")


def test_a_record_that_cannot_be_written_leaves_nothing(tmp_path):
    calibration = read_calibration(invented_calibration_path())
    with pytest.raises(PartFileError, match="cannot be written"):
        write_calibration(calibration, tmp_path / "nowhere" / "c.json")
    assert list(tmp_path.iterdir()) == []
