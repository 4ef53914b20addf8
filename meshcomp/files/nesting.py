"""How deep the objects of a 3MF file are nested in one another.

lib3mf walks through every placement while it opens a file, so a few lines that double an
object forty times would keep it busy for days: they have to be found before.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meshcomp.errors import PartFileError

if TYPE_CHECKING:
    from xml.parsers.expat import XMLParserType

__all__ = ["MOST_PLACEMENTS", "Nesting"]

MOST_PLACEMENTS = 100_000
_DEEPEST = 200  # components in components; lib3mf's time grows with the square

Key = tuple[str, str]  # entry of the archive, number of the object in it


class Nesting:
    """Collects which object is made of which, over all models of a file."""

    def __init__(self) -> None:
        self._children: dict[Key, list[Key]] = {}
        self._measures: dict[Key, tuple[int, int]] = {}
        self._entry = ""
        self._parent: Key = ("", "")

    def watch(self, parser: XMLParserType, entry: str) -> None:
        """Note the components of a model while a parser goes through it."""
        self._entry = entry
        parser.StartElementHandler = self._begin

    def _begin(self, tag: str, attributes: dict[str, str]) -> None:
        kind = tag.rpartition(":")[2]
        if kind == "object":
            self._parent = (self._entry, attributes.get("id", ""))
        elif kind == "component":
            # The production extension names the model in which the object is.
            paths = [v for k, v in attributes.items() if k.rpartition(":")[2] == "path"]
            entry = paths[0].lstrip("/") if paths else self._entry
            child = (entry, attributes.get("objectid", ""))
            self._children.setdefault(self._parent, []).append(child)

    def refuse_excess(self, name: str) -> None:
        """Refuse what would take too long to open.

        Parameters
        ----------
        name : str
            The file's name, for messages.

        Raises
        ------
        PartFileError
            If an object is made of too many, or nested too deep.
        """
        for key in self._children:
            size, depth = self._measure(key, 0, name)
            if size > MOST_PLACEMENTS:
                raise PartFileError(
                    f"{name} places its objects more than {MOST_PLACEMENTS:,} times by "
                    "nested components: save the part as one object"
                )
            _refuse_depth(depth, name)

    def _measure(self, key: Key, above: int, name: str) -> tuple[int, int]:
        """Count the objects in an object, itself included, and the levels below it."""
        _refuse_depth(above, name)  # ends where components contain each other
        if key not in self._measures:
            below = [
                self._measure(child, above + 1, name)
                for child in self._children.get(key, [])
            ]
            size = 1 + sum(size for size, _ in below)
            depth = 1 + max((depth for _, depth in below), default=0)
            self._measures[key] = (size, depth)
        return self._measures[key]


def _refuse_depth(depth: int, name: str) -> None:
    if depth > _DEEPEST:
        raise PartFileError(
            f"{name} nests components more than {_DEEPEST} deep: save the part as one "
            "object"
        )
