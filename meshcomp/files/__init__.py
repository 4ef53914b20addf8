"""Reading and writing parts: STL, 3MF, OBJ and PLY."""

from __future__ import annotations

from meshcomp.files.reading import read_part
from meshcomp.files.writing import write_part

__all__ = ["read_part", "write_part"]
