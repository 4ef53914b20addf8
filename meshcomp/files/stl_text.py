"""Reading STL written as text.

A facet is always the same 21 words, nine of them coordinates, so the words are checked
column by column and the numbers are read in one go. Only a file that fails is looked at
word by word, to say where.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import PartFileError
from meshcomp.files.checks import first_bad_corner, refuse_bad_corners
from meshcomp.files.contents import Contents, Shape
from meshcomp.files.numbers import NUMBER, numbers_in

__all__ = ["read_text_stl"]

_VERTEX = [b"vertex", None, None, None]
_FACET = [
    *(b"facet", b"normal", None, None, None, b"outer", b"loop"),
    *(_VERTEX * 3),
    *(b"endloop", b"endfacet"),
]
_WORDS = frozenset(word for word in _FACET if word)
_FIRST_COORDINATES = (8, 12, 16)  # columns of the three x
_NORMAL = (2, 3, 4)  # columns that are never used, so anything may stand there
_MARK = re.compile(rb"[ \t]*(end)?solid(?!\S)([^\n]*)", re.IGNORECASE)
_NUMBER = re.compile(NUMBER)
_PADDING = b" " * 16  # longer than any word, so that looking past the end is safe


@dataclass(frozen=True, slots=True, eq=False)
class _Text:
    """A file's text, its words and its solids."""

    name: str
    text: bytes  # lines end with \n
    lower: bytes
    starts: NDArray[np.int64]  # where each word begins, without those of `marks`
    marks: tuple[re.Match[bytes], ...]  # the lines 'solid' and 'endsolid'

    def line(self, position: int) -> int:
        """Return the number of the line at a position, from 1."""
        return self.text.count(b"\n", 0, position) + 1

    def word(self, position: int) -> bytes:
        """Return the word that begins at a position."""
        return self.text[position : position + 200].split(maxsplit=1)[0]

    @property
    def last_line(self) -> int:
        """Number of the last line that is not blank."""
        return self.line(len(self.text.rstrip()))


def read_text_stl(data: bytes, name: str, stem: str) -> Contents:
    """Read the solids of a text STL file, each as one shape.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        The file's name, for messages.
    stem : str
        Name of a solid that has none.

    Raises
    ------
    PartFileError
        Naming the line at which the file is cut off or is no STL.
    """
    text = _split(data, name)
    count, rest = divmod(len(text.starts), len(_FACET))
    words = text.starts[: count * len(_FACET)].reshape(-1, len(_FACET))
    _refuse_wrong_words(text, words)
    if rest:
        raise PartFileError(
            f"{name} ends in the middle of triangle {count + 1} (line {text.last_line}): "
            "it was cut off; export or copy it again"
        )
    _refuse_wrong_marks(text)
    if count == 0:
        raise PartFileError(f"{name} holds 0 triangles: export the part again")
    return Contents(shapes=_shapes(text, words, stem))


def _split(data: bytes, name: str) -> _Text:
    text = data.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n")
    text = text.replace(b"\r", b"\n") + _PADDING
    lower = text.lower()
    marks = tuple(_marks(text, lower))
    letters = np.frombuffer(bytearray(text), np.uint8)
    for mark in marks:
        letters[mark.start() : mark.end()] = ord(" ")
    is_letter = letters > ord(" ")
    is_letter[1:] &= ~is_letter[:-1]  # first letters only
    return _Text(name, text, lower, np.flatnonzero(is_letter), marks)


def _marks(text: bytes, lower: bytes) -> Iterator[re.Match[bytes]]:
    """Find the lines 'solid' and 'endsolid'; a pattern alone takes seconds for that."""
    place = lower.find(b"solid")
    while place >= 0:
        begin = lower.rfind(b"\n", 0, place) + 1
        end = lower.find(b"\n", place)
        mark = _MARK.match(text, begin)
        if mark:
            yield mark
        # A name may hold the word again, so the rest of the line is passed over.
        place = lower.find(b"solid", end) if end >= 0 else -1


def _refuse_wrong_words(text: _Text, words: NDArray[np.int64]) -> None:
    """Refuse the first triangle of which a word is not the one that stands there."""
    letters = np.frombuffer(text.lower, np.uint8)
    is_right = np.ones(len(words), dtype=bool)
    for column, word in enumerate(_FACET):
        for k, letter in enumerate(word or b""):
            is_right &= letters[words[:, column] + k] == letter
        if word:
            is_right &= letters[words[:, column] + len(word)] <= ord(" ")
    if not is_right.all():
        triangle = int(np.argmin(is_right))
        _refuse_triangle(text, triangle, words[triangle])


def _refuse_triangle(text: _Text, triangle: int, starts: NDArray[np.int64]) -> None:
    """Name the first word of a triangle that is wrong, if there is one."""
    for column, start in enumerate(starts.tolist()):
        found = text.word(start)
        if _is_right(column, found.lower()):
            continue
        wanted = _FACET[column]
        said = f"'{wanted.decode()}'" if wanted else "a number"
        shown = found[:30].decode("ascii", "replace")
        raise PartFileError(
            f"{text.name}, line {text.line(start)}: triangle {triangle + 1} has {shown!r} "
            f"where {said} must stand: export the part again, best as binary STL"
        )


def _is_right(column: int, word: bytes) -> bool:
    wanted = _FACET[column]
    if wanted:
        return word == wanted
    if column in _NORMAL:
        return word not in _WORDS
    return _NUMBER.fullmatch(word) is not None


def _refuse_wrong_marks(text: _Text) -> None:
    """Refuse solids that do not begin and end in turn."""
    is_open = False
    for mark in text.marks:
        is_end = mark[1] is not None
        if is_end != is_open:
            said = "'endsolid' without a 'solid'" if is_end else "'solid' in a solid"
            raise PartFileError(
                f"{text.name}, line {text.line(mark.start())}: {said} before it; a piece "
                "is missing: export or copy it again"
            )
        is_open = not is_end
    if is_open:
        raise PartFileError(
            f"{text.name} ends at line {text.last_line} without 'endsolid': it was cut "
            "off; export or copy it again"
        )


def _shapes(text: _Text, words: NDArray[np.int64], stem: str) -> tuple[Shape, ...]:
    points = _coordinates(text, words)
    _refuse_bad_numbers(text, words, points)
    opened = [mark for mark in text.marks if not mark[1]]
    solid_of_facet = _solid_of_facet(text, words)
    shapes = []
    for number, mark in enumerate(opened):
        first, last = np.searchsorted(solid_of_facet, [number, number + 1])
        if last > first:
            title = b" ".join(mark[2].split()).decode("utf-8", "replace")
            faces = np.arange(3 * (last - first)).reshape(-1, 3)
            corners = points[3 * first : 3 * last]
            shapes.append(Shape(name=title or stem, points=corners, faces=faces))
    return tuple(shapes)


def _solid_of_facet(text: _Text, words: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the solid of each triangle, and refuse triangles not wholly in one."""
    places = np.array([mark.start() for mark in text.marks])
    # Marks alternate, so positions after an odd count of them lie in a solid.
    first = np.searchsorted(places, words[:, 0])
    last = np.searchsorted(places, words[:, -1])
    outside = np.flatnonzero((first != last) | (first % 2 == 0))
    if len(outside):
        triangle = int(outside[0])
        line = text.line(int(words[triangle, 0]))
        raise PartFileError(
            f"{text.name}, line {line}: triangle {triangle + 1} is not between 'solid' and "
            "'endsolid': export or copy it again"
        )
    return np.asarray(first // 2, np.int64)


def _coordinates(text: _Text, words: NDArray[np.int64]) -> NDArray[np.float64]:
    """Coordinates of all corners, (3 m, 3)."""
    # Everything but the coordinates, and the blanks after them, is left out.
    edges = np.zeros(len(text.text), np.int8)
    for column in _FIRST_COORDINATES:
        edges[words[:, column]] += 1
        edges[words[:, column + 3]] -= 1
    is_kept = np.cumsum(edges, out=edges).view(bool)
    numbers = numbers_in(np.frombuffer(text.text, np.uint8)[is_kept].tobytes())
    # A word such as 1.2.3 reads as two numbers, so the count tells.
    if numbers is None or len(numbers) != 9 * len(words):
        for triangle, starts in enumerate(words):
            _refuse_triangle(text, triangle, starts)
        raise PartFileError(f"{text.name} has coordinates that cannot be read as numbers")
    return numbers.reshape(-1, 3)


def _refuse_bad_numbers(
    text: _Text, words: NDArray[np.int64], points: NDArray[np.float64]
) -> None:
    faces = np.arange(len(points)).reshape(-1, 3)
    found = first_bad_corner(points, faces)
    if found is not None:
        triangle, corner = found
        line = text.line(int(words[triangle, _FIRST_COORDINATES[corner]]))
        refuse_bad_corners(text.name, points, faces, f" (line {line})")
