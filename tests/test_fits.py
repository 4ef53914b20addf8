"""Clearances of mates against draws through the process that they are about.

The hidden processes below are numpy only: they know nothing of how the product reckons.
"""

from dataclasses import replace

import numpy as np
import pytest

from meshcomp.calibration.observations import instrument_shares
from meshcomp.deviations import SizeLaw
from meshcomp.errors import OptionError
from meshcomp.fits.clearances import Clearance, clearance, flank_gap
from meshcomp.fits.members import Made, printed_flank, printed_size
from meshcomp.fits.together import Requirement, probability_of_all
from meshcomp.measurements.readings import Instrument, Reading

DRAWS = 100_000
WITHIN = 0.01  # one percentage point
BENCH_ERROR = 0.04  # mm, standard: of a caliper that reads bores and bosses
CALIPER = {"caliper": 0.03 / np.sqrt(3)}  # mm, standard: stated to 0.03 mm


def law(terms, coefficients, covariance, freedom, repeatability=0.022):
    return SizeLaw(
        terms=terms,
        coefficients=coefficients,
        covariance=covariance,
        repeatability=repeatability,
        degrees_of_freedom=freedom,
        valid_from=2.0,
        valid_to=30.0,
    )


def bore_law(freedom=10.0, common=CALIPER["caliper"] ** 2):
    own = [[2.4e-4, -3.7e-4], [-3.7e-4, 1.97e-3]]
    return law(
        ("constant", "inverse"), [-0.1, -0.4], np.add(own, [[common, 0], [0, 0]]), freedom
    )


def boss_law(freedom=9.0, common=CALIPER["caliper"] ** 2):
    return law(("constant",), [0.06], [[1.8e-4 + common]], freedom)


def drawn_sizes(rng, each, mesh_size, shares, errors):
    """Print a size by hidden processes that the law's record leaves possible."""
    freedom = each.degrees_of_freedom
    scale = np.sqrt(freedom / rng.chisquare(freedom, DRAWS))
    covariance = np.array(each.covariance)
    covariance[0, 0] -= sum(share**2 for share in shares.values())  # the constant is first
    z = rng.multivariate_normal(np.zeros(len(covariance)), covariance, DRAWS)
    coefficients = each.coefficients + z * scale[:, None]
    powers = {"constant": 0.0, "inverse": -1.0, "scale": 1.0}
    row = [mesh_size ** powers[term] for term in each.terms]
    common = sum(share * errors[name] for name, share in shares.items())
    scatter = rng.normal(0, each.repeatability, DRAWS) * scale
    return mesh_size + coefficients @ row + common + scatter


@pytest.mark.parametrize("freedom", [4.0, 10.0, 40.0])
@pytest.mark.parametrize("gap", [-0.05, 0.0, 0.06, 0.12])
@pytest.mark.parametrize("shares", [{}, CALIPER], ids=["apart", "one caliper"])
def test_a_pair_assembles_as_often_as_said(freedom, gap, shares):
    rng = np.random.default_rng(7)
    common = sum(share**2 for share in shares.values())
    bores, bosses = bore_law(freedom, common), boss_law(freedom + 3, common)
    bore = printed_size(bores, 8.15 + gap, key=("c", "bore"), shares=shares)
    boss = printed_size(bosses, 7.94, key=("c", "boss"), shares=shares)
    found = clearance(bore, boss)

    errors = {name: rng.normal(0, 1, DRAWS) for name in shares}
    drawn = drawn_sizes(rng, bores, 8.15 + gap, shares, errors)
    drawn = drawn - drawn_sizes(rng, bosses, 7.94, shares, errors)

    for limit in (-0.02, 0.0, 0.05):
        share = np.mean(drawn > limit)
        assert found.probability_within(limit, None) == pytest.approx(share, abs=WITHIN)
    share = np.mean((drawn > 0.0) & (drawn < 0.1))
    assert found.probability_within(0.0, 0.1) == pytest.approx(share, abs=WITHIN)
    low, high = found.interval()
    assert np.mean((drawn > low) & (drawn < high)) == pytest.approx(0.95, abs=WITHIN)


def test_the_correlation_is_seen_by_more_than_a_percentage_point():
    """Without it the figure would be wrong, so the tests above can tell."""
    common = 0.05**2
    shares = {"caliper": 0.05}
    members = [
        (bore_law(40.0, common), 8.2, "bore"),
        (boss_law(40.0, common), 7.94, "boss"),
    ]
    as_one = [printed_size(a, m, key=("c", k), shares=shares) for a, m, k in members]
    apart = [printed_size(a, m, key=("c", k)) for a, m, k in members]

    gain = clearance(*as_one).probability_within(0.0, None)
    gain -= clearance(*apart).probability_within(0.0, None)

    assert gain > 0.04
    assert clearance(*as_one).correlation > 0.8
    assert clearance(*apart).correlation == 0.0


def test_two_sizes_of_one_law_cancel_its_error():
    walls = law(("constant",), [0.1], [[0.04]], 20.0)
    slot = printed_size(walls, 6.1, key=("c", "x"))
    wall = printed_size(walls, 6.0, key=("c", "x"))

    found = clearance(slot, wall)

    assert found.standard_uncertainty == pytest.approx(0.022 * np.sqrt(2))
    assert found.correlation == pytest.approx(1.0)
    alone = clearance(slot, printed_size(walls, 6.0, key=("another", "x")))
    assert alone.standard_uncertainty > 10 * 0.022


@pytest.mark.parametrize("freedom", [5.0, 30.0])
def test_a_made_part_lies_evenly_between_its_limits(freedom):
    rng = np.random.default_rng(3)
    bores = bore_law(freedom, 0.0)
    bearing = Made(lower=21.95, upper=22.05)
    seat = printed_size(bores, 22.17, key=("c", "bore"))
    found = clearance(seat, bearing)

    drawn = drawn_sizes(rng, bores, 22.17, {}, {}) - rng.uniform(21.95, 22.05, DRAWS)

    for limit in (0.0, 0.03, 0.08):
        share = np.mean(drawn > limit)
        assert found.probability_within(limit, None) == pytest.approx(share, abs=WITHIN)
    low, high = found.interval()
    assert np.mean((drawn > low) & (drawn < high)) == pytest.approx(0.95, abs=WITHIN)


def test_a_perfect_printer_leaves_the_made_part_alone():
    perfect = law(("constant",), [0.0], [[0.0]], 10.0, repeatability=0.0)
    found = clearance(
        printed_size(perfect, 22.0, key=("c", "bore")), Made(lower=21.99, upper=22.01)
    )

    assert found.probability_within(0.0, None) == pytest.approx(0.5)
    assert found.probability_within(-0.005, 0.005) == pytest.approx(0.5)
    assert found.probability_within(-0.02, 0.02) == 1.0
    assert found.interval() == pytest.approx((-0.0095, 0.0095))


def test_all_mates_fit_together_as_often_as_said():
    """Three bores with one law and one caliper, of which one is wanted five times."""
    rng = np.random.default_rng(11)
    common = CALIPER["caliper"] ** 2
    bores, bosses = bore_law(10.0, common), boss_law(9.0, common)
    sizes = [(8.20, 7.94, 1), (5.25, 4.94, 5), (22.20, 21.94, 2)]
    wanted = [
        Requirement(
            terms=(
                (1.0, printed_size(bores, hole, key=("c", "bore"), shares=CALIPER)),
                (-1.0, printed_size(bosses, pin, key=("c", "boss"), shares=CALIPER)),
            ),
            least=-0.02,
            most=0.2,
        )
        for hole, pin, pairs in sizes
        for _ in range(pairs)
    ]

    fits = all_fit(rng, bores, bosses, sizes, (-0.02, 0.2))

    assert probability_of_all(wanted) == pytest.approx(fits, abs=WITHIN)
    apart = np.prod([clearance(e.terms[0][1], e.terms[1][1]).probability_within(-0.02, 0.2)
                     for e in wanted])  # fmt: skip
    assert abs(fits - apart) > WITHIN  # the shared error counts


def all_fit(rng, bores, bosses, sizes, limits):
    share = CALIPER["caliper"]
    scale = [np.sqrt(e.degrees_of_freedom / rng.chisquare(e.degrees_of_freedom, DRAWS))
             for e in (bores, bosses)]  # fmt: skip
    own = np.array(bores.covariance) - [[share**2, 0], [0, 0]]
    z = rng.multivariate_normal(np.zeros(2), own, DRAWS) * scale[0][:, None]
    constant, inverse = (bores.coefficients + z).T
    boss_sd = np.sqrt(bosses.covariance[0, 0] - share**2)
    growth = 0.06 + rng.normal(0, boss_sd, DRAWS) * scale[1]
    error = rng.normal(0, share, DRAWS)  # of the caliper: in bores and in bosses
    good = np.ones(DRAWS, bool)
    for hole, pin, pairs in sizes:
        for _ in range(pairs):
            bore = hole + constant + inverse / hole + error
            bore = bore + rng.normal(0, 0.022, DRAWS) * scale[0]
            boss = pin + growth + error + rng.normal(0, 0.022, DRAWS) * scale[1]
            good &= (bore - boss > limits[0]) & (bore - boss < limits[1])
    return np.mean(good)


PRINTS = {"a": ("bore", 8.14), "b": ("bore", 8.18), "pin": ("boss", 7.94),
          "post": ("boss", 7.96), "seat": ("bore", 22.13)}  # fmt: skip
CHAINS = {
    "one pin for two bores": [("a", "pin"), ("b", "pin")],
    "a ring in which all are shared": [("a", "pin"), ("b", "pin"), ("b", "post"),
                                       ("a", "post")],
    "one seat for three bearings": [("seat", None)] * 3,
    "shared and apart": [("a", "pin"), ("b", "pin"), ("seat", None), ("a", "post")],
}  # fmt: skip


@pytest.mark.parametrize("repeatability", [0.022, 0.05])
@pytest.mark.parametrize("chain", CHAINS)
def test_a_print_that_takes_part_in_several_pairs_is_one_print(chain, repeatability):
    """100,000 kits of which each feature is printed once: numpy only."""
    rng = np.random.default_rng(23)
    common = CALIPER["caliper"] ** 2
    laws = {
        "bore": replace(bore_law(10.0, common), repeatability=repeatability),
        "boss": replace(boss_law(9.0, common), repeatability=repeatability),
    }
    bearing = Made(lower=21.95, upper=22.0)
    pairs, limits = CHAINS[chain], (0.0, 0.2)

    sizes = printed_once(rng, laws)
    good, alone = np.ones(DRAWS, bool), 1.0
    for inner, outer in pairs:
        other = rng.uniform(21.95, 22.0, DRAWS) if outer is None else sizes[outer]
        fits = (sizes[inner] - other > limits[0]) & (sizes[inner] - other < limits[1])
        good &= fits
        alone *= np.mean(fits)

    def member(name):
        kind, size = PRINTS[name]
        return printed_size(laws[kind], size, key=("c", kind), shares=CALIPER)

    wanted = [
        Requirement(
            terms=((1.0, member(a)), (-1.0, bearing if b is None else member(b))),
            least=limits[0],
            most=limits[1],
            prints=(a, b),
        )
        for a, b in pairs
    ]
    said = probability_of_all(wanted)
    assert said == pytest.approx(np.mean(good), abs=WITHIN)
    assert abs(said - alone) > WITHIN
    if repeatability > 0.03:  # where prints scatter, it counts that they are shared
        own = [replace(each, prints=()) for each in wanted]
        assert abs(probability_of_all(own) - np.mean(good)) > WITHIN


def printed_once(rng, laws):
    """Draw the laws that a calibration leaves possible, and one print of each feature."""
    share = CALIPER["caliper"]
    error, sizes, drawn = rng.normal(0, share, DRAWS), {}, {}
    for kind, each in laws.items():
        freedom = each.degrees_of_freedom
        scale = np.sqrt(freedom / rng.chisquare(freedom, DRAWS))
        own = np.array(each.covariance)
        own[0, 0] -= share**2
        z = rng.multivariate_normal(np.zeros(len(own)), own, DRAWS) * scale[:, None]
        drawn[kind] = (each.coefficients + z, scale)
    for name, (kind, size) in PRINTS.items():
        terms, scale = drawn[kind]
        row = np.array([1.0, 1 / size])[: terms.shape[1]]
        scatter = rng.normal(0, laws[kind].repeatability, DRAWS) * scale
        sizes[name] = size + terms @ row + error + scatter
    return sizes


def bench(rng, sizes, deviations, error, repeatability):
    """Measure one print of each size by each of many hidden printers, (n, k)."""
    scatter = rng.normal(0, repeatability, (DRAWS, len(sizes)))
    return deviations + scatter + error[:, None]


def estimated(design, readings):
    """Ordinary least squares of many benches at once, numpy's pseudo-inverse."""
    inverse = np.linalg.pinv(design)
    coefficients = readings @ inverse.T
    freedom = design.shape[0] - design.shape[1]
    left = readings - coefficients @ design.T
    return coefficients, np.sqrt((left**2).sum(1) / freedom), inverse @ inverse.T, freedom


def test_from_bench_to_pair_the_said_probability_comes_true():
    """100,000 hidden printers: measured, compensated by what was found, printed, mated.

    One caliper with one error reads bores and bosses of each printer.
    """
    rng = np.random.default_rng(5)
    sizes = np.repeat([2.0, 3.0, 5.0, 8.0, 12.0, 20.0, 30.0], 5)
    sigma, share, least = 0.02, BENCH_ERROR, 0.03
    c, q, e = rng.uniform(0.05, 0.15), rng.uniform(0.2, 0.6), rng.uniform(0.02, 0.1)
    error = rng.normal(0, share, DRAWS)
    designs = [np.column_stack([np.ones(35), 1 / sizes]), np.ones((35, 1))]
    bore, s_bore, k_bore, freedom = estimated(
        designs[0], bench(rng, sizes, -c - q / sizes, error, sigma)
    )
    boss, s_boss, k_boss, _ = estimated(designs[1], bench(rng, sizes, e, error, sigma))

    half = (8.1 - bore[:, 0]) / 2  # the mesh size that should print at 8.1 mm
    hole = half + np.sqrt(half**2 - bore[:, 1])
    pin = 8.0 - boss[:, 0]
    printed = hole - c - q / hole + rng.normal(0, sigma, DRAWS)
    printed = printed - (pin + e + rng.normal(0, sigma, DRAWS))

    benches = list(zip(bore, s_bore, hole, boss, s_boss, pin, strict=True))[:500]
    kernels = (k_bore, k_boss, freedom)
    said = {
        shares: np.mean(
            [
                _said(each, kernels, shares).probability_within(least, None)
                for each in benches
            ]
        )
        for shares in (0.0, share)
    }

    assert said[share] == pytest.approx(np.mean(printed > least), abs=WITHIN)
    assert abs(said[0.0] - np.mean(printed > least)) > 2 * WITHIN


def _said(found, kernels, share):
    """Return what the product says of one bench; without a share, its errors are apart."""
    bore, s_bore, hole, boss, s_boss, pin = found
    k_bore, k_boss, freedom = kernels
    corner = np.array([[BENCH_ERROR**2, 0], [0, 0]])
    bores = law(("constant", "inverse"), bore, s_bore**2 * k_bore + corner, freedom, s_bore)
    bosses = law(
        ("constant",), boss, s_boss**2 * k_boss + BENCH_ERROR**2, freedom + 1, s_boss
    )
    shares = {"caliper": share} if share else {}
    return clearance(
        printed_size(bores, hole, key=("c", "bore"), shares=shares),
        printed_size(bosses, pin, key=("c", "boss"), shares=shares),
    )


def test_a_gap_per_flank_is_half_of_what_both_sizes_leave():
    outside = law(("constant",), [0.1], [[4e-4]], 20.0, repeatability=0.02)
    tooth = printed_flank(outside, -0.05 - 0.04, key=("c", "outside x"))
    other = printed_flank(outside, -0.05 - 0.06, key=("c", "outside x"))

    found = flank_gap(tooth, other)

    assert found.mean == pytest.approx(0.1)  # 0.04 and 0.06 drawn in, growth taken off
    # Both flanks err alike by half of the constant's error each: all of it together.
    assert found.standard_uncertainty == pytest.approx(np.hypot(0.02, 0.02))


def test_an_outline_of_a_pocket_opens_as_its_wall_closes():
    slots = law(("constant",), [-0.14], [[1e-4]], 8.0)
    pocket = printed_flank(slots, -0.07, is_internal=True, key=("c", "slot"))

    assert pocket.expected == pytest.approx(0.0)


def test_instruments_share_their_error_by_the_readings_they_gave():
    caliper = Instrument(name="caliper", resolution=0.01, accuracy=0.03)
    pins = Instrument(name="pins", resolution=0.001, accuracy=0.006)
    rows = [
        Reading(
            piece="a",
            feature_id=f"B{k}",
            kind="bore",
            nominal_size=8.0,
            mesh_size=8.0,
            values=(7.85,),
            instrument=each,
        )
        for k, each in enumerate((caliper, caliper, caliper, pins))
    ]

    assert instrument_shares(rows) == pytest.approx(
        {"caliper": 0.75 * 0.03 / np.sqrt(3), "pins": 0.25 * 0.006 / np.sqrt(3)}
    )


@pytest.mark.parametrize("freedom", [2.0, 5.0, 30.0])
def test_one_law_alone_scatters_by_student(freedom):
    """Against scipy.stats.t."""
    from scipy import stats

    found = Clearance(mean=0.03, contributions=((0.02, freedom),))
    reference = stats.t(freedom, loc=0.03, scale=0.02)

    for value in (-0.05, 0.0, 0.03, 0.07):
        assert found.probability_below(value) == pytest.approx(
            reference.cdf(value), abs=1e-4
        )
    assert found.interval(0.9) == pytest.approx(reference.interval(0.9), abs=1e-4)


def test_probabilities_add_up():
    found = Clearance(mean=0.03, contributions=((0.02, 7.0),), half_width=0.01)  # fmt: skip
    parts = [(None, 0.0), (0.0, 0.05), (0.05, None)]

    assert sum(found.probability_within(*each) for each in parts) == pytest.approx(1.0)
    assert found.probability_within(0.05, 0.0) == 0.0
    low, high = found.interval(0.5)
    assert found.probability_within(low, high) == pytest.approx(0.5, abs=1e-6)


def test_two_made_parts_are_no_matter_of_prints():
    made = Made(lower=1.0, upper=2.0)
    with pytest.raises(OptionError, match="neither side of this mate is printed"):
        clearance(made, made)


def test_limits_must_be_in_order():
    with pytest.raises(OptionError, match="the smaller first, got 2 and 1 mm"):
        Made(lower=2.0, upper=1.0)
