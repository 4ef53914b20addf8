"""Writing a part in the frame and the unit of the file it came from."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import OptionError, PartFileError
from meshcomp.files.atomic import save_atomically
from meshcomp.files.checks import format_of
from meshcomp.files.units import MM_IN
from meshcomp.parts import Part

__all__ = ["refuse_source", "write_part"]

_ROUNDING = 32 * float(np.finfo(np.float64).eps)  # of a few sums of products

Named = tuple[str, NDArray[np.float64], NDArray[np.int64]]  # name, points, faces


def write_part(
    part: Part,
    path: str | os.PathLike[str],
    *,
    ascii: bool = False,  # noqa: A002 - the word of the trade
) -> None:
    r"""Write a part as STL, 3MF, OBJ or PLY, whole or not at all.

    The part is turned back to the file's frame and scaled back to its unit. STL (binary)
    and 3MF hold 32-bit numbers; text STL, OBJ and PLY lose no digit. A part read from
    3MF and written as 3MF keeps all of that file but the triangles.

    Parameters
    ----------
    part : Part
        Its mesh as it stands on the bed, in mm.
    path : str or path
        The file to write; its ending chooses the format.
    ascii : bool, optional
        Write STL as text.

    Raises
    ------
    PartFileError
        If `path` is the file the part was read from, or cannot be written.
    OptionError
        If `ascii` is asked for with a format other than STL.

    Examples
    --------
    >>> import tempfile
    >>> from meshcomp.files import read_part
    >>> leaf = b"v 0 0 0\nv 30 0 0\nv 0 30 0\nf 1 2 3\n"
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     save_atomically(f"{folder}/leaf.obj", leaf)
    ...     write_part(read_part(f"{folder}/leaf.obj"), f"{folder}/leaf.stl")
    ...     len(read_part(f"{folder}/leaf.stl").mesh.faces)
    1
    """
    format_ = format_of(path)
    if ascii and format_ != "stl":
        raise OptionError(f"ascii is for STL, not for .{format_}: leave it out")
    refuse_source(part, path)
    save_atomically(path, _bytes(part, format_, is_text=ascii))


def refuse_source(part: Part, path: str | os.PathLike[str]) -> None:
    """Refuse to write over the file that a part was read from, by whatever name.

    Raises
    ------
    PartFileError
        If `path` leads to that file: as it is, by another path, by a link, or in capitals
        where the file system takes both for one.
    """
    source, target = Path(part.source.path), Path(path)
    try:
        is_same = source.resolve() == target.resolve() or source.samefile(target)
    except (OSError, ValueError, RuntimeError):
        is_same = False  # one of the two is not there, so they are not the same
    if is_same:
        raise PartFileError(
            f"{path} is the file that the part was read from, which is never overwritten: "
            "choose another name (or say --in-place where a command has it)"
        )


def _bytes(part: Part, format_: str, *, is_text: bool) -> bytes:
    if format_ == "3mf":
        return _bytes_of_3mf(part)
    if format_ == "obj":
        from meshcomp.files.obj import obj_text

        return obj_text(_named(part))
    if format_ == "ply":
        from meshcomp.files.ply import binary_ply

        return binary_ply(_points(part), part.mesh.faces)
    from meshcomp.files.stl import binary_stl, text_stl

    if is_text:
        return text_stl([(name, points[faces]) for name, points, faces in _named(part)])
    return binary_stl(_points(part)[part.mesh.faces])


def _points(part: Part) -> NDArray[np.float64]:
    """Vertices in the file's frame and unit."""
    return part.stand.to_file(part.mesh.vertices) / MM_IN[part.source.unit]


def _named(part: Part) -> list[Named]:
    """Name, points and faces of each piece that has faces, in the file's frame and unit."""
    points = _points(part)
    return [(part.pieces[k].name, *_own(part, points, k)) for k in _used_pieces(part)]


def _used_pieces(part: Part) -> list[int]:
    return [int(k) for k in np.unique(part.piece_of_face)]


def _own(
    part: Part, points: NDArray[np.float64], piece: int
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Points and faces of one piece, on points of its own."""
    faces = part.mesh.faces[part.piece_of_face == piece]
    used, flat = np.unique(faces, return_inverse=True)
    return points[used], flat.reshape(-1, 3)


def _bytes_of_3mf(part: Part) -> bytes:
    from meshcomp.files.threemf_writing import new_3mf, replace_meshes

    source = part.source
    if source.container is None:
        return new_3mf(_named(part), source.unit)
    points = part.stand.to_file(part.mesh.vertices)
    meshes = {}
    for k in _used_pieces(part):
        resource, matrix = part.pieces[k].resource, part.pieces[k].to_bed
        if resource is None or matrix is None:
            raise PartFileError(
                f"{source.path}: piece '{part.pieces[k].name}' has no object in the 3MF "
                "file it came from: write it as .stl"
            )
        own, faces = _own(part, points, k)
        meshes[resource] = _in_object(own, faces, matrix)
    unit = source.unit if source.unit_origin == "asked for" else None
    return replace_meshes(source.container, meshes, unit, source.path)


def _in_object(
    points: NDArray[np.float64], faces: NDArray[np.int64], matrix: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Points and faces in an object's own coordinates: its transform undone."""
    back = np.linalg.inv(matrix[:3, :3])
    shift = matrix[:3, 3]
    own = (points - shift) @ back.T
    # What was zero comes back as 1e-16: below this, a coordinate is rounding alone.
    size = max(float(np.abs(points).max()), float(np.abs(shift).max()))
    noise = _ROUNDING * size * float(np.abs(back).max())
    own = np.where(np.abs(own) < noise, 0.0, own)
    return own, faces[:, [0, 2, 1]] if np.linalg.det(back) < 0 else faces
