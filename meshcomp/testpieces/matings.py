"""Pieces that are judged by how they go together: a plug with rings, a fit ladder."""

from __future__ import annotations

from collections.abc import Sequence

from meshcomp.errors import OptionError
from meshcomp.measurements.pieces import PieceFeature, PieceSheet
from meshcomp.meshes import Mesh
from meshcomp.scenario.outlines import Outline
from meshcomp.scenario.prisms import prism
from meshcomp.testpieces.layout import fine_circle, joined, labels_on, rectangle
from meshcomp.testpieces.pieces import BenchPiece, Label

__all__ = ["fit_ladder", "plug_and_rings"]

_TRY = (
    "Try each ring from the thin end: go_size is the measured size of the largest step "
    "that goes in by hand, no_go_size that of the next one."
)
_FEEL = (
    "Put the ring over each pin and write press, slide or free beside it, in the column "
    "note; leave the pins that do not go in blank."
)
_UP = (0.0, 0.0, 1.0)
_STEP_HIGH = 4.0  # of one step of a plug, mm
_RING_HIGH = 5.0
_RING_WALL = 5.0
_GAP = 5.0
_LABEL = 3.0


def _round(
    name: str,
    kind: str,
    size: float,
    place: tuple[float, float],
    *,
    ends: tuple[float, float],
) -> PieceFeature:
    return PieceFeature(
        id=name,
        kind=kind,
        nominal_size=size,
        point=(*place, 0.0),
        direction=_UP,
        start=ends[0],
        end=ends[1],
        hint="outside jaws" if kind == "boss" else "by the plug",
    )


def _ring(
    name: str, size: float, place: tuple[float, float]
) -> tuple[Mesh, tuple[Outline, Outline], Label]:
    """Return a ring with its label on the wall towards the front."""
    wall = _RING_WALL
    outer, inner = (fine_circle(d, place) for d in (size + 2 * wall, size))
    low = place[1] - size / 2 - wall / 2 - _LABEL / 2
    label = Label(text=name, x=place[0], y=low, height=_LABEL)
    return prism(outer, [inner], 0.0, _RING_HIGH), (outer, inner), label


def plug_and_rings(
    *,
    size: float = 20.0,
    step: float = 0.1,
    steps: int = 7,
    rings: Sequence[float] = (-0.1, 0.0, 0.1),
) -> BenchPiece:
    """Return a plug of steps, the largest below, and rings to try it in.

    Parameters
    ----------
    size : float
        Nominal diameter of the middle ring, mm.
    step : float
        From one step of the plug to the next, in diameter, mm.
    steps : int
        Of the plug; the largest one has the nominal size and the others are smaller,
        since bores close.
    rings : sequence of float
        Diameters of the rings less `size`, mm.

    Examples
    --------
    >>> plug = plug_and_rings(steps=3, rings=(0.0,))
    >>> [round(f.nominal_size, 3) for f in plug.sheet.features]
    [20.0, 19.9, 19.8, 20.0]
    """
    if not (5.0 <= size <= 40.0 and 0.02 <= step <= 0.5 and 2 <= steps <= 12):  # noqa: PLR2004
        raise OptionError(
            "a plug has a size of 5 to 40 mm, steps of 0.02 to 0.5 mm and 2 to 12 of "
            f"them; got {size:g} mm, {step:g} mm and {steps}"
        )
    reach = size / 2 + _RING_WALL + max((0.0, *rings)) / 2
    middle = (reach, reach)
    sizes = [round(size - k * step, 6) for k in range(steps)]
    circles = [fine_circle(d, middle) for d in sizes]
    solids, features = [], []
    for k, (each, d) in enumerate(zip(circles, sizes, strict=True)):
        low, high = k * _STEP_HIGH, (k + 1) * _STEP_HIGH
        solids.append(prism(each, [], max(low - 1.0, 0.0), high))
        features.append(_round(f"P{k + 1}", "boss", d, middle, ends=(low, high)))
    mark = Label(text="P", x=reach, y=reach - 2.0)
    outlines: list[Outline] = [circles[0], circles[-1]]
    labels = [mark]
    for k, more in enumerate(rings, start=1):
        place = (reach + k * (2 * reach + _GAP), reach)
        diameter = round(size + more, 6)
        solid, edges, label = _ring(f"R{k}", diameter, place)
        solids += [solid, *labels_on([label], _RING_HIGH)]
        features.append(_round(f"R{k}", "bore", diameter, place, ends=(0.0, _RING_HIGH)))
        outlines += edges
        labels.append(label)
    solids += labels_on([mark], steps * _STEP_HIGH)
    return BenchPiece(
        sheet=PieceSheet(name="plug-and-rings", features=tuple(features)),
        mesh=joined(solids),
        outlines=tuple(outlines),
        labels=tuple(labels),
        view="from above",
        purpose="Bores by go and no-go where no inside jaws or pins are at hand.",
        advice=(
            "Read the steps of the plug with outside jaws first: P1 is the lowest.",
            _TRY,
        ),
    )


def fit_ladder(
    *,
    size: float = 8.0,
    clearances: Sequence[float] = (0.0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4),
) -> BenchPiece:
    """Return a ring and pins stepped in clearance.

    Parameters
    ----------
    size : float
        Diameter of the ring's bore, mm.
    clearances : sequence of float
        Of the pins in the ring as drawn, mm; negative ones are interferences.

    Examples
    --------
    >>> [f.nominal_size for f in fit_ladder(clearances=(0.1, 0.2)).sheet.features]
    [8.0, 7.9, 7.8]
    """
    if not 4.0 <= size <= 30.0 or not all(-0.5 <= c <= 1.0 for c in clearances):  # noqa: PLR2004
        raise OptionError(
            "a fit ladder has a size of 4 to 30 mm and clearances of -0.5 to 1 mm; got "
            f"{size:g} mm and {', '.join(f'{c:g}' for c in clearances)} mm"
        )
    reach = size / 2 + _RING_WALL
    solid, edges, ring_label = _ring("R1", size, (reach, reach))
    solids = [solid, *labels_on([ring_label], _RING_HIGH)]
    outlines: list[Outline] = [*edges]
    labels = [ring_label]
    features = [_round("R1", "bore", size, (reach, reach), ends=(0.0, _RING_HIGH))]
    pitch = size + 3.0
    for k, clearance in enumerate(clearances, start=1):
        diameter = round(size - clearance, 6)
        place = (2 * reach + _GAP + (k - 0.5) * pitch, reach + 3.0)
        pin, bar, label = _pin(f"P{k}", diameter, place, pitch)
        solids += [*bar, pin]
        outlines.append(fine_circle(diameter, place))
        labels.append(label)
        features.append(_round(f"P{k}", "boss", diameter, place, ends=(2.0, 10.0)))
    return BenchPiece(
        sheet=PieceSheet(name="fit-ladder", features=tuple(features)),
        mesh=joined(solids),
        outlines=tuple(outlines),
        labels=tuple(labels),
        view="from above",
        purpose="Which clearance you call press, slide and free.",
        columns=("1", "2", "note"),
        advice=(
            _FEEL,
            "Read the ring and the pins as well: the clearance is then that of the print.",
        ),
    )


def _pin(
    name: str, diameter: float, place: tuple[float, float], pitch: float
) -> tuple[Mesh, list[Mesh], Label]:
    """Return a pin on its piece of a common bar, with its label on the bar."""
    x, y = place
    half = pitch / 2
    bar = rectangle(x - half - 0.5, x + half + 0.5, y - diameter / 2 - 6.0, y + half)
    label = Label(text=name, x=x, y=y - diameter / 2 - 5.0, height=_LABEL)
    foot = 2.0
    pin = prism(fine_circle(diameter, place), [], 1.0, 10.0)
    return pin, [prism(bar, [], 0.0, foot), *labels_on([label], foot)], label
