"""Fundamental deviations: where a tolerance class lies, by its letter."""

from __future__ import annotations

from meshcomp.errors import OptionError
from meshcomp.tolerances._tables import BY_FINE_STEP, BY_MAIN_STEP, HOLE_J, SHAFT_J
from meshcomp.tolerances.grades import GRADES, standard_tolerance
from meshcomp.tolerances.steps import fine_step, main_step

__all__ = ["HOLES", "SHAFTS", "fundamental_deviation", "limit_deviations"]

SHAFTS = (
    *("a", "b", "c", "cd", "d", "e", "ef", "f", "fg", "g", "h", "j", "js", "k", "m", "n"),
    *("p", "r", "s", "t", "u", "v", "x", "y", "z", "za", "zb", "zc"),
)
HOLES = tuple(letter.upper() for letter in SHAFTS)
_UPPER = SHAFTS[: SHAFTS.index("h") + 1]  # whose fundamental deviation is the upper one
_NO_DELTA_UP_TO = 3.0  # mm
_DELTA_FROM = 3  # finest grade with a delta


def fundamental_deviation(size: float, letter: str, grade: int | str) -> float:
    """Return the limit deviation nearest to zero that a letter stands for, um.

    It is es of shafts a to h and ei of j to zc; EI of holes A to H and ES of J to ZC.
    For js and JS, which lie evenly, it is the upper one.

    Parameters
    ----------
    size : float
        Nominal size in mm, above 0 and up to 500.
    letter : str
        Small for shafts, capital for holes.
    grade : int or str
        The deviation of some letters depends on it.

    Raises
    ------
    OptionError
        If ISO 286-1 gives no such class for this size.

    References
    ----------
    ISO 286-1:2010, tables 2 to 5 and the rule for delta.

    Examples
    --------
    >>> fundamental_deviation(8, "p", 6), fundamental_deviation(22, "N", 7)
    (15.0, -7.0)
    """
    name = str(grade)
    if letter not in (*SHAFTS, *HOLES):
        raise OptionError(
            f"no tolerance class {letter}{name}: holes have A to ZC, shafts a to zc "
            "(without i, l, o, q, w)"
        )
    width = standard_tolerance(size, name)
    if letter in {"js", "JS"}:
        return width / 2
    _refuse_tiny(size, letter, name)
    return _hole(size, letter, name) if letter.isupper() else _shaft(size, letter, name)


def limit_deviations(size: float, letter: str, grade: int | str) -> tuple[float, float]:
    """Return the lower and the upper limit deviation of a tolerance class, um.

    Examples
    --------
    >>> limit_deviations(22, "H", 7), limit_deviations(22, "h", 6)
    ((0.0, 21.0), (-13.0, 0.0))
    """
    known = fundamental_deviation(size, letter, grade)
    width = standard_tolerance(size, grade)
    small = letter.lower()
    if small == "js":
        return -width / 2, width / 2
    # Of a hole the letters to H name the lower limit deviation, of a shaft the upper.
    names_lower = (small in _UPPER) == letter.isupper()
    return (known, known + width) if names_lower else (known - width, known)


def _shaft(size: float, letter: str, grade: str) -> float:
    if letter == "j":
        return _from_table(SHAFT_J.get(grade), main_step(size), f"j{grade}", size)
    if letter == "k" and grade not in {"4", "5", "6", "7"}:
        return 0.0
    return _tabulated(size, letter, grade)


def _hole(size: float, letter: str, grade: str) -> float:
    small = letter.lower()
    if small in _UPPER:
        return 0.0 - _tabulated(size, small, grade)  # never -0.0
    if small == "j":
        return _from_table(HOLE_J.get(grade), main_step(size), f"J{grade}", size)
    if GRADES.index(grade) < GRADES.index(str(_DELTA_FROM)):
        raise _no_class(f"{letter}{grade}", size, "K to ZC begin at grade 3")
    coarse = int(grade) > _delta_to(small)
    if coarse and small in {"k", "n"} and size > _NO_DELTA_UP_TO:
        if small == "k":
            raise _no_class(f"K{grade}", size, "above 3 mm K ends at grade 8")
        return 0.0
    if coarse or size <= _NO_DELTA_UP_TO:
        return 0.0 - _tabulated(size, small, grade)
    return _by_delta(size, small, grade)


def _delta_to(small: str) -> int:
    """Return the coarsest grade whose hole lies higher than its shaft's mirror image."""
    return 8 if small in {"k", "m", "n"} else 7


def _by_delta(size: float, small: str, grade: str) -> float:
    """Return ES = -ei + delta, so that the fit of a hole equals that of the next shaft."""
    if (small, grade) == ("m", "6") and 250 < size <= 315:  # noqa: PLR2004
        return -9.0  # the standard's exception; the rule gives -11
    finer = standard_tolerance(size, int(grade) - 1)
    return standard_tolerance(size, grade) - finer - _tabulated(size, small, grade)


def _tabulated(size: float, letter: str, grade: str) -> float:
    name = f"{letter}{grade}"
    if letter in BY_MAIN_STEP:
        return _from_table(BY_MAIN_STEP[letter], main_step(size), name, size)
    return _from_table(BY_FINE_STEP[letter], fine_step(size), name, size)


def _from_table(
    row: tuple[int | None, ...] | None, place: int, name: str, size: float
) -> float:
    value = row[place] if row is not None else None
    if value is None:
        raise _no_class(name, size, "the tables have no value there")
    return float(value)


def _refuse_tiny(size: float, letter: str, grade: str) -> None:
    coarse_n = letter == "N" and GRADES.index(grade) > GRADES.index("8")
    if size <= 1 and (letter.lower() in {"a", "b"} or coarse_n):
        raise _no_class(f"{letter}{grade}", size, "not for sizes up to 1 mm")


def _no_class(name: str, size: float, why: str) -> OptionError:
    return OptionError(
        f"ISO 286-1 gives no {name} at {size:g} mm ({why}): take another class, or a "
        f"limit pair such as '{size:g} +0.2/-0.2'"
    )
