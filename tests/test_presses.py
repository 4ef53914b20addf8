"""Press fits against worked examples from outside, and against equilibrium."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some
from scipy.integrate import trapezoid

from meshcomp.errors import OptionError
from meshcomp.presses import CAUTIONS, Material, press

PLA = Material(name="PLA", modulus=3000, poisson=0.36)
PETG = Material(name="PETG", modulus=2000, poisson=0.40)
ABS = Material(name="ABS", modulus=2100, poisson=0.35)


def test_a_published_worked_example():
    """A joint of 50 mm in a hub of 80 mm, 0.04 mm: from two public calculators."""
    steel = Material(name="steel", modulus=200e3, poisson=0.3)

    found = press(50, 80, 0.04, hub=steel, shaft=steel)

    assert found.pressure == pytest.approx(48.75, abs=5e-3)
    assert found.hoop_stress == pytest.approx(111.25, abs=5e-3)
    # Force to press it in, as printed: friction 0.15 over a length of 40 mm.
    assert np.pi * 50 * 40 * 0.15 * found.pressure / 1000 == pytest.approx(45.946, abs=5e-4)


@pytest.mark.parametrize(
    ("hub", "joint", "results"),
    [
        # Diameters and interference, mm; pressure, hoop stress (MPa) and growth (mm):
        # calculated outside this project from the same theory, steel shaft of 210 GPa.
        (PLA, (22, 30, 0.10), (3.6886, 12.2716, 0.0858)),
        (PLA, (22, 30, 0.05), (1.8443, 6.1358, 0.0429)),
        (PLA, (8, 16, 0.10), (18.4124, 30.6874, 0.0655)),
        (PLA, (5, 12, 0.05), (16.7582, 23.7995, 0.0282)),
        (PETG, (22, 30, 0.10), (2.4349, 8.1007, 0.0850)),
        (PETG, (8, 16, 0.10), (12.0579, 20.0965, 0.0643)),
        (ABS, (22, 30, 0.10), (2.5911, 8.6204, 0.0861)),
        (ABS, (8, 16, 0.10), (12.9715, 21.6192, 0.0659)),
    ],
)
def test_plastic_hubs_on_steel(
    hub: Material, joint: tuple[float, float, float], results: tuple[float, float, float]
):
    found = press(*joint, hub=hub)

    values = (found.pressure, found.hoop_stress, found.hub_growth)
    assert values == pytest.approx(results, abs=5.1e-5)


@given(
    diameter=some.floats(2, 50),
    wall=some.floats(1, 20),
    interference=some.floats(0.001, 0.3),
)
def test_the_hoop_stress_balances_the_pressure(
    diameter: float, wall: float, interference: float
):
    """Equilibrium of half a hub: the mean hoop stress over the wall carries p d."""
    outside = diameter + 2 * wall
    found = press(diameter, outside, interference, hub=PLA)
    radii = np.linspace(diameter / 2, outside / 2, 2001)
    scale = found.pressure * diameter**2 / (outside**2 - diameter**2)
    stresses = scale * (1 + (outside / 2 / radii) ** 2)

    assert stresses[0] == pytest.approx(found.hoop_stress, rel=1e-9)
    assert 2 * trapezoid(stresses, radii) == pytest.approx(
        found.pressure * diameter, rel=1e-4
    )


def test_a_thin_hub_is_a_membrane():
    """Hoop stress p d / (2 t) of a thin ring, from any textbook on strength."""
    found = press(100, 102, 0.05, hub=PETG)

    assert found.hoop_stress == pytest.approx(found.pressure * 100 / 2, rel=0.03)


def test_a_clearance_presses_nothing():
    found = press(8, 16, -0.05, hub=PLA)

    assert (found.pressure, found.hoop_stress, found.hub_growth) == (0, 0, 0)
    assert found.warnings == ()


def test_a_hub_that_would_split_is_told():
    weak = Material(name="printed PLA", modulus=3000, poisson=0.36, allowable_stress=20)
    strong = Material(name="printed PLA", modulus=3000, poisson=0.36, allowable_stress=31)

    assert press(8, 16, 0.10, hub=weak).would_split
    assert not press(8, 16, 0.10, hub=strong).would_split
    assert not press(8, 16, 0.10, hub=PLA).would_split  # nothing was stated
    assert press(8, 16, 0.10, hub=weak).warnings[0].startswith("would split: 30.7 MPa")
    assert "strained by 1.2 %" in press(8, 16, 0.10, hub=strong).warnings[0]


def test_cautions_speak_of_layers_creep_and_codes():
    words = " ".join(CAUTIONS)

    assert all(word in words for word in ("layers", "creeps", "eye", "local codes"))


@pytest.mark.parametrize(("diameter", "outside"), [(8, 8), (8, 6), (0, 6)])
def test_a_hub_must_be_larger_than_its_joint(diameter: float, outside: float):
    with pytest.raises(OptionError, match="cannot hold a joint"):
        press(diameter, outside, 0.1, hub=PLA)


@pytest.mark.parametrize(
    "wrong",
    [
        {"modulus": 0, "poisson": 0.3},
        {"modulus": 2000, "poisson": 0.5},
        {"modulus": 2000, "poisson": 0.3, "allowable_stress": 0},
        {"modulus": 2000, "poisson": 0.3, "allowable_stress": -1},
    ],
)
def test_impossible_materials_are_refused(wrong: dict[str, float]):
    with pytest.raises(OptionError, match="material 'goo'"):
        Material(name="goo", **wrong)
