"""Plan views: true outlines, labels with room, close-ups that show the change."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
import records
from hypothesis import given, settings
from hypothesis import strategies as st

from meshcomp.reports._closeups import close_ups
from meshcomp.reports._dimensions import dimension_line, lines_of
from meshcomp.reports._labels import Wish, placed
from meshcomp.reports._rows import rows_of
from meshcomp.reports.pictures import pictures

FONT = 1.5
FRAME = (-40.0, -30.0, 40.0, 30.0)


def rings_of(path):
    """Read the rings of an SVG path of absolute straight lines back, y upwards."""
    rings = [ring.split() for ring in re.findall(r"M([^MZ]*)Z", path)]
    return [np.array(ring, float).reshape(-1, 2) * (1, -1) for ring in rings]


def box_of(label):
    """Return the room that a label's text takes at least: half a font's height a letter."""
    width = 0.5 * FONT * max(len(line) for line in label.lines)
    height = FONT * len(label.lines)
    middle = label.top - 0.76 * 1.15 * FONT + len(label.lines) * 1.15 * FONT / 2
    return np.array(
        [
            *(label.x - width / 2, middle - height / 2),
            *(label.x + width / 2, middle + height / 2),
        ]
    )


def test_outlines_are_those_of_the_view_to_a_tenth_of_a_micrometre():
    whole = records.record()
    (picture,) = pictures(whole)
    for path, rings in (
        (picture.before, whole.views[0].before),
        (picture.after, whole.views[0].after),
    ):
        for drawn, ring in zip(rings_of(path), rings, strict=True):
            np.testing.assert_allclose(drawn, ring, atol=0.5001e-4)


def test_the_box_holds_the_part_and_the_scale_bar_is_as_long_as_it_says():
    (picture,) = pictures(records.record())
    left, top, width, height = picture.box
    points = np.vstack(rings_of(picture.before)) * (1, -1)
    assert (points > (left, top)).all()
    assert (points < (left + width, top + height)).all()
    start, end = re.match(r"M(\S+) \S+L(\S+) ", picture.ruler.path).groups()
    assert float(end) - float(start) == pytest.approx(10.0, abs=1e-3)
    assert picture.ruler.words == "10 mm"


def test_walls_are_marked_from_plane_to_plane():
    (picture,) = pictures(records.record())
    marks = {mark.id: mark for mark in picture.marks}
    assert marks["w01"].line[::2] == (-30.0, 30.0)
    assert sorted(marks["w02"].line[1::2]) == [-20.0, 20.0]
    assert marks["b04"].radius == pytest.approx(11.115, abs=1e-3)


def test_a_line_across_walls_crosses_no_bore_where_there_is_room():
    (picture,) = pictures(records.record())
    for mark in picture.marks:
        if mark.line is None:
            continue
        start, end = np.array(mark.line).reshape(2, 2)
        share = np.linspace(0, 1, 200)[:, None]
        points = start + share * (end - start)
        for bore in (m for m in picture.marks if m.radius):
            gaps = np.hypot(*(points - (bore.x, bore.y)).T)
            assert gaps.min() > bore.radius, (mark.id, bore.id)


def test_a_line_across_walls_lies_where_both_walls_are():
    # A wall 30 wide whose two planes stand opposite each other for 0 < y < 4 only.
    ring = np.array([(0, 0), (30, 0), (30, 4), (20, 4), (20, 25), (0, 25)], dtype=float)
    wall = next(f for f in records.inspection().features if f.id == "w01")
    across = replace(
        wall, start=0.0, end=30.0, nominal_size=30.0, direction=np.array([1.0, 0, 0])
    )
    a, b, c, d = dimension_line(across, lines_of([ring]), np.zeros((0, 3)), 0.5)
    assert (a, c) == (0.0, 30.0)
    assert b == d
    assert 0 < b < 4
    apart = replace(across, start=5.0)
    assert dimension_line(apart, lines_of([ring]), np.zeros((0, 3)), 0.5) is None


def test_a_label_does_not_lie_in_the_circle_of_another_feature_where_there_is_room():
    wishes = [
        Wish(id="seat", texts=(("seat",),), x=-15, y=0, radius=12.0),
        Wish(id="b1", texts=(("b1", "3.200 to 3.430"), ("b1",)), x=-1, y=0, radius=1.0),
    ]
    labels, without = placed(wishes, FONT, frame=FRAME, outline=np.zeros((0, 2)))
    assert without == []
    label = next(label for label in labels if label.id == "b1")
    assert np.hypot(label.x + 15, label.top) > 12


def test_the_label_of_a_ring_does_not_lie_in_its_bore():
    wishes = [
        Wish(id="rim", texts=(("rim", "60.000 to 59.940"),), x=0, y=0, radius=20.0),
        Wish(id="seat", texts=(("seat", "22.000 to 22.118"),), x=0, y=0, radius=11.0),
    ]
    labels, _ = placed(wishes, FONT, frame=FRAME, outline=np.zeros((0, 2)))
    rim = next(label for label in labels if label.id == "rim")
    assert np.hypot(rim.x, rim.top) > 11


def test_no_leader_runs_over_another_label():
    wishes = [
        Wish(
            id=f"b{k}", texts=((f"b{k}", "3.200 to 3.430"), (f"b{k}",)), x=x, y=0, radius=1
        )
        for k, x in enumerate((-9.0, -6.0, -3.0, 0.0, 3.0, 6.0, 9.0))
    ]
    labels, _ = placed(wishes, FONT, frame=FRAME, outline=np.zeros((0, 2)))
    assert any(label.leader for label in labels)
    for label in labels:
        if label.leader_ends is None:
            continue
        start, end = np.array(label.leader_ends).reshape(2, 2)
        points = start + np.linspace(0, 1, 50)[:, None] * (end - start)
        for other in labels:
            if other is label:
                continue
            box = box_of(other)
            inside = (points > box[:2]).all(axis=1) & (points < box[2:]).all(axis=1)
            assert not inside.any(), (label.id, other.id)


def test_a_profile_is_marked_on_its_edge():
    (picture,) = pictures(records.record())
    mark = next(mark for mark in picture.marks if mark.id == "p01")
    assert abs(mark.x) == 30.0


def test_blue_stands_for_removed_and_orange_for_added_material():
    whole = records.record()
    added = tuple(replace(c, offset=-c.offset) for c in whole.plan.corrections)
    (before,) = pictures(whole)
    (after,) = pictures(replace(whole, plan=replace(whole.plan, corrections=added)))
    assert (before.tones["b01"], after.tones["b01"]) == ("removed", "added")
    assert (before.tones["b03"], after.tones["b03"]) == ("kept", "kept")


def test_where_labels_have_no_room_for_sizes_these_stand_beside_the_picture():
    whole = records.record(bores=records.many_bores(60))
    (picture,) = pictures(whole)
    assert {len(label.lines) for label in picture.labels} == {1}
    assert ("b01, b02, b04 to b60", "⌀3.200 → 3.430") in picture.sizes
    named = {label.id for label in picture.labels} | {"w02"}
    assert named == {c.feature_id for c in whole.plan.corrections}
    assert picture.without_label == "w02"


def test_a_close_up_lies_on_an_edge_and_shows_both_outlines():
    whole = records.record()
    rows = [row for row in rows_of(whole) if row.feature is not None]
    part = whole.inspection.part
    windows = {w.id: w for w in close_ups(whole.views[0], rows, part)}
    assert list(windows) == ["b01", "p01", "w01", "b04"]
    for name in ("b01", "b04"):
        bore = next(f for f in whole.inspection.features if f.id == name)
        left, top, width, height = windows[name].box
        middle = np.array([left + width / 2, -(top + height / 2)])
        radius = np.linalg.norm(middle - bore.point[:2])
        # The middle of a facet: between the flats' and the vertices' circle.
        assert bore.size_across_flats / 2 - 1e-9 <= radius <= bore.nominal_size / 2 + 1e-9
        assert width == 1.0  # mm: the change of 0.115 mm fills more than a tenth


def test_a_view_shows_no_close_up_of_what_an_earlier_view_showed():
    whole = records.record()
    twice = replace(whole, views=(whole.views[0], replace(whole.views[0], height=2.0)))
    first, second = pictures(twice)
    assert [w.id for w in first.close_ups] == ["b01", "p01", "w01", "b04"]
    assert [w.id for w in second.close_ups] == ["w02"]


def test_a_feature_that_the_view_does_not_cut_has_no_close_up():
    whole = records.record()
    rows = [row for row in rows_of(whole) if row.feature is not None]
    above = replace(whole.views[0], height=7.0)
    assert close_ups(above, rows, whole.inspection.part) == ()


def test_empty_views_have_no_picture():
    whole = records.record()
    empty = replace(whole.views[0], before=(), after=())
    assert pictures(replace(whole, views=(empty,))) == ()


spots = st.tuples(st.floats(-30, 30), st.floats(-20, 20), st.sampled_from([0.0, 1.6, 3.0]))


@given(st.lists(spots, max_size=25))
@settings(deadline=None)
def test_labels_lie_in_the_frame_not_on_each_other_and_not_on_small_circles(spots):
    wishes = [
        Wish(
            id=f"b{k}", texts=((f"b{k}", "3.200 to 3.430"), (f"b{k}",)), x=x, y=y, radius=r
        )
        for k, (x, y, r) in enumerate(spots)
    ]
    labels, without = placed(wishes, FONT, frame=FRAME, outline=np.zeros((0, 2)))
    assert sorted([label.id for label in labels] + without) == sorted(w.id for w in wishes)
    boxes = [box_of(label) for label in labels]
    for k, box in enumerate(boxes):
        assert (box[:2] >= FRAME[:2]).all()
        assert (box[2:] <= FRAME[2:]).all()
        for other in boxes[:k]:
            assert (box[:2] >= other[2:]).any() or (box[2:] <= other[:2]).any()
        for wish in wishes:
            nearest = np.clip((wish.x, wish.y), box[:2], box[2:])
            gap = np.hypot(*(nearest - (wish.x, wish.y)))
            assert gap >= wish.radius - 1e-9


def test_a_label_within_a_large_circle_may_lie_there():
    wishes = [
        Wish(id="disc", texts=(("disc",),), x=0, y=0, radius=25.0),
        Wish(id="b1", texts=(("b1",),), x=10, y=0, radius=1.0),
    ]
    labels, without = placed(wishes, FONT, frame=FRAME, outline=np.zeros((0, 2)))
    assert without == []
    assert all(np.hypot(label.x, label.top) < 25 for label in labels)


def test_no_label_covers_the_outline():
    outline = np.column_stack([np.full(81, 3.0), np.linspace(-20, 20, 81)])
    wish = Wish(id="b1", texts=(("b1",),), x=0, y=0, radius=1.6)
    labels, _ = placed([wish], FONT, frame=FRAME, outline=outline)
    box = box_of(labels[0])
    assert box[2] < 3.0 or box[0] > 3.0
