"""Standard tolerances IT01 to IT18 of ISO 286-1.

The standard's table is what binds. It comes from the factor i = 0.45 D^(1/3) + 0.001 D um,
D the geometric mean of the step in mm, times 7, 10, 16, 25, 40, 64, 100 for IT5 to IT11,
but is rounded by hand in places; from IT12 on each is ten times that of five grades finer.
"""

from __future__ import annotations

from bisect import bisect_left

from meshcomp.errors import OptionError
from meshcomp.tolerances.steps import main_step

__all__ = ["GRADES", "grade_of_width", "standard_tolerance"]

GRADES = ("01", "0", *(str(n) for n in range(1, 19)))  # finest first

# In um, by main step of size. Fine grades from memory of the standard's table 1; IT1 to
# IT14 up to 250 mm agree with a second, independent copy (tests/reference).
_TABLE = {
    "01": (0.3, 0.4, 0.4, 0.5, 0.6, 0.6, 0.8, 1, 1.2, 2, 2.5, 3, 4),
    "0": (0.5, 0.6, 0.6, 0.8, 1, 1, 1.2, 1.5, 2, 3, 4, 5, 6),
    "1": (0.8, 1, 1, 1.2, 1.5, 1.5, 2, 2.5, 3.5, 4.5, 6, 7, 8),
    "2": (1.2, 1.5, 1.5, 2, 2.5, 2.5, 3, 4, 5, 7, 8, 9, 10),
    "3": (2, 2.5, 2.5, 3, 4, 4, 5, 6, 8, 10, 12, 13, 15),
    "4": (3, 4, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18, 20),
    "5": (4, 5, 6, 8, 9, 11, 13, 15, 18, 20, 23, 25, 27),
    "6": (6, 8, 9, 11, 13, 16, 19, 22, 25, 29, 32, 36, 40),
    "7": (10, 12, 15, 18, 21, 25, 30, 35, 40, 46, 52, 57, 63),
    "8": (14, 18, 22, 27, 33, 39, 46, 54, 63, 72, 81, 89, 97),
    "9": (25, 30, 36, 43, 52, 62, 74, 87, 100, 115, 130, 140, 155),
    "10": (40, 48, 58, 70, 84, 100, 120, 140, 160, 185, 210, 230, 250),
    "11": (60, 75, 90, 110, 130, 160, 190, 220, 250, 290, 320, 360, 400),
}
_BASE = 7  # IT12 to IT16 are ten times IT7 to IT11, and so on
_COARSE = 14  # from here on not for sizes up to 1 mm


def standard_tolerance(size: float, grade: int | str) -> float:
    """Return the width of a standard tolerance, um.

    Parameters
    ----------
    size : float
        Nominal size in mm, above 0 and up to 500.
    grade : int or str
        7 or "7" for IT7; "01" and "0" are the two finest.

    Raises
    ------
    OptionError
        If there is no such grade, or none for this size.

    References
    ----------
    ISO 286-1:2010, table 1; 1988, annex A for the formulas.

    Examples
    --------
    >>> standard_tolerance(22, 7), standard_tolerance(22, 12)
    (21.0, 210.0)
    """
    name = str(grade)
    if name not in GRADES:
        raise OptionError(
            f"no standard tolerance grade IT{name}: they go from IT01, IT0, IT1 to IT18"
        )
    if name in {str(n) for n in range(_COARSE, 19)} and size <= 1:
        raise OptionError(
            f"IT{name} is not for sizes up to 1 mm, got {size:g} mm: take IT13 or finer"
        )
    step = main_step(size)
    if name in _TABLE:
        return float(_TABLE[name][step])
    tens, finer = divmod(int(name) - _BASE, 5)
    return float(_TABLE[str(_BASE + finer)][step] * 10**tens)


def grade_of_width(size: float, width: float) -> str | None:
    """Return the finest grade that is at least as wide, or None beyond IT18.

    Parameters
    ----------
    size : float
        Nominal size in mm.
    width : float
        In um.

    Examples
    --------
    >>> grade_of_width(22, 160.0)
    '12'
    """
    grades = GRADES if size > 1 else GRADES[: GRADES.index(str(_COARSE))]
    widths = [standard_tolerance(size, grade) for grade in grades]
    place = bisect_left(widths, width)
    return grades[place] if place < len(grades) else None
