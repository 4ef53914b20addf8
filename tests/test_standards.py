"""Bought parts against tables from outside; each source stands beside its values."""

from __future__ import annotations

import pytest

from meshcomp.errors import OptionError
from meshcomp.standards import BEARINGS, bearing, standard_part
from meshcomp.tolerances import Fit, zone

# ISO 15, as printed in the tables of an open CAD parts library and of bearing makers.
BOUNDARY = """
623 3 10 4 | 624 4 13 5 | 625 5 16 5 | 626 6 19 6 | 608 8 22 7 | 628 8 24 8 | 688 8 16 4
MR105 5 10 4 | MR115 5 11 4 | 6000 10 26 8 | 6001 12 28 8 | 6200 10 30 9 | 6800 10 19 5
6801 12 21 5 | 6802 15 24 5 | 6900 10 22 6 | 6901 12 24 6 | 61800 10 19 5 | 61900 10 22 6
61801 12 21 5
"""
# ISO 273 fine, medium, coarse, as printed in public tables.
CLEARANCES = """
M1.6 1.7/1.8/2.0 M2 2.2/2.4/2.6 M2.5 2.7/2.9/3.1 M3 3.2/3.4/3.6 M4 4.3/4.5/4.8
M5 5.3/5.5/5.8 M6 6.4/6.6/7.0 M8 8.4/9.0/10.0 M10 10.5/11.0/12.0 M12 13.0/13.5/14.5
M16 17.0/17.5/18.5 M20 21/22/24 M24 25/26/28
"""
# ISO 4032: across flats, most (printed in an open CAD parts library) and least (memory).
NUTS = "M2 4/3.82 M2.5 5/4.82 M3 5.5/5.32 M4 7/6.78 M5 8/7.78 M6 10/9.78 M8 13/12.73 "
NUTS += "M10 16/15.73 M12 18/17.73"


def test_boundary_dimensions_of_bearings():
    rows = [row.split() for row in BOUNDARY.replace("\n", "|").split("|") if row.strip()]
    for name, bore, outside, width in rows:
        found = bearing(name)
        sizes = (found.bore.nominal_size, found.outside.nominal_size, found.width)
        assert sizes == (float(bore), float(outside), float(width)), name
        assert "from memory" not in found.source
    assert len(rows) == 20


@pytest.mark.parametrize(
    ("name", "bore", "outside"),
    [
        # ISO 492, Normal class: bore as printed by three bearing makers, outside from
        # memory and agreeing with the inch table of ABEC 1.
        ("608", -0.008, -0.009),  # bore to 10, outside 18 to 30
        ("623", -0.008, -0.008),  # outside 6 to 18
        ("6200", -0.008, -0.009),
        ("6203", -0.008, -0.011),  # outside 30 to 50
        ("6804", -0.010, -0.011),  # bore 18 to 30
    ],
)
def test_limits_of_bearings(name: str, bore: float, outside: float):
    found = bearing(name)

    assert (found.bore.lower_deviation, found.bore.upper_deviation) == (bore, 0)
    assert (found.outside.lower_deviation, found.outside.upper_deviation) == (outside, 0)


def test_a_bearing_in_its_seats():
    """Worked from the limits of both (calculated by hand in the reference values)."""
    outside, bore = bearing("608").outside, bearing("608").bore
    loose = Fit(hole=zone(22, "H7"), shaft=outside)
    tight = Fit(hole=zone(22, "N7"), shaft=outside)
    on_h6 = Fit(hole=bore, shaft=zone(8, "h6"))
    on_k6 = Fit(hole=bore, shaft=zone(8, "k6"))

    assert (loose.least_clearance, loose.most_clearance) == (0, 0.030)
    assert (tight.least_clearance, tight.most_clearance) == (-0.028, 0.002)
    assert (on_h6.least_clearance, on_h6.most_clearance) == (-0.008, 0.009)
    assert (on_k6.least_clearance, on_k6.most_clearance) == (-0.018, -0.001)


def test_bearings_have_a_bore_within_their_outside():
    for name, (bore, outside, width) in BEARINGS.items():
        assert 0 < bore < outside, name
        assert width < outside, name


@pytest.mark.parametrize("name", ["608-2RS", "608ZZ", "608 zz", " 608"])
def test_suffixes_of_bearings_change_no_diameter(name: str):
    assert bearing(name).designation == "608"


def test_clearance_holes_of_screws():
    words = CLEARANCES.split()
    for thread, sizes in zip(words[::2], words[1::2], strict=True):
        for series, size in zip(
            ("fine", "medium", "coarse"), sizes.split("/"), strict=True
        ):
            hole = standard_part(f"screw {thread} {series}").hole
            assert hole.nominal_size == float(size)
            # Classes from memory of ISO 273.
            assert hole.name == {"fine": "H12", "medium": "H13", "coarse": "H14"}[series]
    assert len(words) == 26


def test_nuts_across_flats():
    words = NUTS.split()
    for thread, sizes in zip(words[::2], words[1::2], strict=True):
        most, least = (float(size) for size in sizes.split("/"))
        across = standard_part(f"nut {thread}").across
        assert (across.upper_limit, across.lower_limit) == (most, least)


@pytest.mark.parametrize(
    ("name", "lower", "upper"),
    [
        # m6 and h8 in um as printed on a public page of dowel pins.
        ("dowel 3", 2, 8),
        ("dowel 5", 4, 12),
        ("dowel 10", 6, 15),
        ("dowel 16", 7, 18),
        ("dowel 3 h8", -14, 0),
        ("dowel 5 h8", -18, 0),
        ("dowel ISO 8734 8", 6, 15),
    ],
)
def test_dowels(name: str, lower: float, upper: float):
    outside = standard_part(name).outside

    assert outside.lower_deviation == pytest.approx(lower / 1000)
    assert outside.upper_deviation == pytest.approx(upper / 1000)


def test_a_dowel_in_its_hole():
    fit = Fit(hole=zone(5, "H7"), shaft=standard_part("dowel 5").outside)

    assert (fit.most_clearance, fit.least_clearance) == (0.008, -0.012)


def test_holes_for_inserts_are_practice_and_say_so():
    """As printed by a supplier of inserts; common practice, no standard."""
    published = {"M3": 4.0, "M4": 5.6, "M5": 6.4, "M6": 8.0}
    for thread, size in published.items():
        part = standard_part(f"insert {thread}")
        assert (part.hole.lower_limit, part.hole.upper_limit) == (
            size,
            round(size + 0.1, 1),
        )
        assert part.source == "common practice, no source"
        assert any("hot" in note for note in part.notes)


def test_holes_for_self_tapping_screws_lie_between_core_and_thread():
    # Core diameters of coarse threads, ISO 724, from memory: d3 = d - 1.22687 P.
    for thread, pitch in {"M3": 0.5, "M4": 0.7, "M5": 0.8, "M6": 1.0}.items():
        diameter = float(thread[1:])
        hole = standard_part(f"self-tapping {thread}").hole
        assert diameter - 1.22687 * pitch < hole.lower_limit
        assert hole.upper_limit < diameter


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("bearing 12345", "no bearing '12345' is known: give its diameter"),
        ("bearing ball", "no bearing 'ball'"),
        ("bearing", "is no standard part: name one such as bearing 608"),
        ("washer M3", "is no standard part"),
        ("screw M7", "no clearance hole is known for 'M7'"),
        ("screw M6 loose", "no series 'loose'"),
        ("nut M7", "no nut is known for 'M7'"),
        ("insert M12", "no insert is known"),
        ("self-tapping M7", "no self-tapping hole is known"),
        ("dowel five", "'dowel five' is no dowel"),
        ("dowel ISO 1 5", "is no dowel"),
        ("dowel 5 h7", "ISO 2338 has no dowels h7: take m6 or h8"),
        ("dowel ISO 8734 5 h8", "ISO 8734 has no dowels h8"),
        ("dowel 7", "ISO 2338 has no dowel of 7 mm"),
    ],
)
def test_what_is_no_standard_part_is_refused(name: str, message: str):
    with pytest.raises(OptionError, match=message):
        standard_part(name)
