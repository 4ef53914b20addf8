"""How surely a print is inside a zone: against simulated prints and the normal table."""

from __future__ import annotations

import numpy as np
import pytest

from meshcomp.calibration.record import invented_calibration_path, read_calibration
from meshcomp.capabilities import HELD, capability, probability_inside
from meshcomp.deviations import SizeLaw, design_matrix
from meshcomp.tolerances import limit_pair, parse_zone, zone

DRAWS = 100_000


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20260113)


@pytest.fixture(scope="module")
def laws() -> dict[str, SizeLaw]:
    return dict(read_calibration(invented_calibration_path()).model.laws)


def _exact(repeatability: float = 0.02, freedom: float = 1e9) -> SizeLaw:
    return SizeLaw(
        terms=("constant",),
        coefficients=[-0.1],
        covariance=[[0.0]],
        repeatability=repeatability,
        degrees_of_freedom=freedom,
        valid_from=2.0,
        valid_to=30.0,
    )


@pytest.mark.parametrize(
    ("sigmas", "inside"),
    # Areas of the normal distribution as printed in every table of it.
    [(1.0, 0.682689), (1.959964, 0.95), (2.0, 0.954500), (3.0, 0.997300)],
)
def test_a_known_law_scatters_normally(sigmas: float, inside: float):
    half = 0.02 * sigmas
    found = probability_inside(_exact(), 8.1, 8.0 - half, 8.0 + half)

    assert found == pytest.approx(inside, abs=1e-6)


@pytest.mark.parametrize(
    ("freedom", "factor"),
    # Student's t, 97.5 %, as printed in every table of it.
    [(5, 2.570582), (10, 2.228139), (30, 2.042272)],
)
def test_few_readings_widen_the_scatter(freedom: float, factor: float):
    half = 0.02 * factor
    found = probability_inside(_exact(freedom=freedom), 8.1, 8.0 - half, 8.0 + half)

    assert found == pytest.approx(0.95, abs=1e-6)


@pytest.mark.parametrize("name", ["22 H7", "22 H10", "8 JS12", "5 +0.05/-0.02", "12 p9"])
def test_drawn_prints_are_inside_as_often_as_said(
    name: str, laws: dict[str, SizeLaw], rng: np.random.Generator
):
    """100,000 prints: coefficients, their scale and the repeatability drawn each time."""
    law = laws["boss" if name == "12 p9" else "bore"]
    wanted = parse_zone(name)
    found = capability(law, wanted, "bore")
    # An unknown variance: the estimate times freedom over chi squared (Bayes, flat prior).
    scale = np.sqrt(law.degrees_of_freedom / rng.chisquare(law.degrees_of_freedom, DRAWS))
    root = np.linalg.cholesky(law.covariance)
    shifts = rng.standard_normal((DRAWS, len(law.terms))) @ root.T * scale[:, None]
    row = design_matrix([found.mesh_size], law.terms)[0]
    scatter = law.repeatability * scale * rng.standard_normal(DRAWS)
    prints = found.mesh_size + (law.coefficients + shifts) @ row + scatter
    inside = (prints >= wanted.lower_limit) & (prints <= wanted.upper_limit)

    assert found.probability == pytest.approx(inside.mean(), abs=0.01)


BENCHES, PRINTS = 4000, 25  # 100,000 prints in all


def _bench(law: SizeLaw, target: float, rng: np.random.Generator) -> np.ndarray:
    """Print at a target, by a bench's own law, on the hidden printer."""
    mesh = law.mesh_size_for(target)
    row = design_matrix([mesh], law.terms)[0]
    return mesh + row @ HIDDEN + SIGMA * rng.standard_normal(PRINTS)


HIDDEN, SIGMA = np.array([-0.12, -0.35]), 0.025


def _calibrated(repeats: int, rng: np.random.Generator) -> list[SizeLaw]:
    """Calibrate many benches by least squares, each from prints of its own."""
    sizes = np.repeat([2.0, 3.0, 5.0, 8.0, 12.0, 16.0, 22.0, 30.0], repeats)
    design = design_matrix(sizes, ("constant", "inverse"))
    inverse = np.linalg.inv(design.T @ design)
    readings = design @ HIDDEN + SIGMA * rng.standard_normal((BENCHES, len(sizes)))
    estimates = readings @ design @ inverse
    freedom = len(sizes) - 2
    variances = ((readings - estimates @ design.T) ** 2).sum(axis=1) / freedom
    return [
        SizeLaw(
            terms=("constant", "inverse"),
            coefficients=estimate,
            covariance=inverse * variance,
            repeatability=float(np.sqrt(variance)),
            degrees_of_freedom=freedom,
            valid_from=2.0,
            valid_to=30.0,
        )
        for estimate, variance in zip(estimates, variances, strict=True)
    ]


def test_a_hidden_process_prints_inside_as_often_as_its_calibrations_say(
    rng: np.random.Generator,
):
    """Benches of 40 prints each foretell how often their next prints are inside."""
    wanted = zone(10.0, "H11")
    foretold, inside = [], []
    for law in _calibrated(5, rng):
        foretold.append(capability(law, wanted, "bore").probability)
        prints = _bench(law, wanted.middle, rng)
        inside.append(
            ((prints > wanted.lower_limit) & (prints < wanted.upper_limit)).mean()
        )

    assert np.mean(foretold) == pytest.approx(np.mean(inside), abs=0.01)


def test_a_bench_of_eight_prints_knows_its_95_percent(rng: np.random.Generator):
    """Few prints make intervals wide, and right: that is what Student's t is for."""
    inside = []
    for law in _calibrated(1, rng):
        low, high = law.prediction_interval(law.mesh_size_for(10.0))
        prints = _bench(law, 10.0, rng)
        inside.append(((prints > low) & (prints < high)).mean())

    assert np.mean(inside) == pytest.approx(0.95, abs=0.01)


def test_the_interval_is_that_of_the_law(laws: dict[str, SizeLaw]):
    found = capability(laws["bore"], zone(22, "H7"), "bore")

    assert (found.low, found.high) == laws["bore"].prediction_interval(found.mesh_size)
    assert (found.low + found.high) / 2 == pytest.approx(found.target)
    assert found.target == 22.0105


def test_the_grade_held_is_the_finest(laws: dict[str, SizeLaw]):
    law = laws["bore"]
    for size in (3, 8, 22, 30):
        held = capability(law, zone(size, "H7"), "bore").holds
        grade = int(held.name[1:])
        finer = capability(law, zone(size, f"H{grade - 1}"), "bore")
        assert capability(law, held, "bore").probability >= HELD > finer.probability


def test_a_letter_that_ends_too_fine_holds_nothing(laws: dict[str, SizeLaw]):
    assert capability(laws["bore"], zone(22, "K7"), "bore").holds is None


def test_a_limit_pair_is_held_about_the_same_middle(laws: dict[str, SizeLaw]):
    wanted = limit_pair(8, 0.0, 0.04, is_internal=True)
    held = capability(laws["bore"], wanted, "bore").holds

    assert held.middle == wanted.middle
    assert held.is_internal is True
    assert capability(laws["bore"], held, "bore").probability >= HELD
    assert held.width - 0.02 < 2 * capability(laws["bore"], wanted, "bore").half_width


def test_aiming_elsewhere_prints_elsewhere(laws: dict[str, SizeLaw]):
    middle = capability(laws["bore"], zone(22, "H9"), "bore")
    edge = capability(laws["bore"], zone(22, "H9"), "bore", target=22.0)

    assert edge.target == 22.0
    assert edge.probability < middle.probability
    assert edge.probability == pytest.approx(0.5, abs=0.05)  # half of them are below


def test_sizes_beyond_the_measured_ones_say_so(laws: dict[str, SizeLaw]):
    assert capability(laws["bore"], zone(22, "H7"), "bore").is_measured
    assert not capability(laws["bore"], zone(60, "H7"), "bore").is_measured


def test_no_limit_on_a_side_counts_the_whole_side(laws: dict[str, SizeLaw]):
    mesh = laws["bore"].mesh_size_for(8.0)

    assert probability_inside(laws["bore"], mesh, 8.0, None) == pytest.approx(0.5)
    assert probability_inside(laws["bore"], mesh, None, None) == 1.0


def test_a_print_that_never_scatters_is_in_or_out():
    law = _exact(repeatability=0.0)

    assert probability_inside(law, 8.1, 7.9, 8.05) == 1.0
    assert probability_inside(law, 8.1, 8.01, 8.05) == 0.0
