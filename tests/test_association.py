"""Circles associated by least squares, against published figures and against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from meshcomp.association import associate_circle
from meshcomp.errors import AssociationError

# W. Gander, G. H. Golub, R. Strebel, "Least-squares fitting of circles and ellipses",
# BIT 34 (1994) 558-578: the six points, and the geometric fit as printed there.
GANDER_POINTS = [(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)]
GANDER_CENTRE, GANDER_RADIUS = (4.7398, 2.9835), 4.7142


def test_circle_of_gander_golub_strebel_has_the_published_digits():
    centre, diameter = associate_circle(GANDER_POINTS)
    assert centre.round(4).tolist() == list(GANDER_CENTRE)
    assert round(diameter / 2, 4) == GANDER_RADIUS


def test_circle_of_gander_golub_strebel_has_the_recomputed_digits():
    # The same minimum with more digits: its two equations solved by mpmath in 30 digits.
    centre, diameter = associate_circle(GANDER_POINTS)
    assert [*centre, diameter / 2] == pytest.approx(
        [4.739782410906, 2.983532699292, 4.714226037792], abs=1e-11
    )
    distances = np.hypot(*(np.array(GANDER_POINTS) - centre).T) - diameter / 2
    assert float(distances @ distances) == pytest.approx(1.22759908, abs=5e-9)


@settings(max_examples=40, deadline=None)
@given(
    radius=st.floats(0.5, 200),
    x=st.floats(-500, 500),
    y=st.floats(-500, 500),
    phase=st.floats(0, 6.3),
    count=st.integers(3, 60),
)
def test_points_of_a_circle_give_that_circle(radius, x, y, phase, count):
    turns = phase + 2 * np.pi * np.arange(count) / count
    points = radius * np.column_stack([np.cos(turns), np.sin(turns)]) + (x, y)
    centre, diameter = associate_circle(points)
    assert centre == pytest.approx([x, y], abs=1e-9)
    assert diameter == pytest.approx(2 * radius, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), span=st.floats(1.0, 6.28))
def test_scattered_arcs_give_the_optimum_that_scipy_finds(seed, span):
    rng = np.random.default_rng(seed)
    turns = np.sort(rng.uniform(0, span, 40))
    radii = 8 + rng.normal(0, 0.05, 40)
    points = radii[:, None] * np.column_stack([np.cos(turns), np.sin(turns)])
    centre, diameter = associate_circle(points)

    def residuals(circle):
        return np.hypot(*(points - circle[:2]).T) - circle[2]

    best = least_squares(residuals, [0, 0, 8], xtol=1e-15, ftol=1e-15, gtol=1e-15).x
    assert [*centre, diameter / 2] == pytest.approx(best.tolist(), abs=1e-6)


def test_diameter_is_a_plain_number():
    assert type(associate_circle(GANDER_POINTS)[1]) is float


def test_two_points_are_refused():
    with pytest.raises(AssociationError, match="needs 3 points, got 2"):
        associate_circle([(0, 0), (1, 1)])


def test_points_on_a_line_are_refused():
    with pytest.raises(AssociationError, match="4 points lie on one line"):
        associate_circle([(0, 0), (1, 1), (2, 2), (5, 5)])
