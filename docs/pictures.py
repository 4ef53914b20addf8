"""Draw the pictures of docs/axes.md, foot.md and lying-bores.md from compensated parts.

    python docs/pictures.py

They are sections of meshes that the product made, with differences magnified where said.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import meshcomp
from meshcomp.corrections import ByHand
from meshcomp.inspections import Inspection
from meshcomp.lying_bores import Roof
from meshcomp.plans import Foot
from meshcomp.printer_axes import PrinterAxes
from meshcomp.results import Compensated
from meshcomp.solids import solid_of

IMAGES = Path(__file__).parent / "images"
INK, BLUE, ORANGE = "#1c2429", "#0a5a9c", "#a84a00"
FRAME = np.eye(3)


def made(found: Inspection, **rule: Any) -> Compensated:
    """Compensate an inspected part by hand."""
    return meshcomp.compensate(found, meshcomp.plan(found, ByHand(**rule)))


def rings(mesh: meshcomp.Mesh, frame: NDArray[np.float64], at: float) -> list[Any]:
    """Cut a mesh across the last row of a frame."""
    return solid_of(mesh).sections(frame, [at])[0]


def draw(axes: Any, outlines: list[Any], **style: Any) -> None:
    """Draw closed outlines."""
    for k, ring in enumerate(outlines):
        closed = np.vstack([ring, ring[:1]])
        axes.plot(*closed.T, **(style | ({} if k == 0 else {"label": None})))


def axes_picture(axes: Any) -> None:
    """Draw the bearing plate as asked for, with the difference 20 times as large."""
    part = meshcomp.demo_part("bearing_plate")
    exaggerated = PrinterAxes(scale=(1.02, 0.98, 1.0), skew=0.08)
    result = made(meshcomp.inspect(part), axes=exaggerated)
    draw(axes, rings(part.mesh, FRAME, 3.0), color=INK, lw=1, ls="--", label="wanted")
    draw(axes, rings(result.part.mesh, FRAME, 3.0), color=BLUE, lw=1.4, label="mesh")
    axes.set_title(
        "Asked for so that it is drawn square (errors of 2 and 4 mm/m, 20 times as large)"
    )


def foot_picture(axes: Any) -> None:
    """Draw the lower edge of the plate in section."""
    found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    result = made(found, foot=Foot(growth=0.12, height=0.4))
    side = np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]])
    outline = rings(result.part.mesh, side, 20.0)
    draw(axes, outline, color=BLUE, lw=1.6, label="mesh")
    spread = [(46.0, 0.4), (46.12, 0.0), (46.0, 0.0)]
    axes.plot(
        *np.array(spread).T, color=ORANGE, lw=1, ls="--", label="spread, uncompensated"
    )
    axes.set_xlim(45.4, 46.3)
    axes.set_ylim(-0.1, 0.9)
    axes.set_title("Lower edge of the bearing plate, mm")


def lying_picture(axes: Any) -> None:
    """Draw the bracket's lying seat in the shapes it can have."""
    found = meshcomp.inspect(meshcomp.demo_part("stepper_bracket"))
    front = np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]])
    shapes: list[tuple[str, str, dict[str, Any]]] = [
        ("drawn", INK, {"bore_opening": 1e-4}),
        ("height apart (+2 mm)", ORANGE, {"bore_opening": 1e-4, "lying_opening": 2.0}),
        ("flat roof", BLUE, {"roof": Roof(shape="flat")}),
        ("pointed roof", "#7b868c", {"roof": Roof(shape="pointed")}),
    ]
    for name, colour, rule in shapes:
        outline = rings(made(found, **rule).part.mesh, front, -2.5)
        seat = [r for r in outline if abs(np.ptp(r[:, 0]) - 22) < 1]
        draw(axes, seat, color=colour, lw=1.4, label=name)
    axes.set_title("A seat of 22 mm across the build direction, mm")


def main() -> None:
    """Draw all of them."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    pictures = {"axes": axes_picture, "foot": foot_picture, "lying-bores": lying_picture}
    with mpl.rc_context({"svg.fonttype": "none", "font.size": 9}):
        for name, picture in pictures.items():
            mpl.rcParams["svg.hashsalt"] = name
            figure = Figure(figsize=(6.4, 4.2), layout="constrained")
            axes = figure.subplots()
            picture(axes)
            axes.set_aspect("equal")
            axes.legend(
                frameon=False, fontsize=8, loc="center left", bbox_to_anchor=(1, 0.5)
            )
            axes.spines[["top", "right"]].set_visible(False)
            figure.savefig(IMAGES / f"{name}.svg", metadata={"Date": None})


if __name__ == "__main__":
    main()
