"""Reports of kits: what they say, and that they say it of what there is."""

import base64
import csv
import hashlib
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from meshcomp.mechanisms import (
    Bought,
    FeatureOutcome,
    Kit,
    KitOutcome,
    KitPart,
    Mate,
    MateOutcome,
    PairOutcome,
    PartOutcome,
    Reference,
    Suggestion,
    Suggestions,
)
from meshcomp.reports.kit_html import kit_html
from meshcomp.reports.kits import (
    features_csv,
    kit_json,
    kit_text,
    mates_csv,
    suggestions_text,
)

ODD = "wheel <b>&</b> \x1b[31m"


def feature(name="bore-01", **changes):
    values = {
        "id": name,
        "kind": "bore",
        "is_internal": True,
        "law": "bore",
        "nominal_size": 8.0,
        "target_size": 8.1,
        "mesh_size": 8.25,
        "offset": -0.125,
        "state": "changed",
        "reason": "calibration for bore",
        "printed_size": 8.1,
        "low": 8.04,
        "high": 8.16,
    }
    return FeatureOutcome(**(values | changes))


def part(name="wheel", **changes):
    values = {
        "name": name,
        "source": f"{name}.stl",
        "quantity": 1,
        "calibration_sha256": "ab" * 32,
        "written": f"out/{name}.stl",
        "written_sha256": "cd" * 32,
        "report": f"out/{name}.stl.report.html",
        "is_proved": True,
        "conforms": True,
        "verdict": "1 bore was changed in size by +0.250 mm.",
        "features": (feature(), feature("bore-02", state="left alone")),
    }
    return PartOutcome(**(values | changes))


def mate(name="shaft in wheel", *, least=0.02, most=0.2, low=0.05, fits=0.97, **changes):
    pair = PairOutcome(
        internal="wheel/bore-01",
        external="8 h9",
        mean=0.118,
        low=low,
        high=0.186,
        standard_uncertainty=0.03,
        correlation=0.0,
        assembles=0.99,
        is_tight=0.98,
        fits=fits,
    )
    values = {
        "mate": Mate(
            name=name,
            internal=Reference(part="wheel", features="bore-01"),
            external=Bought(words="8 h9", lower=7.964, upper=8.0),
            least=least,
            most=most,
            fit=None,
            probability=0.95,
        ),
        "pairs": (pair,),
        "copies": 2,
    }
    return MateOutcome(**(values | changes))


def outcome(parts=None, mates=None, all_fit=0.94):
    parts = (part(),) if parts is None else parts
    mates = (mate(),) if mates is None else mates
    kit_parts = tuple(
        KitPart(name=p.name, path=Path(p.source), calibration=Path("c.json")) for p in parts
    )
    kit = Kit(name="changer", source="kit.toml", out=Path("out"), parts=kit_parts)
    return KitOutcome(
        kit=kit, parts=tuple(parts), mates=tuple(mates), all_fit=all_fit, version="0"
    )


NOTHING = {"is_proved": False, "conforms": False}
BAD = part("bad", error="bad.stl is no STL file", features=(), report=None, **NOTHING)
LIMITED = part("held", verdict="held", features=(feature(state="limited"),), **NOTHING)
UNKNOWN = mate("what", pairs=(), copies=0, unknown="bad failed")
PRESS = mate("press", least=-0.1, most=None, low=-0.03)
OLD = part("old", was_there=True, quantity=12, worst_difference=0.00041)
EVERYTHING = outcome(
    (part(), part(ODD), BAD, LIMITED, OLD),
    (mate(), mate("x" * 90, fits=0.3), UNKNOWN, PRESS),
)


def test_no_line_is_wider_than_a_terminal():
    assert max(len(line) for line in kit_text(EVERYTHING).splitlines()) <= 80


def test_the_text_says_what_became_of_each_part():
    rows = kit_text(EVERYTHING).partition("Mates")[0].splitlines()
    found = {line.split()[0]: line.split()[-1] for line in rows if line and "  " in line}

    assert found["bad"] == "FAILED"
    assert found["held"] == "back"
    assert found["old"] == "proved"
    assert re.search(
        r"^old +12 +1 +1 +0\.5 +before +proved$", "\n".join(rows), re.MULTILINE
    )
    assert re.search(r"^bad +1 +- +- +- +- +FAILED$", "\n".join(rows), re.MULTILINE)


def test_the_text_gives_each_mate_its_numbers():
    text = kit_text(outcome())

    (row,) = [line.split() for line in text.splitlines() if line.startswith("1 +")]
    assert row[1:6] == ["+0.020", "+0.200", "+0.118", "+0.050", "+0.186"]
    assert row[6:] == ["2", "99.0", "98.0", "97.0", "as", "asked"]
    assert "1 shaft in wheel: wheel/bore-01 with 8 h9" in text
    assert "All 2 pairs fit at once in 94.0 of 100 kits" in text
    assert "AS ASKED. 1 of 1 part proved; 1 of 1 mate is as sure as asked." in text


def test_a_probability_never_flatters():
    text = kit_text(outcome(mates=(mate(fits=0.949999),), all_fit=0.99999))

    assert "94.9 SHORT" in text
    assert "fits in 94.9 of 100, 95 % asked" in text
    assert "in 99.9 of 100 kits" in text


def test_what_falls_short_is_said_with_what_could_be_held():
    wide = kit_text(outcome(mates=(mate(least=0.1, most=0.14, fits=0.4),)))
    aside = kit_text(outcome(mates=(mate(least=0.15, most=0.4, fits=0.1),)))

    assert "95 of 100 pairs spread over 0.136 mm, more than the 0.040 mm allowed" in (
        " ".join(wide.split())
    )
    assert "+0.052 to +0.188 mm could be held" in " ".join(wide.split())
    assert "95 of 100 lie from +0.050 to +0.186 mm" in " ".join(aside.split())


UNMET = part(
    "plate",
    conforms=False,
    features=(feature(shortfall="80 of 100 prints meet it"), feature("bore-02")),
)


def test_the_headline_says_what_is_proved_and_what_falls_short_all_the_same():
    kit = outcome((part(), UNMET), (mate(fits=0.3), mate()))
    assert "GEOMETRY PROVED, 1 INTENT AND 1 MATE FALL SHORT. 2 of 2" in kit_text(kit)
    assert "Geometry proved, 1 intent and 1 mate fall short</h2>" in kit_html(kit)
    assert "intents fall short in plate;" in " ".join(kit_text(kit).split())
    assert re.search(r"^plate .* proved, SHORT$", kit_text(kit), re.MULTILINE)


def test_a_headline_never_calls_proved_what_is_not():
    kit = outcome((UNMET, LIMITED), ())
    assert "1 PART NOT PROVED, 1 INTENT FALLS SHORT. 1 of 2" in kit_text(kit)


def test_terminal_controls_in_names_stay_out():
    assert "\x1b" not in kit_text(EVERYTHING)
    assert "\x1b" not in kit_html(EVERYTHING)
    assert "\x1b" not in features_csv(EVERYTHING)


def test_json_has_every_part_feature_and_pair():
    data = json.loads(json.dumps(kit_json(EVERYTHING), allow_nan=False))

    assert [p["name"] for p in data["parts"]] == [p.name for p in EVERYTHING.parts]
    assert data["parts"][0]["features"][0]["printed_size"] == 8.1
    assert data["parts"][4]["made"] == "before"
    assert data["mates"][0]["pairs"][0]["fits"] == 0.97
    assert data["mates"][2]["unknown"] == "bad failed"
    assert data["conforms"] is False
    assert data["verdict"]["state"] == "failed"
    assert any("press fit can split" in caution for caution in data["cautions"])
    calm = kit_json(outcome())["cautions"]
    assert not any("press fit can split" in caution for caution in calm)


def test_tables_have_a_line_for_each_feature_and_each_pair():
    features = list(csv.DictReader(io.StringIO(features_csv(EVERYTHING))))
    pairs = list(csv.DictReader(io.StringIO(mates_csv(EVERYTHING))))

    assert len(features) == 2 + 2 + 1 + 1 + 2
    assert features[0]["printed_size"] == "8.100000"
    (bad,) = [row for row in features if row["part"] == "bad"]
    assert bad["error"] == "bad.stl is no STL file"
    assert [row["conforms"] for row in pairs] == ["yes", "no", "no", "yes"]
    assert pairs[2]["unknown"] == "bad failed"
    assert pairs[3]["least_asked"] == "-0.100000"


def test_a_name_is_no_formula_for_a_spreadsheet():
    rows = list(csv.DictReader(io.StringIO(features_csv(outcome((part("=1+1"),))))))

    assert rows[0]["part"] == "'=1+1"


class Page(HTMLParser):
    """The tags and links of a page; refuses tags that do not close."""

    void = frozenset({"meta", "br"})

    def __init__(self, text):
        super().__init__()
        self.open, self.links, self.tags = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        """Take notice of a tag, and of where it leads."""
        self.tags.append(tag)
        self.links += [v for k, v in attrs if k in {"href", "src", "xlink:href"}]
        if tag not in self.void:
            self.open.append(tag)

    def handle_startendtag(self, tag, _):
        """Take notice of a tag that closes itself."""
        self.tags.append(tag)

    def handle_endtag(self, tag):
        """Close the tag that is open."""
        assert self.open.pop() == tag


def test_the_page_needs_nothing_else_and_closes_its_tags():
    page = Page(kit_html(EVERYTHING))

    assert page.open == []
    assert not {"img", "link", "iframe"} & set(page.tags)
    # One script, of ours, which the page's policy knows by its digest alone.
    assert page.tags.count("script") == 1
    (ours,) = re.findall(r"<script>(.*?)</script>", kit_html(EVERYTHING), re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(ours.encode()).digest()).decode()
    assert (
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; "
        in kit_html(EVERYTHING)
    )
    for link in page.links:
        assert link.startswith("#") or link.endswith(".stl.report.html"), link
        assert not link.startswith(("http", "/"))


def test_the_page_shows_names_as_text():
    html = kit_html(EVERYTHING)

    assert "<b>&</b>" not in html
    assert "wheel &lt;b&gt;&amp;&lt;/b&gt;" in html


def test_the_page_draws_all_mates_to_one_scale():
    html = kit_html(outcome(mates=(mate(), mate("other", least=-0.1, most=0.3))))
    zones = re.findall(r'<rect class="allowed" x="([\d.]+)" y="4" width="([\d.]+)"', html)
    zeros = set(re.findall(r'class="zero" d="M([\d.]+) 0V28"', html))
    (first, second) = [(float(x), float(width)) for x, width in zones]

    assert len(zeros) == 1  # the same place in both
    assert first[1] / second[1] == pytest.approx(0.18 / 0.4, abs=1e-3)
    scale = second[1] / 0.4
    assert float(*zeros) == pytest.approx(second[0] + 0.1 * scale, abs=1e-3)
    mean = float(re.search(r'class="mean" d="M([\d.]+) 5v18"', html)[1])
    assert mean == pytest.approx(float(*zeros) + 0.118 * scale, abs=1e-3)


def test_a_mate_far_off_the_others_does_not_make_them_small():
    far = mate("play", least=2.0, most=2.2, low=2.05)
    pair = replace(far.pairs[0], mean=2.1, high=2.15)
    near = [mate(f"m{k}", least=-0.1, most=0.3) for k in range(3)]
    html = kit_html(outcome(mates=(*near, replace(far, pairs=(pair,)))))
    zones = re.findall(r'<rect class="allowed" x="([\d.]+)" y="4" width="([\d.]+)"', html)
    widths = [float(width) for _, width in zones]

    assert widths[0] > 200  # of 360
    assert widths[3] / widths[0] == pytest.approx(0.2 / 0.4, abs=1e-3)  # to one scale
    assert all(0 <= float(x) <= 360 - float(width) for x, width in zones)
    assert html.count('class="zero" d="M') == 4  # of three mates and of the legend


def test_a_kit_without_mates_says_nothing_of_them():
    text, html = kit_text(outcome(mates=(), all_fit=None)), kit_html(outcome(mates=()))

    assert "Mates" not in text
    assert "fit at once" not in text
    assert 'id="mates"' not in html


def test_a_kit_of_which_nothing_was_made_has_a_page():
    html = kit_html(outcome((BAD,), (UNKNOWN,), None))

    assert "Not all made" in html
    assert "No part was made." in html


def test_suggestions_say_sizes_as_drawn_and_how_many():
    found = Suggestion(
        internal=Reference(part="ring", features="bore 6"),
        external=Reference(part="pin", features="boss-01"),
        internal_size=6.0,
        external_size=5.9,
        pairs=11,
    )

    text = suggestions_text(Suggestions(mates=(found,), failed=(("bad", "no STL"),)))
    assert "# 5.9 mm in 6 mm as drawn, 11 pairs" in text
    assert 'bore = "ring/bore 6"' in text
    assert text.startswith("# bad could not be looked at: no STL")
    assert "no mate is suggested" in suggestions_text(Suggestions(mates=()))
