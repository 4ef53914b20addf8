"""Laws given as text are arithmetic in d, and nothing else gets through.

Outside reference for the values: Python's own arithmetic.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshcomp._laws import parse_law
from meshcomp.errors import OptionError

D = 9.0
VALUES = {
    "0.12 + 0.45/d": 0.12 + 0.45 / D,
    "0.2": 0.2,
    "-d": -D,
    "+d": D,
    "2*d - 1": 2 * D - 1,
    "d**2": D**2,
    "d^2": D**2,
    "(1 + d) / 4": (1 + D) / 4,
    "sqrt(d)": 3.0,
    "log(d)": math.log(D),
    "exp(-d)": math.exp(-D),
    "0.1 + 0.3*exp(-d/4)": 0.1 + 0.3 * math.exp(-D / 4),
}


@pytest.mark.parametrize("text", VALUES)
def test_a_law_has_the_value_of_its_arithmetic(text):
    assert parse_law(text)(D) == pytest.approx(VALUES[text], rel=1e-15)


@given(a=st.floats(-5, 5), b=st.floats(-5, 5), d=st.floats(0.5, 200))
def test_any_constant_and_hyperbolic_law_is_read(a, b, d):
    assert parse_law(f"{a!r} + {b!r}/d")(d) == pytest.approx(a + b / d, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "x + 1",
        "d.real",
        "__import__('os')",
        "open('x')",
        "d if d else 1",
        "[d]",
        "lambda: d",
        "'a' * 3",
        "d < 3",
        "d // 2",
        "d % 2",
        "abs(d)",
        "sqrt(d, 2)",
        "sqrt(x=d)",
        "sqrt",
        "1j",
        "f'{d}'",
        "(d := 3)",
    ],
)
def test_anything_but_arithmetic_in_d_is_refused(text):
    with pytest.raises(OptionError, match="may hold numbers, d"):
        parse_law(text)


@pytest.mark.parametrize("text", ["", "0.1 +", "0.1 0.2", "(d", "d = 3"])
def test_text_that_is_no_expression_is_refused(text):
    with pytest.raises(OptionError, match="cannot be read"):
        parse_law(text)


@pytest.mark.parametrize("text", ["1/(d-9)", "sqrt(-d)", "log(d-9)", "exp(d**9)"])
def test_a_law_that_fails_at_a_diameter_says_where(text):
    with pytest.raises(OptionError, match="at d = 9 mm"):
        parse_law(text)(D)


def test_a_law_that_is_infinite_says_where():
    with pytest.raises(OptionError, match="not finite at d = 9 mm"):
        parse_law("1e308 * d")(D)


def test_a_law_too_long_is_refused_and_not_cut_short():
    text = "0.1 + " + "0.001 + " * 40 + "d"

    with pytest.raises(OptionError, match="327 characters: 200 are the most"):
        parse_law(text)


def test_true_is_no_number():
    with pytest.raises(OptionError, match="may hold numbers, d"):
        parse_law("True + d")


def test_a_number_may_have_digits_set_apart():
    assert parse_law("1_000 * d")(D) == 9000.0


def test_blanks_around_a_law_do_not_matter():
    assert parse_law(" 0.1 + d ")(D) == 9.1
