"""The picture of a refused mesh: well formed, in the file's frame, and safe.

Outside reference: the XML parser of the standard library.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from test_repairing import box, part_of

from meshcomp.errors import NotASolidError
from meshcomp.meshes import Mesh
from meshcomp.repairing import repair
from meshcomp.reports.refusals import refusal_svg

SVG = "{http://www.w3.org/2000/svg}"


def refused(side=(20, 10, 5)):
    """Return the error for a box whose upper side is missing."""
    cube = box(side)
    upper = (cube.corners[:, :, 2] == side[2] / 2).all(axis=1)
    with pytest.raises(NotASolidError) as caught:
        repair(part_of(Mesh(cube.vertices, cube.faces[~upper])))
    return caught.value


def lines_of(picture, kind):
    """Return the segments of each path of a kind, view by view, (k, 2, 2)."""
    paths = ET.fromstring(picture).iter(f"{SVG}path")  # noqa: S314 - our own text
    drawn = [path.get("d") for path in paths if path.get("class") == kind]
    return [
        np.array(re.findall(r"-?\d+\.\d", d), dtype=float).reshape(-1, 2, 2) for d in drawn
    ]


def test_open_edges_are_drawn_in_three_views_at_one_scale():
    above, front, right = lines_of(refusal_svg("box", refused()), "open")
    assert len(above) == len(front) == len(right) == 4
    # The rim is 20 by 10 mm; seen from the front and the right it is a line.
    across = np.ptp(above.reshape(-1, 2), axis=0)
    assert across[0] == pytest.approx(2 * across[1], abs=0.3)
    assert np.ptp(front.reshape(-1, 2), axis=0) == pytest.approx([across[0], 0], abs=0.2)
    assert np.ptp(right.reshape(-1, 2), axis=0) == pytest.approx([across[1], 0], abs=0.2)


def test_the_outline_shows_the_edges_of_the_box_that_are_left():
    outline = lines_of(refusal_svg("box", refused()), "outline")[0]
    # Twelve edges, of which the four of the rim have one face only.
    assert len(outline) == 8


def test_the_first_open_edges_are_listed_with_their_ends():
    picture = refusal_svg("box", refused())
    assert picture.count("open: (") == 4
    assert "10.000, 5.000, 2.500)" in picture


@pytest.mark.parametrize("name", ["<script>", "a\x1b[31m & b", '"quoted"'])
def test_names_cannot_break_the_picture(name):
    picture = refusal_svg(name, refused())
    ET.fromstring(picture)  # noqa: S314
    assert "<script>" not in picture
