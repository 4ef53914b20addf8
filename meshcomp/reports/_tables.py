"""Tables and paragraphs of plain text that never pass the width of a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from meshcomp.reports._rows import ids_in_words

__all__ = [
    "MOST_ROWS",
    "WIDTH",
    "Column",
    "collapsed",
    "columns_of",
    "fits",
    "paragraph",
    "table",
    "titled",
    "without_kind",
]

WIDTH = 80
MOST_ROWS = 24  # longer tables have equal rows put together


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its header, which may have two lines, and its cells.

    Numbers go to the right, words to the left.
    """

    header: str
    cells: tuple[str, ...]
    is_number: bool = True

    @property
    def width(self) -> int:
        """Characters that the column takes."""
        lines = (*self.header.split("\n"), *self.cells)
        return max(len(line) for line in lines)

    def line(self, text: str) -> str:
        """Put one of the column's texts to its side."""
        return text.rjust(self.width) if self.is_number else text.ljust(self.width)


def paragraph(text: str, indent: str = "", hanging: str | None = None) -> list[str]:
    """Break a text into lines that fit.

    Examples
    --------
    >>> paragraph("b01: " + "left alone " * 8, hanging="     ")[1]
    '     alone left alone'
    """
    follow = indent if hanging is None else hanging
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=follow,
        break_on_hyphens=False,
    )


def titled(title: str, sentences: Sequence[str]) -> list[str]:
    """Return a list of sentences under a title, or nothing when there are none."""
    lines = [f"{title}:"] if sentences else []
    for sentence in sentences:
        lines += paragraph(sentence, "  ", "    ")
    return lines


def columns_of(
    headers: Sequence[tuple[str, bool]], rows: Sequence[tuple[str, ...]]
) -> list[Column]:
    """Return columns of rows of cells; a header says whether it heads numbers."""
    cells = zip(*rows, strict=True)
    return [
        Column(header, column, is_number)
        for (header, is_number), column in zip(headers, cells, strict=True)
    ]


def table(columns: Sequence[Column]) -> list[str]:
    """Lay columns out side by side; those that do not fit follow below.

    The first column, which names the rows, is repeated for each block.

    Examples
    --------
    >>> ids = Column("id", ("b01",), is_number=False)
    >>> for line in table([ids, Column("size", ("3.200",))]):
    ...     print(line)
    id    size
    b01  3.200
    """
    gap = 2 if _width(columns, 2) <= WIDTH else 1
    lines: list[str] = []
    for block in _blocks(columns, gap):
        lines += [""] if lines else []
        lines += _block_lines(block, " " * gap)
    return lines


def fits(columns: Sequence[Column]) -> bool:
    """Whether columns fit side by side.

    Examples
    --------
    >>> fits([Column("id", ("b01",)), Column("note", ("x" * 77,))])
    False
    """
    return _width(columns, 1) <= WIDTH


def without_kind(columns: Sequence[Column]) -> Sequence[Column]:
    """Leave out the second column, the kind, if each id says it.

    Examples
    --------
    >>> ids, kinds = Column("id", ("bore-01",)), Column("kind", ("bore",))
    >>> [column.header for column in without_kind([ids, kinds])]
    ['id']
    """
    ids, kinds, *others = columns
    pairs = zip(ids.cells, kinds.cells, strict=True)
    return [ids, *others] if all(n.startswith(k) for n, k in pairs) else columns


def collapsed(columns: Sequence[Column]) -> list[str]:
    """Lay columns out with equal rows together: how many, and below it their ids.

    Examples
    --------
    >>> ids, sizes = Column("id", ("b01", "b02", "b03")), Column("size", ("3", "3", "4"))
    >>> for line in collapsed([ids, sizes]):
    ...     print(line)
    n  size
    2     3
         b01, b02
    1     4
         b03
    """
    names, *others = columns
    groups: dict[tuple[str, ...], list[str]] = {}
    for name, *cells in zip(names.cells, *(c.cells for c in others), strict=True):
        groups.setdefault(tuple(cells), []).append(name)
    counts = Column("n", tuple(str(len(ids)) for ids in groups.values()))
    kept = [
        Column(column.header, tuple(cells[k] for cells in groups), column.is_number)
        for k, column in enumerate(others)
    ]
    lines = table([counts, *kept])
    head, rows = lines[: -len(groups)], lines[-len(groups) :]
    for row, ids in zip(rows, groups.values(), strict=True):
        head += [row, *paragraph(ids_in_words(ids), " " * 5)]
    return head


def _width(columns: Sequence[Column], gap: int) -> int:
    return sum(column.width for column in columns) + gap * (len(columns) - 1)


def _blocks(columns: Sequence[Column], gap: int) -> list[list[Column]]:
    """Part columns into blocks that fit, each with the first column."""
    first, *others = columns
    blocks = [[first]]
    for column in others:
        if _width([*blocks[-1], column], gap) > WIDTH and len(blocks[-1]) > 1:
            blocks.append([first])
        blocks[-1].append(column)
    return blocks


def _block_lines(columns: Sequence[Column], gap: str) -> list[str]:
    heads = [column.header.split("\n") for column in columns]
    height = max(len(head) for head in heads)
    rows = [
        # Headers stand on the first row of cells, so short ones are filled from above.
        [head[k - height + len(head)] if k >= height - len(head) else "" for head in heads]
        for k in range(height)
    ]
    rows += [
        list(cells) for cells in zip(*(column.cells for column in columns), strict=True)
    ]
    return [
        gap.join(
            column.line(text) for column, text in zip(columns, row, strict=True)
        ).rstrip()
        for row in rows
    ]
