"""Reading and writing PLY: the triangles, not the looks."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import PartFileError
from meshcomp.files.checks import refuse_bad_corners
from meshcomp.files.contents import Contents, Shape
from meshcomp.files.ply_elements import Columns, Element, Property, read_elements
from meshcomp.files.ply_text import numbers_of_text, refuse_wrong_line
from meshcomp.files.polygons import fans, folded_polygons, folding_notes

__all__ = ["binary_ply", "read_ply"]

_TYPES = {
    "char": "i1",
    "uchar": "u1",
    "short": "i2",
    "ushort": "u2",
    "int": "i4",
    "uint": "u4",
    "float": "f4",
    "double": "f8",
    # Names seen in files, though not in the format's first description.
    "int8": "i1",
    "uint8": "u1",
    "int16": "i2",
    "uint16": "u2",
    "int32": "i4",
    "uint32": "u4",
    "int64": "i8",
    "uint64": "u8",
    "float32": "f4",
    "float64": "f8",
}
_ORDERS = {"ascii": "=", "binary_little_endian": "<", "binary_big_endian": ">"}
_LISTS = ("vertex_indices", "vertex_index")
_MOST = 2**53  # rows of an element, far beyond any memory
_LONGEST_HEADER = 64 * 1024  # bytes
_FEWEST = 3  # corners of a polygon


@dataclass(frozen=True, slots=True, eq=False)
class _Header:
    is_text: bool
    elements: tuple[Element, ...]
    end: int  # byte at which the data begin


def read_ply(data: bytes, name: str, stem: str) -> Contents:
    """Read the faces of a PLY file, text or binary of either byte order.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        The file's name, for messages.
    stem : str
        Name of the shape.

    Raises
    ------
    PartFileError
        If the file is cut off, or its header and its data do not go together.
    """
    header = _header(data, name)
    body = data[header.end :]
    try:
        if header.is_text:
            numbers = numbers_of_text(body)
            return _contents(read_elements(numbers, header.elements, name), name, stem)
        elements = read_elements(body, header.elements, name)
        return _contents(elements, name, stem)
    except PartFileError:
        if header.is_text:
            first = 1 + len(re.findall(rb"\r\n|\n|\r", data[: header.end]))
            refuse_wrong_line(body, header.elements, first_line=first, name=name)
        raise


def _contents(elements: dict[str, Columns], name: str, stem: str) -> Contents:
    points = _points(elements, name)
    corners, counts = _polygons(elements, len(points), name)
    faces, polygon_of_face = fans(corners, counts)
    refuse_bad_corners(name, points, faces)
    return Contents(
        shapes=(Shape(name=stem, points=points, faces=faces),),
        notes=folding_notes(folded_polygons(points, faces, polygon_of_face)),
    )


def _header(data: bytes, name: str) -> _Header:
    # A line that is nothing but the word: comments may hold it too.
    found = re.search(rb"[\r\n]end_header[ \t]*(\r\n|\n|\r)", data)
    if not re.match(rb"ply[ \t]*[\r\n]", data) or found is None:
        raise PartFileError(
            f"{name} is no PLY file: it must begin with a line 'ply' and have a line "
            "'end_header'; export it again"
        )
    if found.start() > _LONGEST_HEADER:
        raise PartFileError(
            f"{name}: its header has {found.start()} bytes, more than the "
            f"{_LONGEST_HEADER} allowed: it is no honest part file; export it again"
        )
    lines = data[: found.start()].decode("latin-1").splitlines()
    rows = [line.split() or ["comment"] for line in lines]
    order = next(
        (_ORDERS.get(row[1]) for row in rows if row[0] == "format" and row[1:]), ""
    )
    if not order:
        raise PartFileError(
            f"{name}: its header has no line 'format' with one of {', '.join(_ORDERS)}: "
            "export it again"
        )
    return _Header(order == "=", _elements(rows, order, name), found.end())


def _elements(rows: list[list[str]], order: str, name: str) -> tuple[Element, ...]:
    elements: dict[str, Element] = {}
    for number, row in enumerate(rows, start=1):
        try:
            if row[0] == "element":
                element = _element(row, elements)
                elements[element.name] = element
            elif row[0] == "property":
                last = next(reversed(elements.values()))
                elements[last.name] = last.with_property(_property(row, order))
        except (StopIteration, KeyError, IndexError, ValueError) as error:
            raise PartFileError(
                f"{name}, line {number}: {' '.join(row)[:60]!r} cannot stand in the header "
                "of a PLY file: it was changed; export it again"
            ) from error
    return tuple(elements.values())


def _element(row: list[str], others: dict[str, Element]) -> Element:
    _, title, count = row
    if title in others or not 0 <= int(count) <= _MOST:
        raise ValueError(title)
    return Element(name=title, count=int(count), properties=())


def _property(row: list[str], order: str) -> Property:
    types = [_TYPES[word] for word in row[1:-1] if word != "list"]
    if order == "=":
        types = ["f8"] * len(types)  # text has been turned into 64-bit numbers
    kinds = [f"{order}{type_}" for type_ in types]
    is_list = row[1] == "list"
    if len(kinds) != 1 + is_list:
        raise ValueError(" ".join(row))
    return Property(name=row[-1], kind=kinds[-1], count=kinds[0] if is_list else None)


def _points(elements: dict[str, Columns], name: str) -> NDArray[np.float64]:
    try:
        columns = [elements["vertex"][axis] for axis in "xyz"]
    except KeyError as error:
        raise PartFileError(
            f"{name} has no vertices with x, y and z: export it again"
        ) from error
    return np.stack([np.asarray(column, np.float64) for column in columns], axis=1)


def _polygons(
    elements: dict[str, Columns], vertices: int, name: str
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    faces = elements.get("face", {})
    lists = next((faces[key] for key in _LISTS if key in faces), np.zeros(0))
    counts = next((faces[f"{key} count"] for key in _LISTS if key in faces), np.zeros(0))
    if len(counts) == 0:
        raise PartFileError(f"{name} holds 0 triangles: export the part again")
    if (counts < _FEWEST).any():
        face = int(np.argmax(counts < _FEWEST))
        raise PartFileError(
            f"{name}: face {face + 1} has {int(counts[face])} corners, fewer than "
            f"{_FEWEST}: export it again"
        )
    is_right = (lists >= 0) & (lists < vertices) & (lists == np.floor(lists))
    if not is_right.all():
        corner = int(np.argmin(is_right))
        face = int(np.searchsorted(np.cumsum(counts), corner, side="right"))
        raise PartFileError(
            f"{name}: face {face + 1} names vertex {lists[corner]:g}, but the file has "
            f"vertices 0 to {vertices - 1}: it was changed; export it again"
        )
    return lists.astype(np.int64), counts.astype(np.int64)


def binary_ply(points: NDArray[np.float64], faces: NDArray[np.int64]) -> bytes:
    """Return a binary PLY file of 64-bit coordinates.

    Parameters
    ----------
    points : (n, 3) float
    faces : (m, 3) int

    Examples
    --------
    >>> data = binary_ply(np.eye(3), np.array([(0, 1, 2)]))
    >>> data.splitlines()[2]
    b'element vertex 3'
    """
    header = (
        "ply\nformat binary_little_endian 1.0\n"
        f"element vertex {len(points)}\n"
        "property double x\nproperty double y\nproperty double z\n"
        f"element face {len(faces)}\n"
        "property list uchar int vertex_indices\nend_header\n"
    )
    records = np.zeros(len(faces), np.dtype([("count", "u1"), ("corners", "<i4", 3)]))
    records["count"] = 3
    records["corners"] = faces
    return header.encode() + points.astype("<f8").tobytes() + records.tobytes()
