"""The steps of nominal size of ISO 286-1: a size on a limit belongs to the lower step."""

from __future__ import annotations

from bisect import bisect_left

from meshcomp.errors import OptionError

__all__ = ["FINE_STEPS", "LARGEST", "MAIN_STEPS", "fine_step", "main_step"]

LARGEST = 500  # mm: the standard goes on to 3150 mm, no filament printer does
MAIN_STEPS = (3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500)  # mm, up to and incl.
FINE_STEPS = (
    *(3, 6, 10, 14, 18, 24, 30, 40, 50, 65, 80, 100, 120, 140, 160, 180),
    *(200, 225, 250, 280, 315, 355, 400, 450, 500),
)


def main_step(size: float) -> int:
    """Return the place of a nominal size in mm among the main steps.

    Raises
    ------
    OptionError
        If the size is not above 0, or above 500 mm.

    Examples
    --------
    >>> main_step(18.0), main_step(18.1)
    (3, 4)
    """
    return _step(size, MAIN_STEPS)


def fine_step(size: float) -> int:
    """Return the place of a nominal size in mm among the intermediate steps."""
    return _step(size, FINE_STEPS)


def _step(size: float, steps: tuple[int, ...]) -> int:
    if not 0 < size <= LARGEST:
        raise OptionError(
            f"limits and fits are known for nominal sizes above 0 and up to {LARGEST} mm, "
            f"got {size:g} mm: state a limit pair instead, such as '{size:g} +0.2/-0.2'"
        )
    return bisect_left(steps, size)
