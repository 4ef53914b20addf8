"""Heights, seats for the seam, the foot and the printer's axes, all at once.

What is compared with: the layer grid in the written file, by arithmetic; numpy for reading
it (tests/outside/measure.py); pymeshlab for crossing faces.
"""

from __future__ import annotations

import numpy as np
import pytest
from outside import crossings, measure

import meshcomp
from meshcomp.layers import LayerGrid, LayerWish, SnapWish
from meshcomp.plans import Foot
from meshcomp.printer_axes import PrinterAxes
from meshcomp.seams import SeamWish

LAYERS = LayerWish(grid=LayerGrid(layer_height=0.2, first_layer=0.25), snap=SnapWish())
SEAMS = SeamWish(everywhere=True, width=0.44, depth=0.15)


@pytest.mark.parametrize("name", ["knob", "bearing_plate", "stepper_bracket"])
def test_all_steps_together_are_proved_and_faces_lie_on_layers(name, tmp_path):
    rule = meshcomp.ByHand(
        wall_growth=0.03,
        bore_opening=0.1,
        axes=PrinterAxes(scale=(1.002, 0.999, 1.003), skew=0.002),
        foot=Foot(growth=0.1, height=0.4, opens_bores=True),
    )
    part, out = meshcomp.demo_part(name), tmp_path / "out.stl"
    record = meshcomp.compensate_part(part, out, rule, layers=LAYERS, seams=SEAMS)
    assert record.conforms
    assert record.layers.moves is not None
    assert record.seams.grooves
    written = measure.read_mesh(out)
    z = written.vertices[written.faces, 2]
    level = np.unique(z[np.ptp(z, axis=1) == 0][:, 0])
    # Z is drawn 1.003 times too long and that is undone: what is sliced is on the grid.
    steps = (level[level > 0] - 0.25) / 0.2
    assert np.abs(steps - np.round(steps)).max() * 0.2 < 6e-4
    assert crossings.crossing_faces(out) == crossings.open_edges(out) == 0


def test_what_is_drawn_is_told_in_heights_as_drawn():
    found = meshcomp.demo_part("knob")
    rule = meshcomp.ByHand(axes=PrinterAxes(scale=(1.0, 1.0, 1.01)))
    record = meshcomp.plan_part(found, rule, layers=LayerWish(grid=LAYERS.grid))
    top = max(record.layers.faces, key=lambda face: face.height)
    # 14 drawn is 13.861 asked for: the layer at 13.85, drawn 1.01 times as high.
    assert top.height == 14.0
    assert top.printed == pytest.approx(13.85 * 1.01)
