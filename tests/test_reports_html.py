"""The HTML page, read by the parsers of the standard library."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from html.parser import HTMLParser
from xml.etree import ElementTree as ET

import pytest
import records
from simulated_bench import CONDITIONS
from test_reports_calibration import bores, reading

from meshcomp.calibration.estimate import estimate_calibration
from meshcomp.reports import record_html
from meshcomp.reports._sentences import cautions

VOID = {"meta", "br", "link", "img", "input", "hr"}
HOSTILE = "a<script>alert(1)</script>\"'&\n\x1b[31m\udcff {{ 7*7 }}.stl"


class Page(HTMLParser):
    """Elements, text and table rows of a page; raises where tags do not match."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.stack, self.elements, self.texts, self.rows = [], [], [], []
        self.scripts = []
        self.feed(text)
        self.close()
        assert self.stack == []

    def handle_starttag(self, tag, attrs):
        """Note an element, and open a row or a cell."""
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.stack.append(tag)
        if tag == "script":
            self.scripts.append((dict(attrs), ""))
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_startendtag(self, tag, attrs):
        """Note an element that has no content."""
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        """Close the element that was opened last."""
        assert self.stack.pop() == tag

    def handle_data(self, data):
        """Collect text, that of cells by row."""
        if "script" in self.stack:
            attrs, before = self.scripts.pop()
            self.scripts.append((attrs, before + data))
        if {"style", "script"} & set(self.stack):
            return
        self.texts.append(data)
        if "td" in self.stack or "th" in self.stack:
            self.rows[-1][-1] += data

    @property
    def text(self):
        """All text, spaces made one."""
        return " ".join(" ".join(self.texts).split())

    def all(self, tag):
        """Return the attributes of all elements of a name."""
        return [attrs for name, attrs in self.elements if name == tag]

    def row(self, name):
        """Return the cells of the row that a name begins."""
        return next(row for row in self.rows if row and row[0].split()[:1] == [name])


def pages():
    whole = records.record()
    yield "proved", whole
    yield "limited", records.with_limit(whole)
    yield "planned", records.dry_record(by_hand=True)
    yield "many", records.record(bores=records.many_bores(60))
    yield "no views", replace(whole, views=())
    yield "no features", records.record(inspection=replace(whole.inspection, features=()))
    yield "hostile", hostile()


def hostile():
    source = records.source(path=HOSTILE, questions=(HOSTILE,))
    part = records.part(source=source, name=HOSTILE)
    whole = records.record(inspection=records.inspection(part=part, notes=(HOSTILE,)))
    return replace(
        whole, written=HOSTILE, plan=replace(whole.plan, source=HOSTILE), version="<1>"
    )


@pytest.mark.parametrize(("name", "record"), list(pages()))
def test_a_page_is_well_formed_and_needs_nothing_from_outside(name, record):
    text = record_html(record)
    text.encode("utf-8")
    page = Page(text)
    assert text.startswith("<!DOCTYPE html>"), name
    assert page.all("html") == [{"lang": "en"}], name
    # The script names the namespace of HTML, as the DOM demands; it is no address.
    bare = text.replace(HOSTILE, "").replace("http://www.w3.org/1999/xhtml", "")
    bare = re.sub(r"<script>.*?</script>", "", bare, flags=re.DOTALL)
    assert not re.search(r"(https?:|//[a-z]|@import|src=)", bare), name
    assert "http" not in "".join(script for _, script in page.scripts).replace(
        "http://www.w3.org/1999/xhtml", ""
    ), name
    for unwanted in ("link", "img", "iframe", "object", "image", "form"):
        assert page.all(unwanted) == [], (name, unwanted)
    # The page tells the browser, too, that it loads nothing and runs nothing but its own.
    policies = [m["content"] for m in page.all("meta") if "http-equiv" in m]
    ours = [script for attrs, script in page.scripts if attrs == {}]
    assert len(ours) == 1, name
    digest = base64.b64encode(hashlib.sha256(ours[0].encode()).digest()).decode()
    expected = (
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; "
        "base-uri 'none'; form-action 'none'"
    )
    assert policies == [expected]
    others = [attrs for attrs, _ in page.scripts if attrs != {}]
    assert all(attrs["type"] == "application/json" for attrs in others), name
    assert "url(#" in text or not record.views
    assert not re.search(r"url\((?!#)", text), name


@pytest.mark.parametrize(("name", "record"), list(pages()))
def test_names_within_a_page_are_unique_and_every_reference_has_its_aim(name, record):
    text = record_html(record)
    page = Page(text)
    names = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(names) == len(set(names)), name
    referred = {n for _, a in page.elements for n in a.get("aria-labelledby", "").split()}
    referred |= {a["href"].removeprefix("#") for _, a in page.elements if "href" in a}
    referred |= set(re.findall(r"url\(#([^)]+)\)", text))
    assert referred <= set(names), name


@pytest.mark.parametrize(("name", "record"), list(pages()))
def test_every_header_cell_of_a_table_has_a_scope(name, record):
    page = Page(record_html(record))
    assert {attrs.get("scope") for attrs in page.all("th")} == {"col", "row"}, name


def test_every_feature_has_its_row_with_the_numbers_of_the_record():
    whole = records.record(bores=records.many_bores(60))
    page = Page(record_html(whole))
    sizes = {size.feature_id: size for size in whole.verification.sizes}
    for correction in whole.plan.corrections:
        row = [
            cell.replace("\N{MINUS SIGN}", "-") for cell in page.row(correction.feature_id)
        ]
        expected = (
            correction.nominal_size,
            correction.predicted_deviation,
            correction.target_size,
            correction.mesh_size,
            sizes[correction.feature_id].achieved,
            correction.offset,
        )
        for cell, number in zip(row[1:7], expected, strict=True):
            if number is None:
                assert cell == "\N{EN DASH}"
            else:
                assert abs(float(cell.split("u")[0]) - number) <= 0.0005
        assert correction.reason in row[7]


def test_a_size_that_misses_is_marked_in_words_and_with_a_fourth_digit():
    whole = records.record()
    sizes = tuple(
        replace(size, conforms=False, achieved=size.planned - 0.00204)
        if size.feature_id == "b02"
        else size
        for size in whole.verification.sizes
    )
    missed = replace(whole, verification=replace(whole.verification, sizes=sizes))
    page = Page(record_html(missed))
    assert page.row("b02")[4:6] == ["3.4300", "3.4279"]
    assert "not as planned" in page.row("b02")[7]
    assert "Not proved" in page.text
    assert "\N{LESS-THAN OR EQUAL TO} 2.1" in page.text
    assert "b02" in page.text.split("Largest difference")[1][:60]


def test_the_page_says_the_verdict_the_checks_and_the_cautions():
    whole = records.record()
    text = Page(record_html(whole)).text
    assert (
        "3 bores were changed in size by +0.230 mm and 2 walls by \N{MINUS SIGN}0.120"
        in text
    )
    for check in whole.verification.checks:
        assert check.name in text
        assert check.figure in text
    for caution in cautions(whole):
        assert caution in text
    for content in (
        whole.inspection.part.source.sha256,
        whole.plan.source_sha256,
        whole.written_sha256,
    ):
        assert content in text
    assert "\N{MINUS SIGN}174.51" in text
    assert "predicted from area times offset: \N{MINUS SIGN}174.49" in text


def test_limits_and_failed_checks_are_told_on_the_page():
    whole = records.with_limit(records.record())
    checks = (replace(whole.verification.checks[0], passed=False, figure="7 open edges"),)
    page = Page(
        record_html(replace(whole, verification=replace(whole.verification, checks=checks)))
    )
    assert page.row("closed")[1].split() == ["✕", "failed"]
    assert "7 open edges" in page.row("closed")[2]
    assert "the wall to the edge would turn over" in page.text
    assert "used \N{MINUS SIGN}0.058" in page.row("b01")[6]
    assert "Held back" in page.text


def test_a_plan_shows_dashes_for_what_was_not_measured():
    page = Page(record_html(records.dry_record(by_hand=True)))
    assert page.row("b01")[1:7] == [
        *("3.200", "\N{EN DASH}", "3.200", "3.430", "\N{EN DASH}"),
        "\N{MINUS SIGN}0.115",
    ]
    assert (
        "b01 to b04, w01, w02: no predicted deviation: no calibration was given"
        in page.text
    )
    assert "Plan only" in page.text


def test_what_comes_from_file_names_stays_text():
    text = record_html(hostile())
    page = Page(text)
    assert "<script>alert" not in text
    assert "\x1b" not in text
    assert "\udcff" not in text
    assert "{{ 7*7 }}" in page.text
    assert page.text.count("a<script>alert(1)</script>\"'&\\n\\x1b[31m\\udcff") >= 4


def test_pictures_are_well_formed_and_have_a_title_and_a_description():
    text = record_html(records.record())
    svgs = re.findall(r"<svg class=\"plan\".*?</svg>", text, flags=re.DOTALL)
    assert len(svgs) == 1
    picture = ET.fromstring(svgs[0])  # noqa: S314 - our own text
    assert picture.get("role") == "img"
    words = {
        child.get("id"): child.text for child in picture if child.tag in ("title", "desc")
    }
    assert picture.get("aria-labelledby").split() == list(words)
    assert "Section at z = 3.000 mm" in words["view1-title"]
    assert "Changed here: b01, b02, b04, p01, w01, w02." in words["view1-words"]
    assert "Left alone here: b03." in words["view1-words"]
    labels = ["".join(label.itertext()) for label in picture.iter("text")]
    assert "b01⌀3.200 → 3.430" in labels
    assert "b03" in labels
    assert "10 mm" in labels


def test_without_views_the_page_says_so():
    text = Page(record_html(replace(records.record(), views=()))).text
    assert "There is no section view in this record." in text


def test_the_measuring_record_asks_for_what_a_calibration_can_learn_from():
    whole = records.record()
    text = record_html(whole)
    page = Page(text)
    rows = {a["data-feature"]: a for a in page.all("tr") if "data-kind" in a}
    # Profiles have no size to read.
    assert set(rows) == {"b01", "b02", "b03", "b04", "w01", "w02"}
    assert rows["b01"]["data-kind"] == "bore"
    assert rows["w01"]["data-kind"] == "outside x"
    assert (rows["b01"]["data-nominal"], rows["b01"]["data-mesh"]) == ("3.200", "3.430")
    assert text.count('name="reading_') == 3 * len(rows)


def test_the_calibration_is_shown_with_a_chart_of_each_law_that_the_part_needs():
    readings = [
        *bores(),
        *(reading("outside x", x, 0.1) for x in (10.0, 40.0, 80.0)),
        *(reading("boss", d, 0.06) for d in (6.0, 12.0, 20.0)),
    ]
    calibration = estimate_calibration(readings, conditions=CONDITIONS)
    text = record_html(records.record(), calibration)
    page = Page(text)
    # The plate has bores and walls, but no boss.
    shown = re.findall(r"<figcaption><strong>([\w ]+)</strong>", text)
    assert shown == ["Bore", "Outside x"]
    assert text.count('class="chart"') == 2
    names = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(names) == len(set(names))
    referred = set(re.findall(r"url\(#([^)]+)\)", text))
    assert referred <= set(names)
