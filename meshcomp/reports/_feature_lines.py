"""The features of a part as lines of text: a table and the notes below it."""

from __future__ import annotations

from collections.abc import Sequence

from meshcomp.features import Cylinder, Feature, Wall
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._rows import Axis, axis_in_file, grouped
from meshcomp.reports._sentences import printable
from meshcomp.reports._tables import (
    MOST_ROWS,
    Column,
    collapsed,
    columns_of,
    fits,
    table,
    titled,
    without_kind,
)
from meshcomp.stands import Stand

__all__ = ["feature_lines"]

_ALONG_LIMIT = 1e-9  # cosine's lack below which an axis counts as along X, Y or Z

# Header, and whether the column holds numbers.
_FEATURE_HEADERS = (
    ("id", False),
    ("kind", False),
    ("size", True),
    ("across\nflats", True),
    ("facets", True),
    ("ends or\nshape", False),
    ("build\nangle", True),
    ("axis, and where", False),
    ("from", True),
    ("to", True),
)
# How a bore ends, in the width of a column.
_ENDINGS = {
    "through": "through",
    "flat": "flat",
    "drill point": "point",
    "round end": "round",
    "step": "step",
    "other": "blind",
}
_PLACE_COLUMNS = 3  # the last ones, which tell equal features apart


def feature_lines(features: Sequence[Feature], stand: Stand) -> list[str]:
    """Return the table of features, those equal together when there are many."""
    if not features:
        return ["No features of size found."]
    notes = _grouped_notes(features)
    if len(features) > MOST_ROWS:
        title = "Features, mm and degrees (equal ones together, --json lists each):"
        rows = [_feature_cells(feature, stand, 2) for feature in features]
        columns = columns_of(_FEATURE_HEADERS, rows)
        lines = [title, *collapsed(columns[:-_PLACE_COLUMNS])]
    else:
        title = "Features, mm and degrees, in the file's frame:"
        lines = [title, *table(_columns(features, stand))]
        notes += _single_notes(features, stand)
    return [*lines, "", *titled("Notes", notes)] if notes else lines


def _columns(features: Sequence[Feature], stand: Stand) -> Sequence[Column]:
    """Return the columns, with as much as fits in one table.

    What is given up first is the kind, where the id says it, then decimals of places.
    """
    options: list[Sequence[Column]] = []
    for decimals in (2, 1):
        rows = [_feature_cells(feature, stand, decimals) for feature in features]
        columns = columns_of(_FEATURE_HEADERS, rows)
        options += [columns, without_kind(columns)]
    return next((columns for columns in options if fits(columns)), options[-1])


def _feature_cells(feature: Feature, stand: Stand, decimals: int) -> tuple[str, ...]:
    """Return the cells of one feature, in the order of the headers."""
    of_cylinder: tuple[str, ...] = (numbers.DASH,) * 4
    if isinstance(feature, Wall) and feature.shape is not None:
        name = feature.shape.name.partition(",")[0]
        of_cylinder = (numbers.DASH, numbers.DASH, name, numbers.DASH)
    if isinstance(feature, Cylinder):
        of_cylinder = (
            numbers.size(feature.size_across_flats),
            str(feature.facets),
            _ENDINGS.get(feature.ending, numbers.DASH),
            numbers.angle(feature.build_angle),
        )
    extent = [numbers.size(x, decimals) for x in (feature.start, feature.end)]
    nominal = numbers.size(feature.nominal_size)
    axis = _axis_words(axis_in_file(feature, stand), decimals)
    return (feature.id, feature.kind, nominal, *of_cylinder, axis, *extent)


def _axis_words(axis: Axis, decimals: int) -> str:
    """Return the axis as '+Z' with its other two coordinates, or as 'oblique'."""
    along = _along(axis)
    if along is None:
        return "oblique, below"
    others = [axis.point[k] for k in range(3) if "XYZ"[k] != along[1]]
    return f"{along} {numbers.place(others, decimals)}"


def _along(axis: Axis) -> str | None:
    """Name the coordinate direction that an axis has, if it has one."""
    for name, part in zip("XYZ", axis.direction, strict=True):
        if abs(part) > 1 - _ALONG_LIMIT:
            return f"{'+' if part > 0 else '-'}{name}"
    return None


def _grouped_notes(features: Sequence[Feature]) -> list[str]:
    """Say why numbers are missing, and what detection noted."""
    pairs = [
        (note, f.id) for f in features for note in (*_missing(f), *_shape(f), *f.notes)
    ]
    return [printable(f"{ids}: {note}") for ids, note in grouped(pairs)]


def _shape(feature: Feature) -> list[str]:
    """Say the measures of a shape."""
    if not isinstance(feature, Wall) or feature.shape is None:
        return []
    shape = feature.shape
    measures = ", ".join(
        f"{name} {numbers.angle(value) if name == 'angle' else numbers.size(value)}"
        for name, value in shape.measures
    )
    return [f"{shape.name}, {measures}"] if measures else []


def _single_notes(features: Sequence[Feature], stand: Stand) -> list[str]:
    """Say where oblique axes lie and how long outlines are."""
    notes = []
    for feature in features:
        axis = axis_in_file(feature, stand)
        if _along(axis) is None:
            notes.append(
                f"{feature.id}: axis through ({numbers.place(axis.point)}) along "
                f"({numbers.place(axis.direction, 4)})"
            )
        if not isinstance(feature, Cylinder) and feature.curve_length is not None:
            notes.append(f"{feature.id}: outline {numbers.size(feature.curve_length)} mm")
    return notes


def _missing(feature: Feature) -> list[str]:
    if isinstance(feature, Cylinder):
        return []
    if feature.nominal_size is None:
        return ["no size, a profile has none of its own; from and to are its heights"]
    if feature.between:
        return [f"it follows from {feature.owners_in_words}"]
    return [f"a {feature.kind} has no facets, ends or build angle"]
