"""TOML files that are checked when they are read, with the line of every problem."""

from __future__ import annotations

import os
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from meshcomp.errors import OptionError

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError
    from pydantic_core import ErrorDetails

__all__ = ["TomlFile", "read_toml"]

_Model = TypeVar("_Model", bound="BaseModel")
Place = tuple[str | int, ...]
_MEMBER = re.compile(r"[\[(]|^function-|^(str|int|float|bool|dict|list|tuple)$")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TomlFile:
    """The data of a TOML file, and where in it each value stands."""

    path: Path
    text: str
    data: dict[str, Any]

    def line_of(self, place: Place) -> int:
        r"""Return the line, from 1, on which a value or the table that lacks it begins.

        Parameters
        ----------
        place : tuple of str and int
            Keys, and positions in arrays, from the outside in.

        Examples
        --------
        >>> text = 'name = "kit"\n[[part]]\nfile = "a.stl"\n[[part]]\nfile = 3\n'
        >>> file = TomlFile(path=Path("kit.toml"), text=text, data=tomllib.loads(text))
        >>> file.line_of(("part", 1, "file")), file.line_of(("part", 0, "plan"))
        (5, 2)
        """
        lines = _lines(self.text)
        for length in range(len(place), 0, -1):
            if place[:length] in lines:
                return lines[place[:length]]
        return 1

    def problem(self, place: Place, words: str) -> OptionError:
        """Return the error that says what is wrong at a place, with file and line."""
        return OptionError(f"{self.path}, line {self.line_of(place)}: {words}")

    def validated(self, model: type[_Model]) -> _Model:
        """Return the data as a pydantic model.

        Raises
        ------
        OptionError
            If the data are no such model: the first problem with its file and line.
        """
        from pydantic import ValidationError

        try:
            return model.model_validate(self.data)
        except ValidationError as error:
            raise self._refused(error) from error

    def _refused(self, error: ValidationError) -> OptionError:
        problems = sorted(error.errors(), key=lambda e: self.line_of(_known(e["loc"])))
        first = problems[0]
        more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
        return self.problem(_known(first["loc"]), f"{_words(first)}{more}")


def read_toml(path: str | os.PathLike[str]) -> TomlFile:
    """Read a TOML file.

    Raises
    ------
    OptionError
        If it cannot be read, or is no TOML: with the line.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     kit = Path(folder, "kit.toml")
    ...     _ = kit.write_text("quantity = 2")
    ...     read_toml(kit).data
    {'quantity': 2}
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8-sig")
        data = tomllib.loads(text)
    except OSError as error:
        raise OptionError(f"{file}: cannot be read ({error.strerror})") from error
    except UnicodeDecodeError as error:
        raise OptionError(f"{file}: is not UTF-8 text, as TOML is") from error
    except tomllib.TOMLDecodeError as error:
        raise OptionError(f"{file}, {_syntax(error)}") from error
    return TomlFile(path=file, text=text, data=data)


def _syntax(error: tomllib.TOMLDecodeError) -> str:
    """Put the place, which stands at the end of the message, first."""
    words, _, place = str(error).rpartition(" (at ")
    found = re.match(r"line (\d+)", place)
    line = f"line {found[1]}" if found else place.rstrip(")")
    return f"{line}: no TOML: {words[:1].lower()}{words[1:]}"


def _lines(text: str) -> dict[Place, int]:
    """Return the first line of each table and each value, by place."""
    found: dict[Place, int] = {}
    table: Place = ()
    counts: dict[Place, int] = {}
    for line, statement in _statements(text):
        keys, is_array = _keys(tomllib.loads(statement))
        if not statement.lstrip().startswith("["):
            for length in range(1, len(keys) + 1):
                found.setdefault(table + keys[:length], line)
            continue
        table = _current(keys, counts, is_array=is_array)
        found.setdefault(table, line)
        found.setdefault(table[:-1] if is_array else table, line)
    return found


def _statements(text: str) -> list[tuple[int, str]]:
    """Part a text into headers and settings, with the line each begins on.

    A statement goes on until it is TOML by itself: strings and arrays span lines.
    """
    found, begun, first = [], "", 0
    for number, line in enumerate(text.splitlines(), start=1):
        if not begun and not line.partition("#")[0].strip():
            continue
        first = first if begun else number
        begun += f"{line}\n"
        try:
            tomllib.loads(begun)
        except tomllib.TOMLDecodeError:
            continue
        found.append((first, begun))
        begun = ""
    return found


def _keys(data: dict[str, Any]) -> tuple[tuple[str, ...], bool]:
    """Return the keys of one statement, and whether it heads an array's next table."""
    keys: list[str] = []
    value: Any = data
    while isinstance(value, dict) and len(value) == 1:
        (key, value), *_ = value.items()
        keys.append(key)
    return tuple(keys), value == [{}]


def _current(keys: tuple[str, ...], counts: dict[Place, int], *, is_array: bool) -> Place:
    """Return the place of the table that a header opens, in the arrays it lies in."""
    place: Place = ()
    for number, key in enumerate(keys, start=1):
        place += (key,)
        if is_array and number == len(keys):
            counts[place] = counts.get(place, -1) + 1
        if place in counts:
            place += (counts[place],)
    return place


def _known(place: Place) -> Place:
    """Leave out what pydantic adds for the members of unions and for keys of tables."""
    return tuple(p for p in place if isinstance(p, int) or not _MEMBER.search(p))


def _words(problem: ErrorDetails) -> str:
    """Say what is wrong in a few words."""
    keys = [p for p in _known(problem["loc"]) if isinstance(p, str)]
    name = ".".join(keys) or "the file"
    if problem["type"] == "missing":
        return f"{name} is missing"
    if problem["type"] == "extra_forbidden":
        return f"{name} is no key that is known here"
    message = problem["msg"].removeprefix("Value error, ")
    message = f"{message[:1].lower()}{message[1:]}"
    if isinstance(problem["input"], dict):
        return f"{name}: {message}"  # a whole table says less than its line
    return f"{name}: {message}, found {problem['input']!r:.60}"
