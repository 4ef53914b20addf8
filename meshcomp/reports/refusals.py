"""A picture of a mesh that was refused: where it is open, seen from three sides."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import NotASolidError
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._sentences import printable

__all__ = ["refusal_svg"]

_PANEL = 400  # width and height of one view, in units of the picture
_MARGIN = 40
_HEAD = 96
_LINE = 20
_VIEWS = (
    ("from above", "X", "Y"),
    ("from the front", "X", "Z"),
    ("from the right", "Y", "Z"),
)
_NOTE = (
    "Lengths in mm, in the frame of the file. Grey: edges of the part. Nothing was written "
    "but this picture."
)
_STYLE = """
text { font: 15px "Noto Sans", "Liberation Sans", Arial, sans-serif; fill: #1c2429; }
.small { font-size: 13px; fill: #55616a; }
.outline { stroke: #7b868c; stroke-width: 0.8; fill: none; }
.open { stroke: #b3261e; stroke-width: 1.8; stroke-linecap: round; fill: none; }
.mark { stroke: #b3261e; stroke-width: 1.2; fill: none; stroke-dasharray: 4 3; }
.frame { stroke: #cfd3d1; fill: #fffefb; }
"""


def refusal_svg(name: str, error: NotASolidError) -> str:
    """Return a drawing of the part's edges, its open edges marked.

    Parameters
    ----------
    name : str
        Of the part, for the title.
    error : NotASolidError
        With the open edges and the edges that show the part's shape.

    Returns
    -------
    str
        One SVG file; coordinates are in the file's frame, mm.

    Examples
    --------
    >>> rim = np.array([[(0, 0, 0), (1, 0, 0)], [(1, 0, 0), (0, 0, 1)]], dtype=float)
    >>> error = NotASolidError("wheel: open", open_edges=rim, outline=rim)
    >>> refusal_svg("wheel", error).count('class="open"')
    3
    """
    rims = np.asarray(error.open_edges, dtype=float).reshape(-1, 2, 3)
    outline = np.asarray(error.outline, dtype=float).reshape(-1, 2, 3)
    points = np.concatenate([rims, outline]).reshape(-1, 3)
    low, high = points.min(axis=0), points.max(axis=0)
    scale = (_PANEL - 2 * _MARGIN) / max(float((high - low).max()), 1e-9)
    listed = _listed(rims)
    width, height = 3 * _PANEL, _HEAD + _PANEL + _LINE * (len(listed) + 1)
    panels = [
        _panel(k, (low, high), scale, outline=outline, rims=rims)
        for k in range(len(_VIEWS))
    ]
    title = escape(printable(f"{name}: not a closed solid, {len(rims)} open edges (red)"))
    lines = [
        f'<text class="small" x="20" y="{_HEAD + _PANEL + _LINE * (k + 1)}">{line}</text>'
        for k, line in enumerate(listed)
    ]
    return f"""\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}"
  height="{height}" role="img" aria-label="{title}">
<style>{_STYLE}</style>
<rect width="{width}" height="{height}" fill="#f6f5f0"/>
<text x="20" y="34" font-weight="bold">{title}</text>
<text class="small" x="20" y="58">{_NOTE}</text>
{"".join(panels)}
{"".join(lines)}
</svg>
"""


def _listed(rims: NDArray[np.float64]) -> list[str]:
    """Say where the first open edges run."""
    most = 8
    lines = [f"{_place(start)} to {_place(end)}" for start, end in rims[:most].tolist()]
    if len(rims) > most:
        lines.append(f"and {len(rims) - most} more")
    return [f"open: {line}" for line in lines]


def _place(point: Sequence[float]) -> str:
    return "(" + ", ".join(numbers.size(x) for x in point) + ")"


def _panel(
    number: int,
    box: tuple[NDArray[np.float64], NDArray[np.float64]],
    scale: float,
    *,
    outline: NDArray[np.float64],
    rims: NDArray[np.float64],
) -> str:
    title, across, up = _VIEWS[number]
    axes = ["XYZ".index(across), "XYZ".index(up)]
    middle = (box[0] + box[1])[axes] / 2
    centre = np.array([_PANEL * (number + 0.5), _HEAD + _PANEL / 2])

    def flat(lines: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray((lines[..., axes] - middle) * scale * (1, -1) + centre)

    seen = flat(rims)
    ends = seen.reshape(-1, 2)
    ring = ends.mean(axis=0)
    radius = max(float(np.linalg.norm(ends - ring, axis=1).max()) + 8, 12)
    # What lies all over the part needs no circle to be found.
    is_small = radius < _PANEL / 5
    circle = (
        f'<circle class="mark" cx="{ring[0]:.1f}" cy="{ring[1]:.1f}" r="{radius:.1f}"/>'
        if is_small
        else ""
    )
    left = _PANEL * number
    return (
        f'<rect class="frame" x="{left + 4}" y="{_HEAD}" width="{_PANEL - 8}" '
        f'height="{_PANEL}"/>'
        f'<text class="small" x="{left + 14}" y="{_HEAD + 20}">{title}: {across} to the '
        f"right, {up} upwards</text>"
        f'<path class="outline" d="{_path(flat(outline))}"/>'
        f"{circle}"
        f'<path class="open" d="{_path(seen)}"/>'
    )


def _path(lines: NDArray[np.float64]) -> str:
    """Write segments as the data of a path."""
    return ("M%.1f %.1fL%.1f %.1f" * len(lines)) % tuple(lines.ravel().tolist())
