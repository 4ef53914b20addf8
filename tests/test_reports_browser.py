"""The page in a real browser: chromium, driven by playwright."""

from __future__ import annotations

import io
import re
import shutil
import socket
import subprocess

import numpy as np
import pytest
from browser import Watched, headless, playwright_or_skip
from PIL import Image

import meshcomp
from meshcomp.calibration.estimate import estimate_calibration
from meshcomp.calibration.record import invented_calibration_path
from meshcomp.calibration.results import Conditions
from meshcomp.corrections import Calibrated
from meshcomp.demonstration import run_demo
from meshcomp.intents.planfile import read_plan
from meshcomp.measurements.readings import Instrument, Reading
from meshcomp.measurements.tables import read_readings
from meshcomp.reports.calibration_html import calibration_html
from meshcomp.workflow import compensate_part, save_reports

REST = 400  # ms: after a move, until the names are placed


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    """Report of the bearing plate, written by the workflow."""
    record = meshcomp.read_calibration(invented_calibration_path())
    rule = Calibrated(
        model=record.model, source="invented", sha256=record.sha256, feels=record.feels
    )
    out = tmp_path_factory.mktemp("plate") / "plate.stl"
    return save_reports(compensate_part(meshcomp.demo_part("bearing_plate"), out, rule))[1]


@pytest.fixture(scope="module")
def playwright():
    with playwright_or_skip() as playwright:
        yield playwright


@pytest.fixture(scope="module")
def chromium(playwright):
    with headless(playwright) as browser:
        yield browser


@pytest.fixture
def opened(chromium, report):
    seen = Watched(chromium, report)
    seen.page.wait_for_timeout(REST)
    yield seen
    seen.context.close()


def lit(page):
    return page.eval_on_selector_all(
        "#feature-table tr.lit", "rows => rows.map(r => r.dataset.feature)"
    )


def test_the_page_opens_from_disk_without_a_message_and_asks_for_nothing(opened, report):
    assert opened.errors == []
    assert opened.requests == [report.as_uri()]
    assert opened.page.is_visible("canvas")
    assert opened.page.query_selector("#flat") is None


WAYS_OUT = {
    "fetch": "fetch('ADDRESS').catch(() => 0)",
    "img": "document.body.append(Object.assign(new Image(), {src: 'ADDRESS'}))",
    "style": "document.body.append(Object.assign(document.createElement('link'), "
    "{rel: 'stylesheet', href: 'ADDRESS'}))",
    "script": "document.body.append(Object.assign(document.createElement('script'), "
    "{src: 'ADDRESS'}))",
}


@pytest.mark.parametrize("way", WAYS_OUT)
def test_the_policy_lets_no_request_reach_even_this_machine(chromium, report, way):
    text = report.read_text(encoding="utf-8")
    policy = re.search(r"<meta http-equiv[^>]*>", text)[0]
    open_page = report.with_name("open.html")
    open_page.write_text(text.replace(policy, ""), encoding="utf-8")
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(1.0)
        address = f"http://127.0.0.1:{server.getsockname()[1]}/x"
        for path, arrives in ((report, False), (open_page, True)):
            seen = Watched(chromium, path)
            seen.page.evaluate(f"() => {{ {WAYS_OUT[way].replace('ADDRESS', address)} }}")
            try:
                server.accept()[0].close()
                arrived = True
            except TimeoutError:
                arrived = False
            seen.context.close()
            assert arrived is arrives, path.name


def test_a_click_on_a_row_shows_the_feature_and_a_click_on_it_the_row(opened):
    page = opened.page
    page.click("#feature-table tr[data-feature=bore-05] button.id")
    page.wait_for_timeout(REST)
    assert lit(page) == ["bore-05"]
    assert "10.000" in page.inner_text("#card")
    assert "bore-05" in page.locator(".names .lit").all_inner_texts()
    assert page.evaluate("document.activeElement.tagName") == "CANVAS"
    # Its name lies on it: a click beneath the middle of the name meets the bore.
    box = page.locator(".names .lit").bounding_box()
    page.keyboard.press("Escape")
    assert lit(page) == []
    page.uncheck("input[name=names]")
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert lit(page) == ["bore-05"]
    page.click("#card button")
    assert page.evaluate("document.activeElement.textContent") == "bore-05"


def test_a_click_on_a_distance_marks_its_two_walls(chromium, tmp_path):
    # Its outside planes belong to a pair of walls and to a profile: it has no faces.
    made = compensate_part(
        meshcomp.demo_part("stepper_bracket"),
        tmp_path / "b.stl",
        meshcomp.ByHand(wall_growth=0.05),
    )
    seen = Watched(chromium, save_reports(made)[1])
    page = seen.page
    page.wait_for_timeout(REST)
    page.uncheck("input[name=names]")

    def striped():
        page.wait_for_timeout(2 * REST)
        image = Image.open(io.BytesIO(page.locator("#stage canvas").screenshot()))
        return np.asarray(image.convert("L"), dtype=float)

    before = striped()
    page.click("#feature-table tr[data-feature=distance-01] button.id")
    page.wait_for_timeout(2 * REST)
    marked = striped()
    page.keyboard.press("Escape")
    without = striped()
    seen.context.close()

    assert before.shape == marked.shape
    # Stripes are dark and light in turn; once nothing is chosen, they are gone.
    assert (np.abs(marked - without) > 30).mean() > 0.01


def test_every_feature_with_a_size_can_be_brought_into_sight(opened):
    page = opened.page
    for name in page.eval_on_selector_all(
        "#feature-table tr[data-feature]", "rows => rows.map(r => r.dataset.feature)"
    ):
        page.click(f"#feature-table tr[data-feature={name}] button.id")
        page.wait_for_timeout(REST)
        assert page.locator(".names .lit").inner_text() == name


def test_the_keyboard_alone_goes_to_a_feature_and_to_its_row_and_back(opened):
    page = opened.page
    page.focus("canvas")
    page.keyboard.press("n")
    page.keyboard.press("n")
    assert lit(page) == ["bore-02"]
    page.keyboard.press("p")
    assert lit(page) == ["bore-01"]
    before = page.screenshot(clip=page.locator(".frame").bounding_box())
    for key in ("ArrowLeft", "ArrowUp", "+", "-", "Home"):
        page.keyboard.press(key)
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(REST)
    assert page.screenshot(clip=page.locator(".frame").bounding_box()) != before
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.textContent") == "bore-01"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.tagName") == "CANVAS"
    page.keyboard.press("Escape")
    assert lit(page) == []


def test_the_table_is_sorted_by_a_column_either_way_with_blanks_last(opened):
    page = opened.page
    page.click("#feature-table th:has-text('Nominal size') button")
    read = "rows => rows.map(r => r.cells[1].dataset.value)"
    values = page.eval_on_selector_all("#feature-table tr[data-feature]", read)
    numbers = [float(value) for value in values if value]
    assert numbers == sorted(numbers)
    assert values[len(numbers) :] == [""] * (len(values) - len(numbers))
    page.click("#feature-table th:has-text('Nominal size') button")
    values = page.eval_on_selector_all("#feature-table tr[data-feature]", read)
    numbers = [float(value) for value in values if value]
    assert numbers == sorted(numbers, reverse=True)
    assert values[-1] == ""
    head = page.locator("th:has-text('Nominal size')")
    assert head.get_attribute("aria-sort") == "descending"


def test_readings_written_into_the_page_are_a_table_that_calibrate_reads(opened, tmp_path):
    page = opened.page
    for name, text in {
        "piece": "print 3",
        "instrument": "caliper",
        "resolution": "0.01",
        "accuracy": "0,02",
    }.items():
        page.fill(f".bench-head [name={name}]", text)
    page.fill("#bench-table tr[data-feature=bore-04] [name=reading_1]", "21,98")
    page.fill("#bench-table tr[data-feature=bore-04] [name=reading_2]", "22.01")
    page.fill("#bench-table tr[data-feature=wall-01] [name=reading_1]", "seventy")
    page.click("#save-readings")
    assert "no numbers" in page.inner_text("#readings-state")
    page.fill("#bench-table tr[data-feature=wall-01] [name=reading_1]", "70.02")
    page.fill("#bench-table tr[data-feature=wall-01] [name=note]", 'seam, "left" side')
    with page.expect_download() as download:
        page.click("#save-readings")
    table = tmp_path / download.value.suggested_filename
    download.value.save_as(table)
    bore, wall = read_readings([table]).readings
    assert (bore.piece, bore.feature_id, bore.kind) == ("print 3", "bore-04", "bore")
    assert bore.values == (21.98, 22.01)
    assert (bore.instrument.name, bore.instrument.accuracy) == ("caliper", 0.02)
    # The mesh size is the one measured in the written file.
    assert (bore.nominal_size, bore.mesh_size) == (22.0, pytest.approx(22.118, abs=5e-4))
    assert (wall.kind, wall.values) == ("outside y", (70.02,))
    assert opened.errors == []


def number(text):
    return float(text.replace("\N{MINUS SIGN}", "-"))


def test_a_plan_made_by_pointing_gives_the_sizes_that_the_page_told(opened, tmp_path):
    page = opened.page
    rows = {
        name: f"#plan-table tr[data-feature={name}]"
        for name in ("bore-01", "bore-04", "bore-05", "wall-01", "profile-01", "bore-08")
    }
    page.select_option(f"{rows['bore-01']} select", label="screw M4 fine")
    page.click(f"{rows['bore-01']} td.wish button")  # the same for all alike
    page.select_option(f"{rows['bore-05']} select", label="clearance from 10 h6")
    page.click("#save-plan")
    assert "bore-05" in page.inner_text("#plan-state")
    page.fill(f"{rows['bore-05']} input >> nth=0", "0,02")
    page.fill(f"{rows['bore-05']} input >> nth=1", "0.10")
    page.select_option(f"{rows['wall-01']} select", label="size in print")
    page.fill(f"{rows['wall-01']} input", "69.95")
    page.select_option(f"{rows['profile-01']} select", label="leave as it is")
    # By pointing: the list in the card under the view is that of the row.
    page.click("#feature-table tr[data-feature=bore-04] button.id")
    page.select_option("#card select", label="bearing 608, slide")
    assert "target 22.1" in page.inner_text("#card")
    told = {
        name: page.inner_text(f"{row} [data-name=target]") for name, row in rows.items()
    }
    assert told["bore-08"] == told["bore-01"] == "4.360"  # 4.3 H12 of ISO 273: +0.12/0
    assert told["wall-01"] == "69.950"
    # h6 of 10 mm is 0/-9 um (ISO 286-2); the middle of the clearance is 0.06 mm.
    assert number(told["bore-05"]) == pytest.approx(10 - 0.0045 + 0.06, abs=6e-4)
    with page.expect_download() as download:
        page.click("#save-plan")
    file = tmp_path / download.value.suggested_filename
    assert file.name == "plan.toml"
    download.value.save_as(file)
    assert len(opened.requests) == 1 or all(
        url.startswith(("file:", "blob:")) for url in opened.requests
    )
    record = meshcomp.read_calibration(invented_calibration_path())
    rule = Calibrated(model=record.model, intents=read_plan(file), feels=record.feels)
    found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    decided = meshcomp.plan(found, rule)
    for name in set(rows) - {"profile-01"}:
        assert decided.of(name).target_size == pytest.approx(number(told[name]), abs=6e-4)
    assert decided.of("profile-01").is_left_alone
    assert opened.errors == []


def test_without_webgl_the_page_says_so_and_keeps_the_plan_views(playwright, report):
    with headless(
        playwright, "--disable-gpu", "--disable-3d-apis", "--disable-webgl"
    ) as browser:
        page = Watched(browser, report).page
        assert not page.is_visible("#stage")
        assert "nothing in 3D" in page.inner_text("#flat")
        assert page.locator("svg.plan").count() >= 1
        # The table is sorted all the same.
        page.click("#feature-table th:has-text('Nominal size') button")
        assert page.locator("[aria-sort]").count() == 1


def test_without_scripts_the_page_shows_all_but_the_3d_view(chromium, report):
    page = Watched(chromium, report, java_script_enabled=False).page
    assert page.is_visible("#flat")
    assert not page.is_visible("#stage")
    assert page.locator("svg.plan").count() >= 1
    assert "bore-05" in page.inner_text("#feature-table")


def test_in_print_it_is_a_record_on_a4_with_room_for_readings(opened):
    page = opened.page
    pdf = page.pdf(prefer_css_page_size=True)
    # A4 is 210 by 297 mm (ISO 216): 595 by 842 points.
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert {(round(float(w)), round(float(h))) for w, h in boxes} == {(595, 842)}
    assert 4 <= len(boxes) <= 9
    page.emulate_media(media="print")
    assert not page.is_visible("canvas")
    assert not page.is_visible("#plan-table")
    assert not page.is_visible("#save-readings")
    assert page.is_visible("#bench-table")
    blank = page.eval_on_selector_all(
        "#bench-table [name=reading_1]", "cells => cells.map(c => c.clientWidth)"
    )
    assert len(blank) == 12
    assert min(blank) > 40


def test_plan_views_are_drawn_by_the_graphics_card_too(opened):
    # Filled with a pattern beyond their window, close-ups made whole tiles stay blank.
    opened.page.locator("svg.plan").first.scroll_into_view_if_needed()
    opened.page.wait_for_timeout(REST)
    shot = opened.page.locator("svg.plan").first.screenshot()
    picture = np.asarray(Image.open(io.BytesIO(shot)).convert("RGB")).astype(int)
    material = (np.abs(picture - (0xE4, 0xE8, 0xE8)).max(axis=2) <= 2).mean()
    ink = (picture.max(axis=2) < 90).mean()
    assert 0.3 < material < 0.8
    assert ink > 0.005


@pytest.mark.parametrize("width", [1400, 400])
def test_nothing_hangs_over_the_side_of_the_page(chromium, report, width):
    page = Watched(chromium, report, width=width).page
    page.wait_for_timeout(REST)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.fixture(scope="module")
def kit_page(tmp_path_factory):
    return run_demo(tmp_path_factory.mktemp("kit")).report


@pytest.fixture(scope="module")
def calibration_page(tmp_path_factory):
    """Page of a calibration with readings, charts and details."""
    rng = np.random.default_rng(3)
    rows = [
        Reading(
            piece="bench", feature_id=f"{kind} {d}", kind=kind, nominal_size=float(d),
            mesh_size=float(d), values=(round(d + by + rng.normal(0, 0.02), 2),),
            instrument=Instrument(name="caliper", resolution=0.01, accuracy=0.03),
        )
        for kind, by in (("bore", -0.15), ("boss", 0.06))
        for d in (3, 5, 8, 12, 20, 30)
    ]  # fmt: skip
    conditions = Conditions(
        printer="invented", material="invented", nozzle=0.4, layer_height=0.2,
        line_width=0.44,
    )  # fmt: skip
    path = tmp_path_factory.mktemp("calibration") / "calibration.html"
    record = estimate_calibration(rows, conditions=conditions)
    path.write_text(calibration_html(record), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def axe(tmp_path_factory):
    """Script of axe-core, of npm, which is installed for these tests alone."""
    if shutil.which("npm") is None:
        pytest.skip("no npm to install axe-core with")
    place = tmp_path_factory.mktemp("axe")
    got = subprocess.run(
        ["npm", "install", "--no-save", "--prefix", str(place), "axe-core@4"],
        capture_output=True,
        check=False,
        timeout=120,
    )
    script = place / "node_modules" / "axe-core" / "axe.min.js"
    if got.returncode or not script.exists():
        pytest.skip("axe-core could not be installed")
    return script.read_text(encoding="utf-8")


def open_all(page):
    """Open every panel, and choose a feature where there are some."""
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    if page.query_selector("#feature-table button.id"):
        page.click("#feature-table button.id >> nth=1")
        page.wait_for_timeout(REST)


@pytest.mark.slow
@pytest.mark.parametrize("width", [1400, 400])
@pytest.mark.parametrize("kind", ["report", "kit_page", "calibration_page"])
def test_assistive_technology_finds_nothing_amiss(chromium, axe, kind, width, request):
    path = request.getfixturevalue(kind)
    seen = Watched(chromium, path, width=width, bypass_csp=True)
    page = seen.page
    page.wait_for_timeout(REST)
    page.evaluate(axe)
    open_all(page)  # what is shut hides text from the check, and shows none of its own
    found = page.evaluate("axe.run()")
    amiss = [
        (v["id"], [node["html"] for node in v["nodes"]])
        for v in found["violations"]
        if v["impact"] in {"serious", "critical"}
    ]
    assert len(found["passes"]) > 20
    assert amiss == []
    seen.context.close()


@pytest.mark.parametrize("width", [1400, 400])
def test_the_page_of_a_kit_is_quiet_and_fits_too(chromium, kit_page, width):
    seen = Watched(chromium, kit_page, width=width)
    assert seen.errors == []
    assert seen.requests == [kit_page.resolve().as_uri()]
    open_all(seen.page)
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
    seen.context.close()


def test_the_page_of_a_calibration_fits_a_narrow_screen(chromium, calibration_page):
    seen = Watched(chromium, calibration_page, width=400)
    open_all(seen.page)
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= 400
    seen.context.close()


def test_the_mates_of_a_kit_are_sorted_by_how_surely_they_fit(chromium, kit_page):
    seen = Watched(chromium, kit_page)
    page = seen.page
    drawn = column(page, "table.mates", 7)
    assert drawn != sorted(drawn)
    page.click("table.mates th:has-text('Both') button")
    assert column(page, "table.mates", 7) == sorted(drawn)
    page.click("table.mates th:has-text('Both') button")
    assert column(page, "table.mates", 7) == sorted(drawn, reverse=True)
    assert seen.errors == []
    seen.context.close()


def column(page, table, number):
    """Return the numbers that one column of a table is sorted by, as the rows stand."""
    read = f"rows => rows.map(r => r.cells[{number}].dataset.value)"
    return [float(v) for v in page.eval_on_selector_all(f"{table} tbody tr", read) if v]


@pytest.mark.parametrize("kind", ["report", "kit_page"])
def test_cards_are_sorted_by_keyboard_alone(chromium, kind, request):
    """On a narrow screen rows are cards: a list and a button stand in for the heads."""
    table, head, number = {
        "report": ("#feature-table", "Nominal size", 1),
        "kit_page": ("table.mates", "Both", 7),
    }[kind]
    seen = Watched(chromium, request.getfixturevalue(kind), width=400)
    page = seen.page
    page.wait_for_timeout(REST)
    drawn = column(page, table, number)
    # From the heading above on, the first keys that lead to something lead to the list.
    page.evaluate(f"""() => {{
        const heading = document.querySelector("{table}").closest("section")
            .querySelector("h2");
        heading.tabIndex = -1;
        heading.focus();
    }}""")
    page.keyboard.press("Tab")
    at = "document.activeElement"
    assert page.evaluate(f"{at}.tagName") == "SELECT"
    assert page.evaluate(f"{at}.labels[0].innerText").startswith("Sort by")
    page.keyboard.type(head)
    assert page.evaluate(f"{at}.selectedOptions[0].text") == head
    assert column(page, table, number) == sorted(drawn)
    page.keyboard.press("Tab")
    assert "ascending" in page.evaluate(f"{at}.textContent")
    page.keyboard.press("Enter")
    assert column(page, table, number) == sorted(drawn, reverse=True)
    assert "descending" in page.evaluate(f"{at}.textContent")
    # The next key leads on, not to heads that nobody sees.
    page.keyboard.press("Tab")
    assert page.evaluate(f"{at}.closest('thead')") is None
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Shift+Tab")
    page.keyboard.type("as listed")
    assert column(page, table, number) == drawn
    assert seen.errors == []
    seen.context.close()


def test_a_wide_screen_has_heads_to_sort_by_and_no_list(opened):
    assert not opened.page.is_visible(".sorter")
    assert opened.page.is_visible("#feature-table th button.sort")
