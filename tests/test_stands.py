"""A stand turns by quarter turns, exactly, and back to the last bit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshcomp.errors import OptionError
from meshcomp.stands import STANDS, stand

UNITS = {"X": (1.0, 0.0, 0.0), "Y": (0.0, 1.0, 0.0), "Z": (0.0, 0.0, 1.0)}
POINTS = st.lists(st.tuples(*[st.floats(-1e6, 1e6)] * 3), min_size=1, max_size=5)


@pytest.mark.parametrize("up", STANDS)
def test_the_direction_named_points_up(up):
    sign = 1.0 if up[0] == "+" else -1.0
    assert stand(up).to_bed(sign * np.array(UNITS[up[1]])).tolist() == [0.0, 0.0, 1.0]


@pytest.mark.parametrize("up", STANDS)
def test_a_stand_is_a_rotation_and_no_mirror(up):
    matrix = stand(up).to_bed(np.eye(3)).T
    assert (matrix @ matrix.T == np.eye(3)).all()
    assert np.linalg.det(matrix) == 1.0


@given(points=POINTS, up=st.sampled_from(STANDS))
def test_turning_there_and_back_is_exact(points, up):
    turned = stand(up).to_file(stand(up).to_bed(points))
    assert turned.tolist() == (np.array(points) + 0.0).tolist()


@pytest.mark.parametrize(
    ("text", "up"), [("z", "+Z"), (" x ", "+X"), ("-y", "-Y"), ("+X", "+X")]
)
def test_a_bare_letter_means_plus(text, up):
    assert stand(text).up == up


@pytest.mark.parametrize("text", ["", "up", "+W", "Z+", "--Z", "ZZ"])
def test_anything_else_is_refused(text):
    with pytest.raises(OptionError, match=r"give one of \+Z, -Z, \+X"):
        stand(text)


def test_no_negative_zeros_come_out():
    turned = stand("-Z").to_bed([(1.0, 0.0, 0.0)])
    assert not np.signbit(turned[0, 1:]).any()
