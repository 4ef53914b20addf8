"""The data of a text PLY file: numbers, one row of an element on each line."""

from __future__ import annotations

import re
from itertools import chain, repeat

import numpy as np

from meshcomp.errors import PartFileError
from meshcomp.files.numbers import NUMBER, numbers_in
from meshcomp.files.ply_elements import Element

__all__ = ["numbers_of_text", "refuse_wrong_line"]

_NUMBER = re.compile(NUMBER)
_LENGTH = re.compile(rb"\d{1,9}")  # of a list


def numbers_of_text(body: bytes) -> bytes:
    """Turn the numbers of a text into 64-bit ones, to be read like a binary file.

    What is no number becomes NaN, which fits nowhere.
    """
    numbers = numbers_in(body)
    return (np.full(1, np.nan) if numbers is None else numbers).tobytes()


def refuse_wrong_line(
    body: bytes, elements: tuple[Element, ...], *, first_line: int, name: str
) -> None:
    """Refuse the first line that is no row of its element, if there is one.

    For files that have already failed: lines mean nothing to the format, but nearly all
    files have one row on each.

    Parameters
    ----------
    body : bytes
        The text after the header.
    elements : tuple of Element
        As the header says.
    first_line : int
        Number in the file of the first line of `body`.
    name : str
        The file's name, for messages.

    Raises
    ------
    PartFileError
        Naming the line.
    """
    rows = chain.from_iterable(repeat(e, e.count) for e in elements if e.properties)
    number = first_line - 1
    for number, line in enumerate(re.split(rb"\r\n|\n|\r", body), start=first_line):
        words = line.lower().split()
        if not words:
            continue
        element = next(rows, None)
        if element is None or not _is_row(words, element):
            role = f"no row of '{element.name}'" if element else "after the last row"
            shown = line[:60].decode("ascii", "replace")
            raise PartFileError(
                f"{name}, line {number}: {shown!r} is {role} as its header says: the file "
                "was changed; export it again"
            )
    missing = next(rows, None)
    if missing:
        raise PartFileError(
            f"{name} ends at line {number}, before the last row of '{missing.name}': it "
            "was cut off; export or copy it again"
        )


def _is_row(words: list[bytes], element: Element) -> bool:
    """Whether words are as many numbers as the properties take."""
    if not all(_NUMBER.fullmatch(word) for word in words):
        return False
    place = 0
    for row in element.properties:
        if row.count:
            if place >= len(words) or not _LENGTH.fullmatch(words[place]):
                return False
            place += int(words[place])
        place += 1
    return place == len(words)
