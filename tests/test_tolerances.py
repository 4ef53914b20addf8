"""Limits and fits against values of ISO 286-1 from outside (tests/reference/iso286.py)."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from reference import iso286

from meshcomp.errors import OptionError
from meshcomp.tolerances import (
    Fit,
    fundamental_deviation,
    grade_of_width,
    limit_pair,
    parse_fit,
    parse_zone,
    standard_tolerance,
    zone,
)
from meshcomp.tolerances.letters import limit_deviations


def _rows(table: str) -> Iterator[tuple[str, list[str]]]:
    """Return the first word of each row and the others; rows may run over lines."""
    for match in re.finditer(
        r"^(\S+)((?:[ \t\n]+\S+)*?)(?=\n\S|\n?\Z)", table, re.MULTILINE
    ):
        yield match[1], match[2].split()


def _sizes(upper: float) -> tuple[float, float]:
    """Return sizes at both ends of the step that ends at an upper limit."""
    steps = (0.0, *iso286.STEPS)
    lower = steps[steps.index(upper) - 1]
    return (lower + 1e-6 if lower else 1.1, float(upper))


def _pair(text: str) -> tuple[float, float]:
    upper, lower = text.split("/")
    return float(upper), float(lower)


def test_rows_of_the_reference_are_all_read():
    counts = {
        name: [len(values) for _, values in _rows(getattr(iso286, name))]
        for name in ("GRADES", "SHAFT_DEVIATIONS", "HOLES", "SHAFTS", "PRESSES")
    }

    assert counts["GRADES"] == [10] * 14
    assert counts["SHAFT_DEVIATIONS"] == [10] * 9
    assert counts["HOLES"] == [10] * 31
    assert counts["SHAFTS"] == [10] * 30
    assert counts["PRESSES"] == [4] * 16
    assert [len(v) for _, v in _rows(iso286.BY_FINE_STEP)] == [17, 16, 16, 18]


def test_standard_tolerances_are_those_of_the_table():
    for name, values in _rows(iso286.GRADES):
        for upper, text in zip(iso286.STEPS, values, strict=True):
            for size in _sizes(upper):
                assert standard_tolerance(size, name.removeprefix("IT")) == float(text)


def test_fundamental_deviations_of_shafts_are_those_of_the_table():
    for letter, values in _rows(iso286.SHAFT_DEVIATIONS):
        for upper, text in zip(iso286.STEPS, values, strict=True):
            for size in _sizes(upper):
                assert fundamental_deviation(size, letter, 6) == float(text)


def test_deviations_by_intermediate_steps_are_those_of_the_table():
    for letter, values in _rows(iso286.BY_FINE_STEP):
        before = 1.0
        for upper, um in (entry.split(":") for entry in values):
            for size in (before + 1e-6, float(upper)):
                assert fundamental_deviation(size, letter, 6) == float(um)
            before = float(upper)


@pytest.mark.parametrize("table", [iso286.HOLES, iso286.SHAFTS])
def test_limits_of_classes_are_those_of_the_table(table: str):
    compared = 0
    for name, values in _rows(table):
        letter, grade = re.fullmatch(r"([A-Za-z]+)(\d+)", name).groups()
        for upper, text in zip(iso286.STEPS, values, strict=True):
            if text == "-":  # given by intermediate steps, in PRESSES
                continue
            for size in _sizes(upper):
                assert limit_deviations(size, letter, grade)[::-1] == _pair(text), name
                compared += 1

    assert compared == 2 * (300 if table is iso286.SHAFTS else 302)


def test_press_classes_are_those_of_the_table():
    before = 1.0
    for upper, values in _rows(iso286.PRESSES):
        for size in (before + 1e-6, float(upper)):
            for name, text in zip(("r6", "s6", "R7", "S7"), values, strict=True):
                assert limit_deviations(size, name[0], name[1:])[::-1] == _pair(text)
        before = float(upper)


def test_worked_fits():
    lines = iso286.FITS.splitlines()
    for line in lines:
        size, classes, hole, shaft, most, least, kind = line.split()
        fit = parse_fit(f"{size} {classes}")

        assert (fit.hole.upper_limit, fit.hole.lower_limit) == _pair(hole), line
        assert (fit.shaft.upper_limit, fit.shaft.lower_limit) == _pair(shaft), line
        assert (fit.most_clearance, fit.least_clearance) == (float(most), float(least))
        assert fit.kind == kind, line
    assert len(lines) == 37


# ISO 286-2, from memory: classes outside the reference's sizes and letters.
@pytest.mark.parametrize(
    ("size", "name", "lower", "upper"),
    [
        (300, "H7", 0, 52),
        (400, "K7", -40, 17),
        (300, "M6", -41, -9),  # -11 by the rule: the standard's exception
        (300, "M7", -52, 0),
        (500, "N7", -80, -17),
        (450, "P7", -108, -45),
        (5, "JS13", -90, 90),
        (8, "J7", -7, 8),
        (25, "J6", -5, 8),
        (25, "j6", -4, 9),
        (2, "K9", -25, 0),
        (25, "M9", -60, -8),
        (25, "k9", 0, 52),
        (28, "t6", 41, 54),
        (35, "T7", -64, -39),
        (16, "v6", 39, 50),
        (22, "Y7", -76, -55),
        (8, "cd7", -71, -56),
        (8, "EF8", 18, 40),
        (12, "A11", 290, 400),
        (12, "b11", -260, -150),
        (8, "zc8", 97, 119),
        (8, "ZC7", -106, -91),
    ],
)
def test_classes_beyond_the_common_ones(size: float, name: str, lower: float, upper: float):
    letter, grade = re.fullmatch(r"([A-Za-z]+)(\d+)", name).groups()

    assert limit_deviations(size, letter, grade) == (lower, upper)


def test_a_fit_with_no_clearance_at_most_is_an_interference_fit():
    fit = parse_fit("8 H7/p6")

    assert fit.most_clearance == 0
    assert fit.kind == "interference"


@pytest.mark.parametrize(
    ("text", "limits"),
    [
        ("22 H7", (22.0, 22.021)),
        ("22H7", (22.0, 22.021)),
        ("Ø 22 mm H7", (22.0, 22.021)),
        ("8 p6", (8.015, 8.024)),
        ("4,5 js13", (4.41, 4.59)),
        ("22 +0.02/-0.01", (21.99, 22.02)),
        ("22 -0.01/+0.02", (21.99, 22.02)),
        ("22 +0.02 \u22120.01", (21.99, 22.02)),
        ("22 +0.02/0", (22.0, 22.02)),
        ("22 -0.01 / -0.03", (21.97, 21.99)),
        ("22 ±0.05", (21.95, 22.05)),
        ("22+/-0.05", (21.95, 22.05)),
        ("22 +0.02/-0.01 mm", (21.99, 22.02)),
        ("22 mm +/-0.05 mm", (21.95, 22.05)),
    ],
)
def test_zones_are_read(text: str, limits: tuple[float, float]):
    found = parse_zone(text)

    assert (found.lower_limit, found.upper_limit) == limits


def test_what_a_zone_writes_is_read_as_the_same():
    for found in (zone(22, "H7"), zone(22.5, "js11"), limit_pair(8, -0.01, 0.02)):
        assert parse_zone(found.in_words()).middle == found.middle


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("22", "neither a size with a tolerance class"),
        ("H7", "neither a size with a tolerance class"),
        ("22 Q7", "no tolerance class Q7"),
        ("22 HH7", "no tolerance class HH7"),
        ("22 H19", "no standard tolerance grade IT19"),
        ("0 H7", "above 0 and up to 500 mm, got 0 mm"),
        ("600 H7", "up to 500 mm, got 600 mm"),
        ("22 t6", r"no t6 at 22 mm \(the tables have no value there\)"),
        ("22 cd6", "no cd6 at 22 mm"),
        ("22 j9", "no j9 at 22 mm"),
        ("22 K9", "K ends at grade 8"),
        ("22 P2", "begin at grade 3"),
        ("0.8 A11", "not for sizes up to 1 mm"),
        ("0.8 H14", "IT14 is not for sizes up to 1 mm"),
        ("22 +0.02/+0.02", "both"),
        ("0.1 +0.02/-0.2", "sizes must be above 0 mm"),
    ],
)
def test_what_is_no_zone_is_refused(text: str, message: str):
    with pytest.raises(OptionError, match=message):
        parse_zone(text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("8 p6/H7", "a hole .* first"),
        ("8 H7/H6", "a hole .* first"),
        ("8 H7", "is no fit"),
        ("8 H7/", "'' is no tolerance class"),
    ],
)
def test_what_is_no_fit_is_refused(text: str, message: str):
    with pytest.raises(OptionError, match=message):
        parse_fit(text)


def test_a_fit_of_two_sizes_says_both():
    fit = Fit(hole=zone(8.2, "H7"), shaft=zone(8, "h6"))

    assert fit.in_words() == "8.2 H7 with 8 h6"
    assert fit.least_clearance == pytest.approx(0.2)


def test_the_finest_grade_at_least_so_wide():
    assert grade_of_width(22, 84.0) == "10"
    assert grade_of_width(22, 84.1) == "11"
    assert grade_of_width(22, 0.0) == "01"
    assert grade_of_width(22, 4000.0) is None
    assert grade_of_width(0.9, 200.0) is None  # IT14 and up are not for 1 mm
