"""What calibration achieves on 200 simulated printers whose law it does not know.

The bore ladder of 12 sizes is printed twice: print repeatability 0.02 mm, reading noise
0.01 mm, display step 0.01 mm. Two of the laws lie outside the model family.
"""

from __future__ import annotations

import pytest
from simulated_bench import LAWS, simulate

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("law", LAWS)
def test_caliper_readings_predict_and_compensate_new_prints(law):
    got = simulate(law, "caliper")
    assert 92.0 <= got.coverage <= 98.0
    assert got.ratio <= 1.15
    assert got.removed >= 80.0


@pytest.mark.parametrize("law", LAWS)
def test_gauges_in_steps_of_two_tenths_remove_most_of_the_error(law):
    got = simulate(law, "gauges", prints=1)
    assert got.removed >= 60.0
    assert got.coverage >= 92.0
