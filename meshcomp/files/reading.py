"""Reading a part file: from bytes to a welded mesh in mm as it stands on the bed."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import PartFileError
from meshcomp.files.checks import bytes_of, format_of
from meshcomp.files.contents import Contents, Shape
from meshcomp.files.units import MM_IN, checked_unit, size_question
from meshcomp.files.welding import Welded, weld
from meshcomp.meshes import Mesh
from meshcomp.parts import Part, Piece, Source
from meshcomp.stands import Stand, stand

__all__ = ["read_part"]


def read_part(
    path: str | os.PathLike[str], *, unit: str | None = None, up: str | None = None
) -> Part:
    r"""Read a part from an STL, 3MF, OBJ or PLY file.

    Equal corners are joined, and nearly equal ones where that leaves open edges; points
    are in the order of their first use, triangles in the order of the file.

    Parameters
    ----------
    path : str or path
        The file; its ending says the format.
    unit : str, optional
        'mm', 'cm', 'm', 'inch', 'foot' or 'micron': overrides what a 3MF file says, and
        the mm assumed for other files.
    up : str, optional
        Direction of the file that points up on the bed, one of `STANDS`; '+Z' is
        assumed.

    Raises
    ------
    PartFileError
        If the file cannot be read as a part.
    OptionError
        If `unit` or `up` is none of those.

    Examples
    --------
    >>> import tempfile
    >>> from meshcomp.files.atomic import save_atomically
    >>> leaf = b"solid leaf facet normal 0 0 1 outer loop vertex 0 0 0 vertex 1 0 0"
    >>> leaf = leaf.replace(b"leaf facet", b"leaf\nfacet")
    >>> leaf += b" vertex 0 1 0 endloop endfacet\nendsolid leaf"
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     save_atomically(f"{folder}/leaf.stl", leaf)
    ...     part = read_part(f"{folder}/leaf.stl", unit="inch")
    >>> part.name, part.mesh.bounds[1].tolist()
    ('leaf', [25.4, 25.4, 0.0])
    """
    asked = checked_unit(unit)
    turn = stand("+Z" if up is None else up)
    format_ = format_of(path)
    data = bytes_of(path)
    digest = hashlib.sha256(data).hexdigest()
    contents = _contents(data, format_, Path(path), turn)
    container = data if format_ == "3mf" else None
    del data  # large, as are the points before they are welded
    unit_used = asked or contents.unit or "mm"
    pieces = _welded(contents, MM_IN[unit_used], str(path))
    mesh = _mesh(pieces.parts, turn)
    # Every vertex is used, so this is quicker than the mesh's own bounds.
    largest = float(np.ptp(mesh.vertices, axis=0).max())
    question = size_question(largest, unit_used)
    notes = (*contents.notes, *pieces.notes, *([question] if question else []))
    return Part(
        name=Path(path).stem,
        mesh=mesh,
        stand=turn,
        stand_is_assumed=up is None,
        source=Source(
            path=str(path),
            format=format_,
            unit=unit_used,
            unit_origin=_origin(asked, contents.unit),
            sha256=digest,
            questions=notes,
            container=container,
        ),
        pieces=pieces.pieces,
        piece_of_face=_piece_of_face(pieces.parts),
    )


def _origin(asked: str | None, said: str | None) -> str:
    if asked:
        return "asked for"
    return "said by the file" if said else "assumed"


def _contents(data: bytes, format_: str, path: Path, turn: Stand) -> Contents:
    """Read the bytes with the reader of their format, loaded only where needed."""
    name, stem = str(path), path.stem
    if format_ == "stl":
        from meshcomp.files.stl import read_stl

        return read_stl(data, name, stem)
    if format_ == "obj":
        from meshcomp.files.obj import read_obj

        return read_obj(data, name, stem)
    if format_ == "ply":
        from meshcomp.files.ply import read_ply

        return read_ply(data, name, stem)
    from meshcomp.files.threemf import read_3mf

    return read_3mf(data, name, stem, turn.to_file(np.array([0.0, 0.0, 1.0])))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Pieces:
    pieces: tuple[Piece, ...]
    parts: tuple[tuple[NDArray[np.float64], NDArray[np.int64]], ...]  # mm, file's frame
    notes: tuple[str, ...]


def _welded(contents: Contents, mm: float, name: str) -> _Pieces:
    """Weld each shape for itself, or all together if they close only together."""
    shapes = contents.shapes
    welds = [weld(shape.points, shape.faces) for shape in shapes]
    notes = []
    if len(shapes) > 1 and not all(w.is_closed for w in welds):
        whole = _joined(shapes)
        if whole is not None and (together := weld(whole.points, whole.faces)).is_closed:
            notes.append(f"{len(shapes)} named surfaces close only together: one piece")
            shapes, welds = (whole,), [together]
    dropped = sum(len(s.faces) - len(w.kept) for s, w in zip(shapes, welds, strict=True))
    if dropped:
        notes.append(f"{dropped} triangles with two equal corners were dropped")
    left = [(s, w) for s, w in zip(shapes, welds, strict=True) if len(w.faces)]
    if not left:
        raise PartFileError(
            f"{name}: each of its {dropped} triangles has two equal corners, so nothing is "
            "left: export it again, with more digits"
        )
    matrices = [_to_bed(shape, mm) for shape, _ in left]
    return _Pieces(
        pieces=tuple(_piece(s, m) for (s, _), m in zip(left, matrices, strict=True)),
        parts=tuple(_placed(w, mm, m) for (_, w), m in zip(left, matrices, strict=True)),
        notes=tuple(notes),
    )


def _joined(shapes: tuple[Shape, ...]) -> Shape | None:
    """All shapes as one; None where they are objects with coordinates of their own."""
    if any(shape.placement is not None for shape in shapes):
        return None
    starts = np.cumsum([0] + [len(shape.points) for shape in shapes[:-1]])
    faces = [shape.faces + start for shape, start in zip(shapes, starts, strict=True)]
    return Shape(
        name=shapes[0].name,
        points=np.concatenate([shape.points for shape in shapes]),
        faces=np.concatenate(faces),
    )


def _to_bed(shape: Shape, mm: float) -> NDArray[np.float64] | None:
    if shape.placement is None:
        return None
    matrix = np.diag([mm, mm, mm, 1.0]) @ shape.placement
    matrix.flags.writeable = False
    return matrix


def _piece(shape: Shape, matrix: NDArray[np.float64] | None) -> Piece:
    return Piece(
        name=shape.name, resource=shape.resource, to_bed=matrix, copies=shape.copies
    )


def _placed(
    welded: Welded, mm: float, matrix: NDArray[np.float64] | None
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Points in mm in the file's frame, and faces turned outward."""
    if matrix is None:
        return welded.points * mm, welded.faces
    # A mirror turns a mesh inside out; running each face the other way undoes that.
    is_mirror = np.linalg.det(matrix[:3, :3]) < 0
    faces = welded.faces[:, [0, 2, 1]] if is_mirror else welded.faces
    return welded.points @ matrix[:3, :3].T + matrix[:3, 3], faces


def _mesh(
    parts: tuple[tuple[NDArray[np.float64], NDArray[np.int64]], ...], turn: Stand
) -> Mesh:
    starts = np.cumsum([0] + [len(points) for points, _ in parts[:-1]])
    faces = [faces + start for (_, faces), start in zip(parts, starts, strict=True)]
    points = np.concatenate([points for points, _ in parts])
    return Mesh(turn.to_bed(points), np.concatenate(faces))


def _piece_of_face(
    parts: tuple[tuple[NDArray[np.float64], NDArray[np.int64]], ...],
) -> NDArray[np.int64]:
    numbers = np.repeat(np.arange(len(parts)), [len(faces) for _, faces in parts])
    numbers.flags.writeable = False
    return numbers
