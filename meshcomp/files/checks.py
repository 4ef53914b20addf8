"""What a part file has to be, before its triangles are looked at."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import PartFileError

__all__ = ["bytes_of", "first_bad_corner", "format_of", "refuse_bad_corners"]

_FORMATS = ("stl", "3mf", "obj", "ply")
_LARGEST = 1e9  # in any unit; a coordinate beyond it comes from damaged bytes


def format_of(path: str | os.PathLike[str]) -> str:
    """Return the format that the ending of a file name stands for.

    Raises
    ------
    PartFileError
        If the ending is unknown.

    Examples
    --------
    >>> format_of("holder.STL")
    'stl'
    """
    ending = Path(path).suffix
    if ending[1:].lower() not in _FORMATS:
        known = ", ".join(f".{name}" for name in _FORMATS)
        said = f"its ending {ending!r} is not one" if ending else "it has no ending"
        raise PartFileError(
            f"{path}: {said} of {known}: export the part in one of these formats"
        )
    return ending[1:].lower()


def bytes_of(path: str | os.PathLike[str]) -> bytes:
    """Read a file, and refuse what is no part file at all, whatever its ending.

    Raises
    ------
    PartFileError
        If the file cannot be read, is empty, stands for a file kept elsewhere, is a web
        page, or holds another format than its ending says.
    """
    try:
        data = Path(path).read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise PartFileError(
            f"{path} cannot be read ({reason}): check the name and the permissions"
        ) from error
    _refuse_foreign(path, data)
    _refuse_other_format(path, data)
    return data


def _refuse_foreign(path: str | os.PathLike[str], data: bytes) -> None:
    if not data:
        raise PartFileError(f"{path} is empty (0 bytes): export or copy it again")
    start = data[:512].removeprefix(b"\xef\xbb\xbf").lstrip().lower()
    if start.startswith(b"version https://git-lfs"):
        raise PartFileError(
            f"{path} is a Git LFS pointer, not the part itself: run 'git lfs pull'"
        )
    if start.startswith((b"<!doctype html", b"<html")):
        raise PartFileError(
            f"{path} is a web page saved under that name: download the file itself"
        )
    if not start.strip(b"\0") and not data.strip(b"\0 \t\r\n"):
        raise PartFileError(
            f"{path} holds {len(data)} bytes of nothing but zeros and blanks: export or "
            "copy it again"
        )


def _refuse_other_format(path: str | os.PathLike[str], data: bytes) -> None:
    format_ = format_of(path)
    if data.startswith(b"PK\x03\x04"):
        found = "3mf"
    elif data.startswith((b"ply\n", b"ply\r")):
        found = "ply"
    else:
        found = format_
    if found != format_:
        kind = "a zip archive, as 3MF files are" if found == "3mf" else "a PLY file"
        raise PartFileError(
            f"{path} holds {kind}, though its name ends in .{format_}: give it the "
            f"ending .{found}"
        )


def first_bad_corner(
    points: NDArray[np.float64], faces: NDArray[np.int64]
) -> tuple[int, int] | None:
    """Find the first triangle and corner, counted from 0, that is no usable point.

    Parameters
    ----------
    points : (n, 3) float
        Coordinates in any unit.
    faces : (m, 3) int
        Indices into `points`.

    Examples
    --------
    >>> first_bad_corner(np.array([(0, 0, 0), (1, 0, np.nan)]), np.array([(0, 0, 1)]))
    (0, 2)
    """
    # The largest of numbers is NaN where one of them is, and a comparison with it false.
    if points.size == 0 or max(points.max(), -points.min()) <= _LARGEST:
        return None
    is_good = np.asarray((np.abs(points) <= _LARGEST).all(axis=1))
    if is_good.all():
        return None
    bad = np.flatnonzero(~is_good[faces.reshape(-1)])
    return (int(bad[0]) // 3, int(bad[0]) % 3) if len(bad) else None


def refuse_bad_corners(
    name: str, points: NDArray[np.float64], faces: NDArray[np.int64], place: str = ""
) -> None:
    """Refuse coordinates that are not finite or beyond any part.

    Parameters
    ----------
    name : str
        The file, for the message.
    points, faces
        As for `first_bad_corner`.
    place : str
        Where in the file, added to the message.

    Raises
    ------
    PartFileError
        Naming the triangle and the corner, counted from 1.
    """
    found = first_bad_corner(points, faces)
    if found is None:
        return
    triangle, corner = found
    numbers = ", ".join(f"{x:g}" for x in points[faces[triangle, corner]])
    raise PartFileError(
        f"{name}: triangle {triangle + 1}, corner {corner + 1}{place} has the coordinates "
        f"({numbers}): each must be a finite number up to {_LARGEST:g}; export it again"
    )
