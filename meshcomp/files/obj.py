"""Reading and writing OBJ: the triangles, not the looks."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import PartFileError
from meshcomp.files.checks import refuse_bad_corners
from meshcomp.files.contents import Contents, Shape
from meshcomp.files.numbers import NUMBER, numbers_in
from meshcomp.files.polygons import fans, folded_polygons, folding_notes

__all__ = ["obj_text", "read_obj"]

_FLAGS = re.IGNORECASE | re.MULTILINE
_REST = rb"[ \t]*(?:#[^\n]*)?$"
_THREE = rb"[ \t]++".join([NUMBER] * 3)
_CORNER = rb"-?\d++(?:/-?\d*+){0,2}+"
# A vertex may have a weight or a colour after its coordinates.
_VERTEX = re.compile(
    rb"^[ \t]*v[ \t]+(" + _THREE + rb")(?:[ \t]++" + NUMBER + rb")*+" + _REST, _FLAGS
)
_FACE = re.compile(rb"^[ \t]*f((?:[ \t]++" + _CORNER + rb"){3,}+)" + _REST, _FLAGS)
_STATEMENT = re.compile(rb"^[ \t]*[vf](?![^ \t\n])", _FLAGS)
_MOST = 2**53  # whole numbers beyond it are not exact
_TITLE = rb"^[ \t]*%s(?:[ \t]+([^\n]*))?$"


@dataclass(frozen=True, slots=True, eq=False)
class _Text:
    name: str
    text: bytes  # lines end with \n
    points: NDArray[np.float64]

    def line(self, position: int) -> int:
        return self.text.count(b"\n", 0, position) + 1


@dataclass(frozen=True, slots=True, eq=False)
class _Section:
    """The faces of one object or group."""

    title: str
    start: int
    end: int
    rows: list[bytes]  # the corners of each face, as they stand in the file


def read_obj(data: bytes, name: str, stem: str) -> Contents:
    """Read the faces of an OBJ file; each object, or else each group, is one shape.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        The file's name, for messages.
    stem : str
        Name of an object that has none.

    Raises
    ------
    PartFileError
        Naming the line that cannot be read.
    """
    text = data.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n")
    # A backslash continues a line on the next one.
    text = text.replace(b"\r", b"\n").replace(b"\\\n", b"  ")
    rows = _VERTEX.findall(text)
    sections = list(_sections(text))
    faces = sum(len(section.rows) for section in sections)
    if len(rows) + faces != len(_STATEMENT.findall(text)):
        _refuse_first_bad_line(text, name)
    if not faces:
        raise PartFileError(
            f"{name} holds 0 triangles (no line that begins with 'f'): export it again"
        )
    numbers = numbers_in(b"\n".join(rows))
    if numbers is None:
        raise PartFileError(f"{name} has vertices that cannot be read: export it again")
    return _contents(_Text(name, text, numbers.reshape(-1, 3)), sections, stem)


def _refuse_first_bad_line(text: bytes, name: str) -> None:
    for statement in _STATEMENT.finditer(text):
        start = statement.start()
        if _VERTEX.match(text, start) or _FACE.match(text, start):
            continue
        line = text[start : start + 200].split(b"\n")[0].strip()
        number = text.count(b"\n", 0, start) + 1
        wanted = "three numbers" if line[:1] in b"vV" else "at least three corners"
        raise PartFileError(
            f"{name}, line {number}: {line[:40].decode('ascii', 'replace')!r} does not "
            f"have {wanted}: it was cut off or changed; export it again"
        )


def _contents(text: _Text, sections: list[_Section], stem: str) -> Contents:
    filled = [section for section in sections if section.rows]
    cut = [fans(*_polygons(text, section)) for section in filled]
    refuse_bad_corners(text.name, text.points, np.concatenate([faces for faces, _ in cut]))
    folded = sum(folded_polygons(text.points, *faces) for faces in cut)
    shapes = [
        Shape(name=section.title or stem, points=text.points, faces=faces)
        for section, (faces, _) in zip(filled, cut, strict=True)
    ]
    if len(shapes) > 1:
        shapes = [_on_own_points(shape) for shape in shapes]
    return Contents(shapes=tuple(shapes), notes=folding_notes(folded))


def _on_own_points(shape: Shape) -> Shape:
    used, flat = np.unique(shape.faces, return_inverse=True)
    return replace(shape, points=shape.points[used], faces=flat.reshape(-1, 3))


def _sections(text: bytes) -> Iterator[_Section]:
    """Cut the text into its objects, or into its groups if there is no object."""
    titles = list(re.finditer(_TITLE % b"o", text, _FLAGS))
    titles = titles or list(re.finditer(_TITLE % b"g", text, _FLAGS))
    starts = [0, *(title.start() for title in titles), len(text)]
    words = [b"", *(b" ".join((title[1] or b"").split()) for title in titles)]
    for word, start, end in zip(words, starts[:-1], starts[1:], strict=True):
        title = word.decode("utf-8", "replace")
        yield _Section(title, start, end, _FACE.findall(text, start, end))


def _polygons(
    text: _Text, section: _Section
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Vertex indices and corner counts of the faces in a section."""
    joined = b"\n".join(section.rows)
    if b"/" in joined:  # only the vertex of vertex/texture/normal counts
        joined = re.sub(rb"/[^ \t\n]*", b"", joined)
    numbers = numbers_in(joined)
    if numbers is None:
        raise PartFileError(f"{text.name} has faces that cannot be read: export it again")
    counts = _words_per_line(joined, len(section.rows))
    corners = np.clip(numbers, -_MOST, _MOST).astype(np.int64)
    if (corners < 0).any():
        before = np.repeat(_vertices_before(text, section), counts)
        corners = np.where(corners < 0, corners + before + 1, corners)
    corners -= 1
    _refuse_missing_vertices(text, section, corners, counts)
    return corners, counts


def _words_per_line(joined: bytes, lines: int) -> NDArray[np.int64]:
    letters = np.frombuffer(b"\n" + joined, np.uint8)
    is_letter = letters > ord(" ")
    starts = np.flatnonzero(is_letter[1:] & ~is_letter[:-1]) + 1
    ends = np.flatnonzero(letters == ord("\n"))
    return np.bincount(np.searchsorted(ends, starts) - 1, minlength=lines)[:lines]


def _vertices_before(text: _Text, section: _Section) -> NDArray[np.int64]:
    """Count the vertices above each face, from which negative indices count back."""
    vertices = [row.start() for row in _VERTEX.finditer(text.text)]
    rows = _FACE.finditer(text.text, section.start, section.end)
    faces = [row.start() for row in rows]
    return np.searchsorted(np.array(vertices), np.array(faces))


def _refuse_missing_vertices(
    text: _Text,
    section: _Section,
    corners: NDArray[np.int64],
    counts: NDArray[np.int64],
) -> None:
    bad = np.flatnonzero((corners < 0) | (corners >= len(text.points)))
    if not len(bad):
        return
    face = int(np.searchsorted(np.cumsum(counts), bad[0], side="right"))
    rows = list(_FACE.finditer(text.text, section.start, section.end))
    raise PartFileError(
        f"{text.name}, line {text.line(rows[face].start())}: a face names a vertex that is "
        f"not there; the file has vertices 1 to {len(text.points)}: it was cut off or "
        "changed; export it again"
    )


def obj_text(shapes: list[tuple[str, NDArray[np.float64], NDArray[np.int64]]]) -> bytes:
    """Return an OBJ file, in which no digit of a coordinate is lost.

    Parameters
    ----------
    shapes : list of (name, (n, 3) float, (m, 3) int)
        Name, points and faces of each object.

    Examples
    --------
    >>> points = np.array([(0, 0, 0), (0.1, 0, 0), (0, 1, 0)])
    >>> print(obj_text([("leaf", points, np.array([(0, 1, 2)]))]).decode(), end="")
    o leaf
    v 0.0 0.0 0.0
    v 0.1 0.0 0.0
    v 0.0 1.0 0.0
    f 1 2 3
    """
    lines = []
    start = 1
    for name, points, faces in shapes:
        lines.append(f"o {' '.join(name.split())}\n")
        # %r writes the shortest number that reads back alike.
        lines.append(("v %r %r %r\n" * len(points)) % tuple(points.reshape(-1).tolist()))
        corners = (faces + start).reshape(-1).tolist()
        lines.append(("f %d %d %d\n" * len(faces)) % tuple(corners))
        start += len(points)
    return "".join(lines).encode()
