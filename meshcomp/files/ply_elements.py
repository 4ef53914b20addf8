"""The data of a PLY file after its header: elements of numbers and lists of numbers."""

from __future__ import annotations

import struct
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import PartFileError

__all__ = ["Element", "Property", "read_elements"]

Columns = dict[str, NDArray[np.float64]]
_LETTERS = dict(  # of the types, for struct
    zip(
        ("i1", "u1", "i2", "u2", "i4", "u4", "i8", "u8", "f4", "f8"),
        "bBhHiIqQfd",
        strict=True,
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Property:
    """One value of an element, or a list of values if it has a type of `count`."""

    name: str
    kind: str  # as numpy writes types, with the byte order
    count: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Element:
    """A table: `count` rows of the properties."""

    name: str
    count: int
    properties: tuple[Property, ...]

    def with_property(self, added: Property) -> Element:
        """Return the element with one more column; its name must be new."""
        if added.name in {row.name for row in self.properties}:
            raise ValueError(added.name)
        return replace(self, properties=(*self.properties, added))


def read_elements(
    body: bytes, elements: tuple[Element, ...], name: str
) -> dict[str, Columns]:
    """Read the columns of all elements.

    Parameters
    ----------
    body : bytes
        The data after the header.
    elements : tuple of Element
        As the header says.
    name : str
        The file's name, for messages.

    Returns
    -------
    dict
        By name of the element, then of the property. A list property NAME has all its
        values one after the other, and their counts under "NAME count".

    Raises
    ------
    PartFileError
        If the data are shorter or longer than the header says.
    """
    tables: dict[str, Columns] = {}
    position = 0
    for element in elements:
        tables[element.name], position = _read(body, position, element, name)
    if body[position:].strip():
        raise PartFileError(
            f"{name}: the data take {position} bytes by its header, but the file has "
            f"{len(body)}: it was changed; export it again"
        )
    return tables


def _read(body: bytes, start: int, element: Element, name: str) -> tuple[Columns, int]:
    if not element.properties or not element.count:
        return {}, start
    lists = [row for row in element.properties if row.count]
    if not lists:
        rows = _rows_alike(body, start, element, {})
    else:
        lengths = _first_lengths(body, start, element)
        rows = None if lengths is None else _rows_alike(body, start, element, lengths)
        if rows is not None and not _are_alike(rows, lists):
            rows = None
    if rows is not None:
        return _columns(rows, element), start + rows.nbytes
    return _read_row_by_row(body, start, element, name)


def _first_lengths(body: bytes, start: int, element: Element) -> dict[str, int] | None:
    """Lengths of the lists in the first row; None if that row is not whole."""
    try:
        row, _ = _row(body, start, element)
    except (ValueError, OverflowError):
        return None
    return {key: len(values) for key, values in row.items()}


def _rows_alike(
    body: bytes, start: int, element: Element, lengths: dict[str, int]
) -> NDArray[np.void] | None:
    """All rows, if lists have the same lengths in each; None if the data end before."""
    fields: list[tuple[str, str, tuple[int, ...]]] = []
    for row in element.properties:
        if row.count:
            fields.append((f"{row.name} count", row.count, ()))
            fields.append((row.name, row.kind, (lengths[row.name],)))
        else:
            fields.append((row.name, row.kind, ()))
    dtype = np.dtype(fields)
    if start + dtype.itemsize * element.count > len(body):
        return None
    return np.frombuffer(body, dtype, element.count, start)


def _are_alike(rows: NDArray[np.void], lists: list[Property]) -> bool:
    return all(
        (rows[f"{row.name} count"] == rows[row.name].shape[1]).all() for row in lists
    )


def _columns(rows: NDArray[np.void], element: Element) -> Columns:
    columns = {}
    for row in element.properties:
        columns[row.name] = _widened(rows[row.name].reshape(-1))
        if row.count:
            columns[f"{row.name} count"] = _widened(rows[f"{row.name} count"])
    return columns


def _widened(values: NDArray[Any]) -> NDArray[np.float64]:
    with np.errstate(invalid="ignore"):  # of a signalling NaN, which is refused later
        return np.asarray(values, dtype=np.float64)


def _read_row_by_row(
    body: bytes, start: int, element: Element, name: str
) -> tuple[Columns, int]:
    """Read rows whose lists differ in length: each says where the next one begins."""
    found: dict[str, list[tuple[float, ...]]] = {row.name: [] for row in element.properties}
    position = start
    for number in range(element.count):
        try:
            row, position = _row(body, position, element)
        except (ValueError, OverflowError) as error:
            raise PartFileError(
                f"{name} ends, or cannot be read, at {element.name} {number + 1} of the "
                f"{element.count} that its header says (byte {position} after the header: "
                f"{error}): it was cut off or changed; export or copy it again"
            ) from error
        for key, values in row.items():
            found[key].append(values)
    columns: Columns = {}
    for row_ in element.properties:
        lists = found[row_.name]
        columns[row_.name] = np.array([x for values in lists for x in values], np.float64)
        columns[f"{row_.name} count"] = np.array([len(values) for values in lists])
    return columns, position


def _row(
    body: bytes, position: int, element: Element
) -> tuple[dict[str, tuple[float, ...]], int]:
    """Values of one row, each as a tuple, and where the next row begins."""
    values = {}
    for row in element.properties:
        length = 1
        if row.count:
            (said,), position = _unpack(body, position, row.count, 1)
            length = int(said)
            if length != said or length < 0:
                raise ValueError(f"a list of {said} values")
        values[row.name], position = _unpack(body, position, row.kind, length)
    return values, position


def _unpack(
    body: bytes, position: int, kind: str, length: int
) -> tuple[tuple[float, ...], int]:
    end = position + int(kind[2:]) * length
    if end > len(body):
        raise ValueError("the data end there")
    letters = f"{kind[0]}{length}{_LETTERS[kind[1:]]}"
    return struct.unpack(letters, body[position:end]), end
