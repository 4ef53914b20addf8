"""The page of a calibration: words, charts and readings, and nothing from outside."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import numpy as np
import pytest
from simulated_bench import CONDITIONS

from meshcomp.calibration.estimate import estimate_calibration
from meshcomp.measurements.readings import Instrument, Reading
from meshcomp.reports.calibration import law_sentence
from meshcomp.reports.calibration_html import calibration_html

MINUS = "\N{MINUS SIGN}"
CALIPER = Instrument(name="caliper", resolution=0.01, accuracy=0.02)
SIZES = (2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0, 20.0, 30.0)
SCATTER = (0.01, -0.012, 0.004, -0.008, 0.011, -0.003, 0.007, -0.009, 0.002)


def reading(kind, size, deviation, **more):
    return Reading(
        piece="first",
        feature_id=f"{kind[0].upper()}{size:g}",
        kind=kind,
        nominal_size=size,
        mesh_size=size,
        **{"values": (size + deviation,), "instrument": CALIPER} | more,
    )


def bores(wild=0.0):
    rows = []
    for size, noise in zip(SIZES, SCATTER, strict=True):
        odd = wild if size == 12.0 else 0.0
        rows.append(reading("bore", size, -0.1 - 0.4 / size + noise + odd))
    return rows


def gauged():
    sizes = {"go_size": 4.8, "no_go_size": 4.9, "values": (), "instrument": None}
    return reading("bore", 5.0, 0.0, **sizes)


def page(readings):
    return calibration_html(estimate_calibration(readings, conditions=CONDITIONS))


class Reader(HTMLParser):
    """Collect what a browser would fetch, and the elements."""

    def __init__(self, html):
        super().__init__()
        self.fetched, self.tags = [], []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        """Take an element in."""
        self.tags.append(tag)
        self.fetched += [
            value
            for name, value in attrs
            if name in {"src", "href", "xlink:href"} and value and not value.startswith("#")
        ]


def test_the_page_needs_nothing_from_outside():
    reader = Reader(page(bores()))
    assert reader.fetched == []
    assert "script" not in reader.tags


def test_each_law_has_a_chart_and_its_words():
    readings = [*bores(), *(reading("slot", s, -0.14) for s in (2.0, 4.0, 8.0))]
    found = estimate_calibration(readings, conditions=CONDITIONS)
    html = calibration_html(found)
    assert Reader(html).tags.count("svg") == 2
    for kind, law in found.model.laws.items():
        assert law_sentence(kind, law)[1:].replace("-", MINUS) in html


def test_all_readings_stand_in_the_table():
    html = page([*bores(), gauged()])
    for size in (*SIZES, 5.0):
        assert f">first B{size:g}</th>" in html
    assert f"{MINUS}0.200 to {MINUS}0.100" in html  # the gauges' bounds less the mesh size
    assert "between gauges" in html


def test_a_suspect_reading_is_marked_in_the_chart():
    assert "suspect readings" not in page(bores())
    assert "suspect readings" in page(bores(wild=0.3))


def test_a_chart_shows_the_law_where_it_is_computed():
    """The curve's ends in the drawing stand to each other as the law's values do."""
    found = estimate_calibration(bores(), conditions=CONDITIONS)
    law = found.model.laws["bore"]
    html = calibration_html(found)
    lines = re.findall(
        r'<path d="(M[^"]*)" clip-path="[^"]*" style="fill: none; [^"]*"', html
    )
    curve = max(lines, key=len)
    x, y = np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", curve), dtype=float).T
    height = np.interp((x[0] + x[-1]) / 2, x, y)  # the axis is logarithmic
    sizes = (law.valid_from, (law.valid_from * law.valid_to) ** 0.5, law.valid_to)
    low, mid, high = (law.deviation(size) for size in sizes)
    assert (height - y[0]) / (y[-1] - y[0]) == pytest.approx(
        (mid - low) / (high - low), abs=0.005
    )


def test_no_word_of_a_record_becomes_markup():
    odd = reading("bore", 8.0, -0.15, source="<b>table</b>.csv, line 2")
    html = page([odd, reading("bore", 9.0, -0.14)])
    assert "<b>table" not in html
    assert "&lt;b&gt;table" in html
