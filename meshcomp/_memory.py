"""Memory that was freed, given back to the system."""

from __future__ import annotations

__all__ = ["give_back"]


def give_back() -> None:
    """Hand freed memory back, so that the next step's does not come on top of it.

    glibc keeps what arrays of up to 32 MB leave behind, some hundreds of MB after a look at
    a million faces, and large blocks of others do not fit in. Elsewhere nothing is done.
    """
    import ctypes
    import sys

    if sys.platform != "linux":
        return
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
    if trim is not None:
        trim(0)
