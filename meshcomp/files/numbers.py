"""Reading many numbers out of text at once."""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import NDArray

__all__ = ["NUMBER", "numbers_in"]

# A regular expression of one number, for bytes in lower case. The doubled plus signs
# never give a digit back, so that a million digits in a row cost no more than others.
NUMBER = rb"[+-]?(?:(?:\d++(?:\.\d*+)?|\.\d++)(?:e[+-]?\d++)?|nan|inf(?:inity)?)"


def numbers_in(text: bytes) -> NDArray[np.float64] | None:
    """Read numbers with blanks between them; None if something else is found.

    Examples
    --------
    >>> numbers_in(b" 1.5 -2e3 ").tolist()
    [1.5, -2000.0]
    >>> numbers_in(b"1 two 3") is None
    True
    """
    if not text or text.isspace():
        return np.zeros(0)  # numpy makes [-1.] of it
    with warnings.catch_warnings():
        # Older numpy only warns and returns what came before.
        warnings.simplefilter("error", DeprecationWarning)
        try:
            return np.fromstring(text.decode("latin-1"), np.float64, sep=" ")
        except (DeprecationWarning, ValueError):
            return None
