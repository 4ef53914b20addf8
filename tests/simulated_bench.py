"""A bench of simulated printers: prints, readings, calibration and new prints.

Run as a program, it prints the whole table of what calibration achieves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshcomp.calibration.estimate import estimate_calibration
from meshcomp.calibration.results import Conditions
from meshcomp.measurements.readings import Instrument, Reading

CONDITIONS = Conditions(
    printer="simulated", material="none", nozzle=0.4, layer_height=0.2, line_width=0.44
)
CALIPER = Instrument(name="caliper", resolution=0.01)
LADDER = (2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 14.0, 20.0, 25.0, 30.0)
REPEATABILITY, NOISE, DISPLAY, STEP = 0.02, 0.01, 0.01, 0.2  # mm
NEW_PRINTS = 10


def constant_and_inverse(rng):
    c, q = rng.uniform(0.05, 0.15), rng.uniform(0.2, 0.6)
    return lambda d: -c - q / d


def all_three_terms(rng):
    s, c, q = rng.uniform(-0.004, 0.002), rng.uniform(0.05, 0.15), rng.uniform(0.2, 0.6)
    return lambda d: s * d - c - q / d


def logarithm(rng):
    """Outside the family; the shape of a published fit of eight measured holes."""
    a, b = rng.uniform(0.3, 0.5), rng.uniform(0.08, 0.12)
    return lambda d: np.minimum(b * np.log(d) - a, 0.0)


def exponential(rng):
    """Outside the family: closes by more only below some millimetres."""
    a, b, c = rng.uniform(0.05, 0.15), rng.uniform(0.1, 0.3), rng.uniform(3.0, 6.0)
    return lambda d: -a - b * np.exp(-d / c)


LAWS = {
    "constant and inverse": constant_and_inverse,
    "all three terms": all_three_terms,
    "logarithm": logarithm,
    "exponential": exponential,
}


@dataclass(frozen=True)
class Outcome:
    """What compensation achieved."""

    coverage: float  # % of new prints within their 95 % interval
    error: float  # rms of compensated prints, mm
    uncompensated: float  # rms, mm

    @property
    def ratio(self):
        """Error over what no compensation can beat."""
        return self.error / REPEATABILITY

    @property
    def removed(self):
        """Share of the error that is gone, %."""
        return 100 * (1 - self.error / self.uncompensated)


def _caliper_row(rng, true):
    noisy = true + rng.normal(0, NOISE, 2)
    return {"values": tuple((np.round(noisy / DISPLAY) * DISPLAY).tolist())}


def _gauge_row(rng, true):
    start = rng.uniform(0, STEP)  # gauges are not made to the bores' sizes
    go = float(np.floor((true - start) / STEP) * STEP + start)
    return {"go_size": go, "no_go_size": go + STEP}


ROWS = {"caliper": (_caliper_row, CALIPER), "gauges": (_gauge_row, None)}


def bench_readings(rng, deviation, way, prints):
    row, instrument = ROWS[way]
    return [
        Reading(
            piece=f"print {k}",
            feature_id=f"B{i}",
            kind="bore",
            nominal_size=d,
            mesh_size=d,
            instrument=instrument,
            **row(rng, d + deviation(d) + rng.normal(0, REPEATABILITY)),
        )
        for k in range(prints)
        for i, d in enumerate(LADDER)
    ]


def simulate(law, way, *, prints=2, printers=200, seed=1):
    """Calibrate printers, then print new bores of 2 to 30 mm, evenly in log size."""
    rng = np.random.default_rng(seed)
    within, errors, plain = [], [], []
    for _ in range(printers):
        deviation = LAWS[law](rng)
        readings = bench_readings(rng, deviation, way, prints)
        found = estimate_calibration(readings, conditions=CONDITIONS).model.laws["bore"]
        for d in np.exp(rng.uniform(np.log(2), np.log(30), NEW_PRINTS)).tolist():
            scatter = rng.normal(0, REPEATABILITY, 3)
            low, high = found.prediction_interval(d)
            within.append(low <= d + deviation(d) + scatter[0] <= high)
            mesh = found.mesh_size_for(d)
            errors.append(mesh + deviation(mesh) + scatter[1] - d)
            plain.append(deviation(d) + scatter[2])
    return Outcome(100 * float(np.mean(within)), _rms(errors), _rms(plain))


def _rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


def table():
    lines = ["hidden law            read by  prints  coverage  error   ratio  removed"]
    for way in ROWS:
        for prints in (1, 2):
            for law in LAWS:
                got = simulate(law, way, prints=prints)
                lines.append(
                    f"{law:21s} {way:8s} {prints:5d} {got.coverage:8.1f} % "
                    f"{got.error:.4f} {got.ratio:6.2f} {got.removed:7.1f} %"
                )
    return "\n".join(lines)


if __name__ == "__main__":
    print(table())  # noqa: T201
