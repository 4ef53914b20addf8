"""Reading and writing STL, binary and as text.

Which of the two a file is, its length says: half of all binary files begin with the
word `solid` too.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meshcomp._numbers import pieces
from meshcomp.errors import PartFileError
from meshcomp.files.checks import first_bad_corner, refuse_bad_corners
from meshcomp.files.contents import Contents, Shape
from meshcomp.files.stl_text import read_text_stl

__all__ = ["binary_stl", "read_stl", "text_stl"]

_HEADER = 84  # bytes: 80 of free text, 4 of the count
_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")])
_BATCH = 50_000  # triangles formatted at once


def read_stl(data: bytes, name: str, stem: str) -> Contents:
    """Read the triangles of an STL file.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        The file's name, for messages.
    stem : str
        Name of the shape where the file gives none.

    Raises
    ------
    PartFileError
        If the file is cut off, holds no triangle, or numbers that are none.
    """
    if len(data) >= _HEADER and len(data) == _HEADER + 50 * _count(data):
        return _read_binary(data, name, stem)
    # Text holds no zero byte, and a binary count below 16 million holds at least one.
    if (
        b"\0" not in data[:_HEADER]
        and data[:512].lstrip(b"\xef\xbb\xbf \t\r\n")[:5].lower() == b"solid"
    ):
        return read_text_stl(data, name, stem)
    raise PartFileError(_wrong_length(data, name))


def _count(data: bytes) -> int:
    return int.from_bytes(data[80:84], "little")


def _wrong_length(data: bytes, name: str) -> str:
    if len(data) < _HEADER:
        return (
            f"{name} is no STL file: it does not begin with 'solid', and its "
            f"{len(data)} bytes are fewer than the {_HEADER} before the first triangle of "
            "a binary one; export it again"
        )
    count = _count(data)
    whole, rest = divmod(len(data) - _HEADER, 50)
    return (
        f"{name}: byte 80 says {count} triangles, which take {_HEADER + 50 * count} bytes, "
        f"but the file has {len(data)} bytes: {whole} triangles and {rest} bytes over; it "
        "was cut off or changed on the way: export or copy it again"
    )


def _read_binary(data: bytes, name: str, stem: str) -> Contents:
    count = _count(data)
    if count == 0:
        raise PartFileError(f"{name} holds 0 triangles: export the part again")
    rows = np.frombuffer(data, np.uint8, offset=_HEADER).reshape(-1, 50)
    points = np.zeros((3 * count, 3))
    with np.errstate(invalid="ignore"):  # of a signalling NaN, which is refused below
        for some in pieces(count):
            # Packing the corners first is quicker than widening them where they stand.
            packed = np.ascontiguousarray(rows[some, 12:48]).view("<f4")
            points[3 * some.start : 3 * some.stop] = packed.reshape(-1, 3)
    faces = np.arange(3 * count).reshape(-1, 3)
    found = first_bad_corner(points, faces)
    if found is not None:
        triangle, corner = found
        byte = _HEADER + 50 * triangle + 12 + 12 * corner
        refuse_bad_corners(name, points, faces, f" (byte {byte})")
    notes: tuple[str, ...] = ()
    if rows[:, 48:].any():
        notes = ("colours in the spare bytes of the triangles are not kept",)
    shape = Shape(name=stem, points=points, faces=faces)
    return Contents(shapes=(shape,), notes=notes)


def binary_stl(corners: NDArray[np.float64]) -> bytes:
    """Return a binary STL file.

    Parameters
    ----------
    corners : (m, 3, 3) float
        Corner points of every triangle; written as 32-bit numbers.

    Examples
    --------
    >>> len(binary_stl(np.zeros((2, 3, 3))))
    184
    """
    records = np.zeros(len(corners), _RECORD)
    for rows in pieces(len(corners)):
        records["corners"][rows] = corners[rows]
        records["normal"][rows] = _normals(corners[rows])
    # A header that begins with 'solid' would be taken for text.
    header = b"binary STL".ljust(80)
    return header + len(corners).to_bytes(4, "little") + records.tobytes()


def text_stl(solids: list[tuple[str, NDArray[np.float64]]]) -> bytes:
    """Return a text STL file, in which no digit of a coordinate is lost.

    Parameters
    ----------
    solids : list of (name, (m, 3, 3) float)
        Name and corner points of each solid.

    Examples
    --------
    >>> print(text_stl([("none", np.zeros((0, 3, 3)))]).decode(), end="")
    solid none
    endsolid none
    """
    lines = []
    for name, corners in solids:
        plain = " ".join(name.split())
        lines.append(f"solid {plain}\n")
        batches = range(0, len(corners), _BATCH)
        lines += [_facets(corners[start : start + _BATCH]) for start in batches]
        lines.append(f"endsolid {plain}\n")
    return "".join(lines).encode()


_FACET = """  facet normal %r %r %r
    outer loop
      vertex %r %r %r
      vertex %r %r %r
      vertex %r %r %r
    endloop
  endfacet
"""


def _facets(corners: NDArray[np.float64]) -> str:
    rows = np.concatenate([_normals(corners)[:, None], corners], axis=1)
    # One formatting step for all; %r writes the shortest number that reads back alike.
    return (_FACET * len(corners)) % tuple(rows.reshape(-1).tolist())


def _normals(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return unit normals, (m, 3); zero for triangles without area."""
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    return np.asarray(normals / np.where(lengths > 0, lengths, 1.0)) + 0.0
