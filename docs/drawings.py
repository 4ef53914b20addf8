"""Drawings of docs/layers.md and docs/seam.md, from parts made by the code itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["layers_drawing", "seam_drawing"]

INK, GREY, BLUE, ORANGE, STEEL = "#1c2429", "#7b868c", "#0a5a9c", "#a84a00", "#e4e8e8"
FONT = 'font-family="Noto Sans, Arial, sans-serif"'
SIDE = np.array([(1.0, 0, 0), (0, 0, 1.0), (0, -1.0, 0)])  # X to the right, Z up


class View:
    """A part of the sheet that shows a part of the plane, magnified."""

    def __init__(
        self, low: tuple[float, float], high: tuple[float, float], at: Sequence[float]
    ) -> None:
        """Show the box from low to high, mm, at x, y and width on the sheet."""
        self.low, self.high = np.array(low), np.array(high)
        self.x, self.y, self.width = at
        self.scale = self.width / (self.high - self.low)[0]
        self.height = (self.high - self.low)[1] * self.scale

    def at(self, point: Sequence[float]) -> tuple[float, float]:
        """Return the place of a point on the sheet."""
        away = (np.asarray(point) - self.low) * self.scale
        return self.x + float(away[0]), self.y + self.height - float(away[1])

    def path(self, rings: Iterable[NDArray[np.float64]], style: str) -> str:
        """Draw closed rings."""
        parts = []
        for ring in rings:
            places = " ".join("{:.2f} {:.2f}".format(*self.at(p)) for p in ring)
            parts.append(f"M{places}Z")
        return f'<path d="{"".join(parts)}" fill-rule="evenodd" {style}/>'

    def line(self, a: Sequence[float], b: Sequence[float], style: str) -> str:
        """Draw a line."""
        (x1, y1), (x2, y2) = self.at(a), self.at(b)
        ends = f'x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}"'
        return f"<line {ends} {style}/>"

    def text(self, point: Sequence[float], words: str, style: str = "") -> str:
        """Write words, their left end at a point."""
        x, y = self.at(point)
        return f'<text x="{x:.2f}" y="{y:.2f}" {style}>{words}</text>'

    def clip(self, name: str, drawn: Sequence[str]) -> list[str]:
        """Show of some drawings only what lies in the view, in a frame."""
        box = f'x="{self.x}" y="{self.y}" width="{self.width}" height="{self.height:.2f}"'
        return [
            f'<clipPath id="{name}"><rect {box}/></clipPath>',
            f'<g clip-path="url(#{name})">',
            *drawn,
            "</g>",
            f'<rect {box} fill="none" stroke="{GREY}"/>',
        ]


def _stroke(colour: str, width: float = 1.6, *, dashed: bool = False) -> str:
    dash = ' stroke-dasharray="5 4"' if dashed else ""
    return f'fill="none" stroke="{colour}" stroke-width="{width}"{dash}'


def _sheet(title: str, words: str, size: tuple[int, int], drawn: Sequence[str]) -> str:
    width, height = size
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" role="img" font-size="14" {FONT}>'
    )
    return "\n".join(
        [
            head,
            f"<title>{title}</title>",
            f"<desc>{words}</desc>",
            f'<rect width="{width}" height="{height}" fill="#fffefb"/>',
            *drawn,
            "</svg>\n",
        ]
    )


def _legend(x: float, y: float, rows: Sequence[tuple[str, str]]) -> list[str]:
    drawn = []
    for k, (style, words) in enumerate(rows):
        line = f'x1="{x}" y1="{y + 20 * k}" x2="{x + 30}" y2="{y + 20 * k}"'
        drawn.append(f"<line {line} {style}/>")
        drawn.append(f'<text x="{x + 38}" y="{y + 20 * k + 5}" fill="{INK}">{words}</text>')
    return drawn


def layers_drawing() -> str:
    """Draw the knob cut upright: its layers, and the floor of its bore on none of them."""
    import meshcomp
    from meshcomp.layering import snapped
    from meshcomp.layers import LayerGrid, SnapWish
    from meshcomp.solids import solid_of

    found = meshcomp.inspect(meshcomp.demo_part("knob"))
    grid = LayerGrid(layer_height=0.4, first_layer=0.3)
    moved, report = snapped(found, grid, SnapWish())
    before, after = (solid_of(i.part.mesh).sections(SIDE, [0.0])[0] for i in (found, moved))
    face = next(f for f in report.off_grid if f.facing == "down" and f.height > 1)
    top = report.faces[-1]
    whole = View((-18, -1.5), (18, 15.5), (20, 46, 440))
    close = View((-4.4, face.height - 1.1), (4.4, face.height + 1.1), (500, 46, 380))
    ends = [0.3 + 0.4 * k for k in range(36)]
    thin = [_stroke(GREY, 0.5), _stroke(GREY, 1.0)]

    def drawn(view: View, style: str) -> list[str]:
        lines = [view.line((-20, z), (20, z), style) for z in (0.0, *ends)]
        return [
            view.path(before, f'fill="{STEEL}"'),
            *lines,
            view.path(after, _stroke(BLUE, 2.0)),
            view.path(before, _stroke(INK, 1.4, dashed=True)),
        ]

    corner = [(-4.4, face.height - 1.1), (4.4, face.height + 1.1)]
    (x0, y0), (x1, y1) = whole.at(corner[0]), whole.at(corner[1])
    window = f'x="{x0}" y="{y1}" width="{x1 - x0}" height="{y0 - y1}"'
    note = f'fill="{INK}" font-size="13"'
    body = [
        (
            f'<text x="20" y="28" fill="{INK}">The knob, cut upright; layers of 0.4 mm, '
            "the first 0.3 mm</text>"
        ),
        f'<text x="500" y="28" fill="{INK}">The floor of its bore, magnified</text>',
        *whole.clip("whole", drawn(whole, thin[0])),
        f'<rect {window} fill="none" stroke="{ORANGE}" stroke-width="2"/>',
        *close.clip("close", drawn(close, thin[1])),
        *_legend(
            500,
            190,
            [
                (_stroke(GREY, 1.0), "ends of layers"),
                (_stroke(INK, 1.4, dashed=True), f"as drawn: {face.height:.2f} mm"),
                (
                    _stroke(BLUE, 2.0),
                    f"in print, and snapped: {face.printed:.2f} mm ({face.off:+.2f})",
                ),
            ],
        ),
        (
            f'<text x="20" y="276" {note}>top: {top.height:.2f} mm drawn, '
            f"{top.printed:.2f} mm in print</text>"
        ),
    ]
    return _sheet(
        "Level faces and layers",
        "An upright section of the knob with its layers. The floor of its blind bore lies "
        "between two layers and prints at the nearer one.",
        (900, 292),
        body,
    )


def seam_drawing() -> str:
    """Draw the shaft spacer cut level: two seats in line, and one of them magnified."""
    import meshcomp
    from meshcomp.grooving import grooved
    from meshcomp.seams import SeamWish
    from meshcomp.solids import solid_of

    found = meshcomp.inspect(meshcomp.demo_part("shaft_spacer"))
    rule = meshcomp.ByHand(bore_opening=0.15, boss_growth=-0.06)
    plain = meshcomp.compensate(found, meshcomp.plan(found, rule))
    wish = SeamWish(width=0.44, depth=0.44 / 3, everywhere=True)
    cut = grooved(found, plain, wish)
    groove = next(g for g in cut.seams.grooves if g.feature_id == "boss-01")
    (after,) = solid_of(cut.part.mesh).sections(np.eye(3), [7.0])
    (before,) = solid_of(plain.part.mesh).sections(np.eye(3), [7.0])
    whole = View((-6.6, -6.6), (6.6, 6.6), (20, 46, 330))
    seat, apex = np.array(groove.seat), np.array(groove.apex)
    close = View((-0.62, seat[1] - 0.42), (0.62, seat[1] + 0.3), (400, 46, 480))
    (left, right) = sorted(groove.mouth)
    gauge = _stroke(ORANGE, 1.2)

    def drawn(view: View) -> list[str]:
        return [
            view.path(after, f'fill="{STEEL}"'),
            view.path(before, _stroke(GREY, 1.2, dashed=True)),
            view.path(after, _stroke(INK, 1.8)),
        ]

    ring = f'cx="{{:.2f}}" cy="{{:.2f}}" r="5" {_stroke(BLUE, 2.0)}'
    marks = [f"<circle {ring.format(*whole.at(g.apex))}/>" for g in cut.seams.grooves]
    high = seat[1] + 0.13
    dimensions = [
        close.line((left[0], left[1]), (left[0], high + 0.03), gauge),
        close.line((right[0], right[1]), (right[0], high + 0.03), gauge),
        close.line((left[0], high), (right[0], high), gauge),
        close.text((left[0] + 0.05, high + 0.025), f"{groove.width:.2f} mm wide"),
        close.line((apex[0], apex[1]), (0.46, apex[1]), gauge),
        close.line((seat[0], seat[1]), (0.46, seat[1]), gauge),
        close.line((0.42, apex[1]), (0.42, seat[1]), gauge),
        close.text((0.435, (apex[1] + seat[1]) / 2 - 0.01), f"{groove.depth:.3f}"),
    ]
    body = [
        f'<text x="20" y="28" fill="{INK}">A spacer, cut level: seats in line</text>',
        f'<text x="400" y="28" fill="{INK}">The seat of the boss, magnified</text>',
        *whole.clip("whole", drawn(whole)),
        *marks,
        *close.clip("close", [*drawn(close), *dimensions]),
        *_legend(
            400,
            350,
            [
                (_stroke(GREY, 1.2, dashed=True), "without a seat"),
                (_stroke(INK, 1.8), "with one: the seam goes to the bottom of the V"),
            ],
        ),
    ]
    return _sheet(
        "Seats for the seam",
        "A level section of a spacer with a bore. A V-groove in the boss and one in the "
        "bore lie at the same bearing; one of them is magnified, with its width and depth.",
        (900, 392),
        body,
    )
