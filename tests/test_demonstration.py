"""The demo's kit: parts of a mechanism that really go together."""

import pytest

from meshcomp.demonstration import run_demo
from meshcomp.kits.making import Workers, suggest_mates
from meshcomp.kits.reading import read_kit
from meshcomp.mechanisms import Bought
from meshcomp.scenario import demo_parts, true_features, write_scenario
from meshcomp.scenario.driving import DISC


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return run_demo(tmp_path_factory.mktemp("demo"), workers=Workers(count=1))


def mate(demo, name):
    (found,) = [m for m in demo.outcome.mates if m.mate.name == name]
    return found


def test_every_part_is_made_and_every_mate_is_as_sure_as_asked(demo):
    assert demo.conforms
    assert [part.name for part in demo.outcome.parts] == list(demo_parts())
    assert all(mate.unknown is None and not mate.notes for mate in demo.outcome.mates)
    assert 0.5 < demo.outcome.all_fit < 1


def test_mates_bring_bearings_dowels_shafts_and_flanks_together(demo):
    bought = {
        m.mate.external.words.split()[0]
        for m in demo.outcome.mates
        if isinstance(m.mate.external, Bought)
    }

    assert {"bearing", "dowel", "8"} <= bought
    assert any(m.mate.is_gap for m in demo.outcome.mates)
    assert not isinstance(mate(demo, "wheel round the spacer").mate.external, Bought)


def test_every_pin_of_the_ring_counts(demo):
    assert len(mate(demo, "pins in the ring").pairs) == DISC.pins
    # One lobe less than pins, and each output hole is its own pair.
    assert mate(demo, "disc round the output pins").copies == 5


def test_output_holes_leave_the_pins_room_to_go_round(demo):
    """A pin goes round in its hole by twice the eccentricity of the disc."""
    found = mate(demo, "disc round the output pins").mate

    holes = {f.size for f in true_features("lobed_disc") if f.kind == "bore"} - {10.0}
    assert holes == {5.0 + 2 * DISC.eccentricity}
    assert found.least > 2 * DISC.eccentricity


def test_the_spacer_goes_through_the_wheel_twice(demo):
    found = mate(demo, "wheel round the spacer")

    assert found.copies == 2
    assert found.worst.mean == pytest.approx(0.25, abs=1e-5)


def test_done_again_nothing_is_made_anew(demo):
    again = run_demo(demo.parts.parent, workers=Workers(count=1))

    assert all(part.was_there for part in again.outcome.parts)
    assert again.outcome.mates == demo.outcome.mates


def test_the_printed_pair_of_the_demo_is_found_as_a_suggestion(tmp_path):
    *_, file = write_scenario(tmp_path / "parts")
    found = suggest_mates(read_kit(file), workers=Workers(count=1)).mates

    names = [(s.internal.in_words(), s.external.in_words()) for s in found]
    assert ("indexing_wheel/bore-08", "shaft_spacer/boss-01") in names
