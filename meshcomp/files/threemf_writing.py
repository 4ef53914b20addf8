"""Writing 3MF: new triangles in the file that was read, or a new file.

In a file that was read only the meshes are replaced, as text; every other byte of the
model and every other entry of the archive stays. Saving the model through lib3mf would
lose what lib3mf does not know, such as other programs' settings, and give the build new
random numbers each time.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping
from xml.parsers import expat
from xml.sax.saxutils import quoteattr

import numpy as np
from numpy.typing import NDArray

from meshcomp.errors import PartFileError
from meshcomp.files.archives import is_model, new_archive, with_entries
from meshcomp.files.lib3mf_models import open_model, paths_of_objects
from meshcomp.files.threemf import UNITS_OF_3MF

__all__ = ["new_3mf", "replace_meshes"]

Triangles = tuple[NDArray[np.float64], NDArray[np.int64]]  # (n, 3) points, (m, 3) faces
Span = tuple[int, int, str]  # bytes of the inside of a mesh, and the prefix of its tags

_NAMES = {unit: name for name, unit in UNITS_OF_3MF.items()}
_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_TYPES = b"""<?xml version="1.0" encoding="UTF-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
 <Default Extension="rels" \
ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
 <Default Extension="model" \
ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>
</Types>
"""
_RELATIONS = b"""<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
 <Relationship Target="/3D/3dmodel.model" Id="rel0" \
Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>
</Relationships>
"""
# Characters that XML 1.0 does not allow anywhere.
_FORBIDDEN = re.compile("[\0-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_MODEL_TAG = re.compile(rb"<(?:[\w.-]+:)?model(?=[\s>])(?:[^>\"']|\"[^\"]*\"|'[^']*')*>")
_UNIT = re.compile(rb"(\sunit\s*=\s*)(?:\"[^\"]*\"|'[^']*')")


def new_3mf(
    shapes: list[tuple[str, NDArray[np.float64], NDArray[np.int64]]], unit: str
) -> bytes:
    """Return a 3MF file with one object, built as it is, for each shape.

    Parameters
    ----------
    shapes : list of (name, (n, 3) float, (m, 3) int)
        Name, points and faces of each object.
    unit : str
        Unit of the points, one of `MM_IN`.
    """
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>\n',
        f'<model unit="{_NAMES[unit]}" xml:lang="en-US" xmlns="{_CORE}">\n<resources>\n',
    ]
    for number, (name, points, faces) in enumerate(shapes, start=1):
        title = quoteattr(_FORBIDDEN.sub(" ", name))
        parts.append(f'<object id="{number}" type="model" name={title}>\n<mesh>\n')
        parts.append(_mesh_text(points, faces))
        parts.append("</mesh>\n</object>\n")
    items = "".join(f'<item objectid="{k}"/>\n' for k in range(1, len(shapes) + 1))
    parts.append(f"</resources>\n<build>\n{items}</build>\n</model>\n")
    return new_archive(
        {
            "[Content_Types].xml": _TYPES,
            "_rels/.rels": _RELATIONS,
            "3D/3dmodel.model": "".join(parts).encode(),
        }
    )


def _mesh_text(
    points: NDArray[np.float64], faces: NDArray[np.int64], prefix: str = ""
) -> str:
    """Return the inside of the mesh of an object, coordinates as 32-bit numbers."""
    # Most programs hold 32 bits, so giving more would show each another part. The text
    # is the shortest that reads back alike: 0.1, not 0.100000001.
    numbers = (points.astype(np.float32) + np.float32(0)).astype("U16").reshape(-1)
    p = prefix
    vertices = f'<{p}vertex x="%s" y="%s" z="%s"/>\n' * len(points)
    triangles = f'<{p}triangle v1="%d" v2="%d" v3="%d"/>\n' * len(faces)
    return (
        f"<{p}vertices>\n{vertices % tuple(numbers.tolist())}</{p}vertices>\n"
        f"<{p}triangles>\n{triangles % tuple(faces.reshape(-1).tolist())}</{p}triangles>\n"
    )


def replace_meshes(
    container: bytes, meshes: Mapping[int, Triangles], unit: str | None, name: str
) -> bytes:
    """Return a 3MF file with the meshes of some objects replaced, all else as it was.

    Parameters
    ----------
    container : bytes
        The file as it was read.
    meshes : mapping of int to points (n, 3) and faces (m, 3)
        By the unique number of the object, in the object's own coordinates.
    unit : str or None
        Unit that the file is to say, one of `MM_IN`; None keeps what it says.
    name : str
        The file's name, for messages.

    Raises
    ------
    PartFileError
        If an object is not found in the file.
    """
    paths = paths_of_objects(open_model(container, name)[0])
    wanted: dict[str, dict[int, Triangles]] = {}
    for number, triangles in meshes.items():
        path, local = paths[number]
        wanted.setdefault(path, {})[local] = triangles
    replaced = {}
    with zipfile.ZipFile(io.BytesIO(container)) as archive:
        for entry in archive.namelist():
            if is_model(entry):
                text = archive.read(entry)
                edited = _edited(text, wanted.pop(entry, {}), f"{name}: {entry}")
                replaced[entry] = _with_unit(edited, _NAMES[unit]) if unit else edited
    if wanted:
        raise PartFileError(
            f"{name} does not hold the models {', '.join(wanted)} under these names: "
            "export it again"
        )
    return with_entries(container, replaced)


def _edited(model: bytes, meshes: Mapping[int, Triangles], label: str) -> bytes:
    """Text of a model with the insides of some meshes replaced."""
    if not meshes:
        return model
    spans = _mesh_spans(model, label)
    missing = sorted(set(meshes) - set(spans))
    if missing:
        raise PartFileError(f"{label} has no mesh object {missing[0]}: export it again")
    parts = []
    end = 0
    for number in sorted(meshes, key=lambda number: spans[number][0]):
        start, next_end, prefix = spans[number]
        parts += [model[end:start], _mesh_text(*meshes[number], prefix).encode()]
        end = next_end
    return b"".join([*parts, model[end:]])


def _mesh_spans(model: bytes, label: str) -> dict[int, Span]:
    """Find where the inside of each object's mesh begins and ends, and its prefix."""
    finder = _MeshFinder()
    try:
        finder.parser.Parse(model, True)
    except (expat.ExpatError, ValueError) as error:
        raise PartFileError(
            f"{label} is no sound XML ({error}): export it again"
        ) from error
    return finder.spans


class _MeshFinder:
    """Notes the places of meshes while a model is parsed."""

    def __init__(self) -> None:
        self.spans: dict[int, Span] = {}
        self.parser = expat.ParserCreate()
        self.parser.StartElementHandler = self._begin
        self.parser.EndElementHandler = self._end
        self._number = -1
        self._is_in_mesh = False
        self._start = -1

    def _begin(self, tag: str, attributes: dict[str, str]) -> None:
        if self._is_in_mesh:
            if self._start < 0:
                self._start = self.parser.CurrentByteIndex
        elif tag.rpartition(":")[2] == "object":
            self._number = int(attributes.get("id", -1))
        else:
            self._is_in_mesh = tag.rpartition(":")[2] == "mesh"

    def _end(self, tag: str) -> None:
        prefix, colon, kind = tag.rpartition(":")
        if kind == "mesh" and self._is_in_mesh:
            if self._start >= 0:
                end = self.parser.CurrentByteIndex
                self.spans[self._number] = (self._start, end, prefix + colon)
            self._start = -1
            self._is_in_mesh = False


def _with_unit(model: bytes, unit: str) -> bytes:
    """Text of a model whose root says the unit."""
    tag = _MODEL_TAG.search(model)
    if tag is None:
        return model
    said = b'"' + unit.encode() + b'"'
    text, count = _UNIT.subn(rb"\g<1>" + said, tag[0], count=1)
    if not count:
        end = len(text) - 2 if text.endswith(b"/>") else len(text) - 1
        text = text[:end] + b" unit=" + said + text[end:]
    return model[: tag.start()] + text + model[tag.end() :]
