"""Press, slide and free, from fit ladders: limits worked out by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from simulated_bench import CONDITIONS

import meshcomp
from meshcomp.calibration.estimate import estimate_calibration
from meshcomp.calibration.feeling import feels_of
from meshcomp.measurements.readings import Reading
from meshcomp.reports.calibration import calibration_text


def _reading(
    name: str, kind: str, size: float, note: str = "", piece: str = "L"
) -> Reading:
    return Reading(
        piece=piece,
        feature_id=name,
        kind=kind,
        nominal_size=8.0,
        mesh_size=8.0,
        values=(size - 0.01, size + 0.01),
        note=note,
    )


def _ladder(pins: list[tuple[float, str]], piece: str = "L") -> list[Reading]:
    """Return readings of a ring of 7.90 mm and of pins, by clearance and word."""
    ring = _reading("R1", "bore", 7.90, piece=piece)
    return [
        ring,
        *(
            _reading(f"P{k}", "boss", 7.90 - clearance, note, piece)
            for k, (clearance, note) in enumerate(pins, start=1)
        ),
    ]


WORDS = [
    (-0.06, ""),
    (-0.02, "press"),
    (0.04, "press"),
    (0.10, "slide"),
    (0.14, "slide"),
    (0.22, "free"),
    (0.30, "free"),
]


def test_limits_lie_halfway_between_the_words():
    feels, notes = feels_of(_ladder(WORDS))

    limits = {f.word: (round(f.least, 9), round(f.most, 9), f.pins) for f in feels}
    assert limits == {
        "press": (-0.04, 0.07, 2),  # from halfway to the pin that did not go in
        "slide": (0.07, 0.18, 2),
        "free": (0.18, 0.30, 2),  # nothing looser was tried
    }
    assert notes == ()


def test_the_clearance_is_that_of_the_prints_and_not_of_the_drawing():
    feels, _ = feels_of(
        [
            _reading("R1", "bore", 7.70),
            _reading("P1", "boss", 7.60, "Slide "),
            _reading("P2", "boss", 7.40, "free"),
        ]
    )

    assert feels[0].word == "slide"
    assert feels[0].least == pytest.approx(0.10)
    assert feels[0].most == pytest.approx(0.20)


def test_two_ladders_count_together():
    feels, notes = feels_of(
        [
            *_ladder([(0.02, "press"), (0.10, "slide")]),
            *_ladder([(0.06, "press"), (0.08, "slide")], piece="L2"),
        ]
    )

    assert [(f.word, f.pins) for f in feels] == [("press", 2), ("slide", 2)]
    assert feels[0].most == feels[1].least == pytest.approx(0.07)
    assert notes == ()


def test_words_that_overlap_are_told():
    _, notes = feels_of(
        [
            *_ladder([(0.02, "press"), (0.10, "slide")]),
            *_ladder([(0.12, "press"), (0.16, "slide")], piece="L2"),
        ]
    )

    assert "press was felt up to 0.120 mm and slide from 0.100 mm" in notes[0]


def test_words_in_the_wrong_order_are_told():
    _, notes = feels_of(_ladder([(0.02, "free"), (0.10, "press")]))

    assert "from tight to loose it says free, press" in notes[-1]


@pytest.mark.parametrize(
    "readings",
    [
        _ladder([(0.02, ""), (0.10, "warped")]),  # no word for feel
        [_reading("P1", "boss", 7.8, "press")],  # no ring
        [*_ladder(WORDS), _reading("R2", "bore", 8.0)],  # two rings: a plug and rings
    ],
)
def test_what_is_no_ladder_has_no_feel(readings: list[Reading]):
    assert feels_of(readings) == ((), ())


def test_words_go_into_the_record_and_come_back(tmp_path: Path):
    record = estimate_calibration(_ladder(WORDS), conditions=CONDITIONS)
    meshcomp.write_calibration(record, tmp_path / "record.json")
    back = meshcomp.read_calibration(tmp_path / "record.json")

    assert back.feels == record.feels
    assert [f.word for f in back.feels] == ["press", "slide", "free"]
    assert [r.note for r in back.readings] == ["", *(word for _, word in WORDS)]
    text = " ".join(calibration_text(back).split())
    assert "Press is a clearance of -0.040 to +0.070 mm (2 pins of a fit ladder)." in text


def test_a_ladder_is_read_from_its_table(tmp_path: Path):
    meshcomp.write_testpiece("fit-ladder", tmp_path, sheets=False)
    table = tmp_path / "readings.csv"
    lines = table.read_text(encoding="utf-8").splitlines()
    start = next(k for k, line in enumerate(lines) if not line.startswith("#"))
    header = lines[start].split(",")
    filled = {"R1": ("7.88", ""), "P1": ("7.9", ""), "P3": ("7.86", "press")}
    filled |= {"P5": ("7.76", "slide"), "P6": ("", "slide")}
    rows = [lines[start]]
    for line in lines[start + 1 :]:
        cells = dict(zip(header, line.split(","), strict=False))
        size, word = filled.get(cells["id"], ("", ""))
        cells["note"] = word
        cells[next(name for name in header if name.startswith("reading"))] = size
        rows.append(",".join(cells.get(name, "") for name in header))
    table.write_text("\n".join(rows) + "\n", encoding="utf-8")

    record = meshcomp.calibrate([table], conditions=CONDITIONS)

    assert [(f.word, f.pins) for f in record.feels] == [("press", 1), ("slide", 1)]
    assert record.feels[0].least == pytest.approx(0.0)  # halfway from -0.02 to 0.02
    assert any("P6 (felt slide: measure it" in note for note in record.notes)
