"""Numbers in reports: digits, signs, dashes, and rounding that never flatters."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from meshcomp.reports import _numbers as numbers
from meshcomp.reports._rows import ids_in_words

LIMIT = 0.002  # mm: the design's limit between a planned and an achieved size
sizes = st.floats(0.5, 500.0)
errors = st.floats(-0.2, 0.2)


@given(sizes, errors)
def test_a_size_that_does_not_conform_is_never_shown_within_the_limit(planned, error):
    achieved = planned + error
    if abs(achieved - planned) <= LIMIT + 1e-9:
        return
    shown = numbers.planned_and_achieved(planned, achieved, conforms=False)
    difference = float(shown[1]) - float(shown[0])
    assert abs(difference) > LIMIT
    assert math.copysign(1, difference) == math.copysign(1, error)
    assert abs(float(shown[0]) - planned) <= 1e-4 + 1e-9
    assert abs(float(shown[1]) - achieved) <= 1e-4 + 1e-9


@given(sizes, st.floats(-0.0019, 0.0019))
def test_a_size_that_conforms_is_shown_within_the_limit(planned, error):
    shown = numbers.planned_and_achieved(planned, planned + error, conforms=True)
    assert abs(float(shown[1]) - float(shown[0])) < LIMIT + 1e-9


@given(st.floats(-10, 10))
def test_a_difference_keeps_its_sign_and_is_rounded_to_the_nearest(value):
    shown = numbers.signed(value)
    assert abs(float(shown) - value) <= 0.0005 + 1e-12
    if abs(value) < 1e-9:
        assert shown == "0.000"
    else:
        assert shown[0] == ("-" if value < 0 else "+")


@given(st.floats(0, 1))
def test_a_bound_is_never_below_the_length_it_bounds(length):
    shown = float(numbers.bound(length))
    assert length * 1000 - 1e-6 <= shown < length * 1000 + 0.1 + 1e-6


def test_a_number_that_cannot_be_had_is_a_dash():
    for write in (numbers.size, numbers.signed, numbers.angle):
        assert [write(x) for x in (None, math.nan, math.inf)] == ["-"] * 3


def test_sizes_that_cannot_be_had_are_dashes_whether_they_conform_or_not():
    for conforms in (True, False):
        shown = numbers.planned_and_achieved(None, 3.2, conforms=conforms)
        assert shown == ("-", "3.200")
        shown = numbers.planned_and_achieved(3.2, None, conforms=conforms)
        assert shown == ("3.200", "-")


def test_a_coordinate_of_rounded_zero_has_no_sign():
    assert numbers.place((-1e-15, 0.0, -0.0)) == "0.00, 0.00, 0.00"


def test_ids_are_joined_only_where_their_numbers_follow():
    assert ids_in_words(["b01", "b02"]) == "b01, b02"
    assert ids_in_words(["b09", "b10", "b11", "w01"]) == "b09 to b11, w01"
    assert ids_in_words(["b01", "k02", "k03", "k04"]) == "b01, k02 to k04"
    assert ids_in_words(["b1", "b3", "left"]) == "b1, b3, left"
    assert ids_in_words(["wall-01", "wall-02", "wall-03"]) == "wall-01 to wall-03"
    assert ids_in_words([]) == ""
