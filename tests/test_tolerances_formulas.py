"""The tables of limits and fits against the formulas that they were made from.

Source: ISO 286-1:1988, annex A, from memory; its tables are these formulas rounded to
steps that grow with the size, and adjusted by hand in the smallest sizes.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from math import sqrt

import pytest

from meshcomp.errors import OptionError
from meshcomp.tolerances import (
    SHAFTS,
    Fit,
    fundamental_deviation,
    standard_tolerance,
    zone,
)
from meshcomp.tolerances.steps import FINE_STEPS, MAIN_STEPS

FACTORS = {5: 7, 6: 10, 7: 16, 8: 25, 9: 40, 10: 64, 11: 100, 12: 160, 13: 250}
FACTORS |= {14: 400, 15: 640, 16: 1000, 17: 1600, 18: 2500}


def _mean(upper: float, steps: tuple[int, ...]) -> float:
    """Return the geometric mean of the step that ends at an upper limit, mm."""
    lower = ((1, *steps)[steps.index(upper)]) if upper != steps[0] else 1
    return sqrt(lower * upper)


@pytest.mark.parametrize("grade", FACTORS)
def test_standard_tolerances_are_multiples_of_the_factor(grade: int):
    for upper in MAIN_STEPS:
        mean = _mean(upper, MAIN_STEPS)
        formula = FACTORS[grade] * (0.45 * mean ** (1 / 3) + 0.001 * mean)

        # 8.67 was rounded to 10 for IT7 of the first step: the largest adjustment.
        limit = {3: 0.16, 6: 0.10, 18: 0.06}.get(upper, 0.05)
        assert standard_tolerance(upper, grade) == pytest.approx(formula, rel=limit)


def test_the_finest_grades_follow_straight_lines():
    for upper in MAIN_STEPS:
        mean = _mean(upper, MAIN_STEPS)
        for grade, (a, b) in {
            "01": (0.3, 0.008),
            "0": (0.5, 0.012),
            "1": (0.8, 0.02),
        }.items():
            assert standard_tolerance(upper, grade) == pytest.approx(
                a + b * mean, rel=0.19, abs=0.25
            )


def test_grades_between_1_and_5_grow_geometrically():
    for upper in MAIN_STEPS:
        first, last = standard_tolerance(upper, 1), standard_tolerance(upper, 5)
        for grade in (2, 3, 4):
            formula = first * (last / first) ** ((grade - 1) / 4)
            assert standard_tolerance(upper, grade) == pytest.approx(
                formula, rel=0.13, abs=0.7
            )


Formula = Callable[[float, Callable[[int], float]], float]
FORMULAS: dict[str, Formula] = {
    "a": lambda d, _: -(265 + 1.3 * d if d <= 120 else 3.5 * d),
    "b": lambda d, _: -(140 + 0.85 * d if d <= 160 else 1.8 * d),
    "c": lambda d, _: -(52 * d**0.2 if d <= 40 else 95 + 0.8 * d),
    "d": lambda d, _: -16 * d**0.44,
    "e": lambda d, _: -11 * d**0.41,
    "f": lambda d, _: -5.5 * d**0.41,
    "g": lambda d, _: -2.5 * d**0.34,
    "m": lambda _, it: it(7) - it(6),
    "n": lambda d, _: 5 * d**0.34,
    "p": lambda _, it: it(7) + 2,
    "s": lambda d, it: it(8) + 2 if d <= 50 else it(7) + 0.4 * d,
    "t": lambda d, it: it(7) + 0.63 * d,
    "u": lambda d, it: it(7) + d,
    "v": lambda d, it: it(7) + 1.25 * d,
    "x": lambda d, it: it(7) + 1.6 * d,
    "y": lambda d, it: it(7) + 2 * d,
    "z": lambda d, it: it(7) + 2.5 * d,
    "za": lambda d, it: it(8) + 3.15 * d,
    "zb": lambda d, it: it(9) + 4 * d,
    "zc": lambda d, it: it(10) + 5 * d,
}


@pytest.mark.parametrize("letter", FORMULAS)
def test_deviations_follow_the_formulas(letter: str):
    fine = letter in "abc" or letter >= "r"
    steps = FINE_STEPS if fine else MAIN_STEPS
    # Small steps of r to zc, and of c, were set by hand to differ enough.
    begin = {"c": 40}.get(letter, 10 if letter >= "r" else 3)
    for upper in (each for each in steps if each > begin):

        def tolerance(grade: int, size: float = upper) -> float:
            return standard_tolerance(size, grade)

        try:
            value = fundamental_deviation(upper, letter, 6)
        except OptionError:
            continue  # a step that has no such class
        formula = FORMULAS[letter](_mean(upper, steps), tolerance)
        assert value == pytest.approx(formula, rel=0.052, abs=4), upper


def test_r_is_the_geometric_mean_of_p_and_s():
    for upper in FINE_STEPS:
        p, r, s = (fundamental_deviation(upper, letter, 6) for letter in "prs")
        assert r == pytest.approx(sqrt(p * s), abs=3)


@pytest.mark.parametrize(
    ("letter", "one", "other"), [("cd", "c", "d"), ("ef", "e", "f"), ("fg", "f", "g")]
)
def test_doubled_letters_are_geometric_means(letter: str, one: str, other: str):
    for size in (3, 6, 10):
        a, b = (fundamental_deviation(size, name, 6) for name in (one, other))
        assert fundamental_deviation(size, letter, 6) == pytest.approx(-sqrt(a * b), abs=1)


@pytest.mark.parametrize("size", [2, 5, 8, 13, 17, 22, 28, 35, 45, 90, 150, 270, 480])
def test_each_letter_lies_higher_than_the_one_before(size: float):
    values = []
    for letter in SHAFTS:
        if letter in {"j", "js"}:
            continue
        try:
            values.append(fundamental_deviation(size, letter, 6))
        except OptionError:
            continue

    assert values == sorted(values)
    assert len(values) > 15


@pytest.mark.parametrize("size", [5, 8, 22, 40, 90, 300, 480])
@pytest.mark.parametrize(
    ("hole", "shaft", "grade"), [("K", "k", 7), ("N", "n", 8), ("P", "p", 7), ("S", "s", 6)]
)
def test_delta_makes_hole_and_shaft_based_fits_alike(
    size: float, hole: str, shaft: str, grade: int
):
    """H7/p6 has the play of P7/h6: what the delta rule is for (ISO 286-1, 1988, 6.3)."""
    by_hole = Fit(hole=zone(size, f"H{grade}"), shaft=zone(size, f"{shaft}{grade - 1}"))
    by_shaft = Fit(hole=zone(size, f"{hole}{grade}"), shaft=zone(size, f"h{grade - 1}"))

    assert by_hole.most_clearance == by_shaft.most_clearance
    assert by_hole.least_clearance == by_shaft.least_clearance


@pytest.mark.parametrize("letter", [name for name in SHAFTS if name not in {"h", "js"}])
def test_deviations_never_shrink_as_sizes_grow(letter: str):
    """Each step's value lies at least as far from zero as the one before."""
    values = []
    for size in FINE_STEPS:
        with contextlib.suppress(OptionError):
            values.append(abs(fundamental_deviation(size, letter, 7)))

    assert values == sorted(values)
    assert len(values) >= 3


@pytest.mark.parametrize("letter", ["t", "u", "v", "x", "y", "z", "za", "zb", "zc"])
def test_deviations_rise_evenly_over_intermediate_steps(letter: str):
    """Per mm of mean size the rise is that of the formula: a digit's slip would show."""
    factor = {"t": 0.63, "u": 1, "v": 1.25, "x": 1.6, "y": 2, "z": 2.5}.get(letter)
    factor = factor or {"za": 3.15, "zb": 4, "zc": 5}[letter]
    base = {"za": 8, "zb": 9, "zc": 10}.get(letter, 7)
    for upper in (u for u in FINE_STEPS if u > 30):
        value = fundamental_deviation(upper, letter, 6)
        rest = value - standard_tolerance(upper, base)
        assert rest / _mean(upper, FINE_STEPS) == pytest.approx(factor, rel=0.06)
