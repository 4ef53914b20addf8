"""The surface as data for the page: whole numbers in base64, a scale of colours."""

from __future__ import annotations

import base64
import json
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshcomp._vectors import highest, unit
from meshcomp.features import Cylinder, Wall
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._rows import Row
from meshcomp.results import Record, Surface

__all__ = ["COLOURS", "embedded", "scale_of", "surface_data", "ticks", "why_no_surface"]

# Blue: material removed; grey: unmoved; orange: added. Lightness falls on both sides, and
# blue and orange stay apart for people who see no red or no green.
COLOURS = ("#0b3c68", "#2f77b4", "#9cc3e2", "#e9e7e1", "#f1bd86", "#cf7420", "#7d3600")
_MOST_FACES = 300_000  # in a page
_POSITIONS = 65_535  # steps along the part's longest side
_SHIFTS = 32_767  # steps of the largest displacement
_SMALLEST_SCALE = 0.01  # mm
_OFF_PLANE = 0.05  # mm from where a wall was, besides what it moved by
_SQUARE = 0.999  # cosine between a face's normal and the direction measured along
_NICE = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


def why_no_surface(record: Record) -> str | None:
    """Say why a record shows no surface, or None if it shows one."""
    if record.surface is None:
        return "There is no surface in this record."
    faces = len(record.surface.faces)
    if faces > _MOST_FACES:
        return (
            f"The part has {faces:,} triangles, which could not be thinned out and are too "
            "many for a page. The plan views below show the changes."
        )
    return None


def surface_data(surface: Surface, rows: Sequence[Row], texts: Sequence[str]) -> Any:
    """Return what the script of the page needs, ready for JSON.

    Parameters
    ----------
    surface : Surface
    rows : sequence of Row
        In the order of the features.
    texts : sequence of str
        What to say of each.
    """
    low = surface.vertices.min(axis=0)
    step = max(float(np.ptp(surface.vertices, axis=0).max()) / _POSITIONS, 1e-9)
    reach = max(float(np.abs(surface.displacements).max(initial=0.0)), 1e-9)
    shifts = surface.displacements.ravel() / reach * _SHIFTS
    index = "<u2" if len(surface.vertices) <= _POSITIONS else "<u4"
    return {
        "origin": [round(float(x), 6) for x in low],
        "step": step,
        "vertices": _packed((surface.vertices - low).ravel() / step, "<u2"),
        "faces": _packed(surface.faces.ravel(), index),
        "edges": _packed(surface.edges.ravel(), index),
        "displacement_step": reach / _SHIFTS,
        "displacements": _packed(shifts, "<i2"),
        "owners": _packed(surface.owners + 1, "<u2"),
        "range": scale_of(surface),
        "colours": COLOURS,
        "features": [
            _feature(row, text) | _walls(surface, row, rows)
            for row, text in zip(rows, texts, strict=True)
        ],
    }


def _packed(values: NDArray[Any], kind: str) -> dict[str, str]:
    whole = np.rint(values).astype(kind)
    return {"kind": kind[1:], "data": base64.b64encode(whole.tobytes()).decode("ascii")}


def _feature(row: Row, text: str) -> dict[str, Any]:
    axis = None
    if isinstance(row.feature, Cylinder) and row.feature.is_internal:
        axis = [round(float(x), 6) for x in row.feature.direction]
    return {"id": row.correction.feature_id, "words": text, "axis": axis}


def _walls(surface: Surface, row: Row, rows: Sequence[Row]) -> dict[str, Any]:
    """Faces that a distance lies between: it owns none, but its two walls are shown."""
    wall = row.feature
    if not isinstance(wall, Wall) or not wall.between:
        return {}
    owners = [
        i for i, each in enumerate(rows) if each.correction.feature_id in wall.between
    ]
    faces = np.flatnonzero(np.isin(surface.owners, owners))
    corners = surface.vertices[surface.faces[faces]]
    normals = unit(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))
    across = corners @ wall.direction
    reach = _OFF_PLANE + float(np.abs(surface.displacements).max(initial=0.0))
    reach += surface.strayed
    off = np.minimum(*(highest(np.abs(across - end)) for end in (wall.start, wall.end)))
    flat = np.abs(normals @ wall.direction) > _SQUARE
    return {
        "between": list(wall.between),
        "walls": _packed(faces[flat & (off <= reach)], "<u4"),
    }


def scale_of(surface: Surface) -> float:
    """Return the displacement, mm, at which the scale of colours ends.

    It is round and not below the largest one, but for a few corners.
    """
    moved = np.abs(surface.displacements[surface.owners >= 0])
    moved = moved[moved > _SMALLEST_SCALE / 100]
    largest = float(np.quantile(moved, 0.999)) if moved.size else 0.0
    return nice_above(max(largest, _SMALLEST_SCALE))


def nice_above(value: float) -> float:
    """Return the smallest round number that is not below a value.

    Examples
    --------
    >>> nice_above(0.113), nice_above(0.05)
    (0.12, 0.05)
    """
    power = 10.0 ** math.floor(math.log10(value) + 1e-9)
    step = min(step for step in _NICE if step * power >= value * (1 - 1e-6))
    return round(step * power, 12)


def ticks(reach: float) -> list[str]:
    """Return the five numbers of the scale, mm, from added to removed."""
    decimals = 3 if round(reach / 2, 2) != round(reach / 2, 9) else 2
    return [numbers.signed(reach * share, decimals) for share in (1, 0.5, 0, -0.5, -1)]


def embedded(data: Any) -> str:
    r"""Return JSON that may stand in a page: nothing in it can end the element.

    Examples
    --------
    >>> print(embedded({"name": "</script>"}))
    {"name":"\u003c/script\u003e"}
    """
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    for character in "<>&":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text
