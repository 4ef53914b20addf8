"""3MF files as zip archives: refusing what is unsafe, and replacing single entries."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from xml.parsers import expat

from meshcomp.errors import PartFileError
from meshcomp.files.nesting import Nesting

__all__ = ["is_model", "new_archive", "refuse_unsound_archive", "with_entries"]

_LARGEST = 1024**3  # bytes, unpacked: 12 million triangles, and half the memory needed
_LARGEST_RATIO = 1000  # unpacked to packed; honest models stay below a tenth of it
_CHUNK = 2**20  # bytes unpacked at once
_EPOCH = (1980, 1, 1, 0, 0, 0)  # one model always gives the same bytes


def refuse_unsound_archive(data: bytes, name: str) -> None:
    """Read all of a 3MF file once, so that nothing in it fails later.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        The file's name, for messages.

    Raises
    ------
    PartFileError
        If it is no zip archive, damaged, holds models that are no sound XML, would
        unpack to far more than it holds, or nests objects without measure.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            _refuse_bomb(entries, len(data), name)
            _refuse_climbers(entries, name)
            nesting = Nesting()
            for entry in entries:
                _read_through(archive, entry, nesting, name)
            nesting.refuse_excess(name)
    except PartFileError:
        raise
    except Exception as error:  # zipfile raises nearly anything on damaged archives
        raise PartFileError(
            f"{name} is no zip archive that can be read, as a 3MF file must be ({error}): "
            "export or copy it again"
        ) from error
    if len({entry.filename for entry in entries}) < len(entries):
        raise PartFileError(f"{name}: two entries share a name: export it again")


def _read_through(
    archive: zipfile.ZipFile, entry: zipfile.ZipInfo, nesting: Nesting, name: str
) -> None:
    """Unpack an entry, which checks its sum, and parse it if it is a model.

    lib3mf reads some models that are no sound XML; their meshes could not be replaced.
    """
    if not is_model(entry.filename):
        with archive.open(entry) as stream:
            while stream.read(_CHUNK):
                pass
        return
    model = archive.read(entry)
    parser = expat.ParserCreate()
    if b"component" in model:  # looking at each element takes four times as long
        nesting.watch(parser, entry.filename)
    try:
        parser.Parse(model, True)
    except expat.ExpatError as error:
        raise PartFileError(
            f"{name}: {entry.filename} is no sound XML ({error}): export it again"
        ) from error


def is_model(entry: str) -> bool:
    """Whether an entry of a 3MF file is a model, by its name.

    Examples
    --------
    >>> is_model("3D/3dmodel.model"), is_model("Metadata/thumbnail.png")
    (True, False)
    """
    return entry.lower().endswith(".model")


def _refuse_bomb(entries: list[zipfile.ZipInfo], packed: int, name: str) -> None:
    unpacked = sum(entry.file_size for entry in entries)
    if unpacked > _LARGEST:
        raise PartFileError(
            f"{name} would unpack to {unpacked / 1e9:.1f} GB, more than the "
            f"{_LARGEST / 1e9:.1f} GB allowed: export it with fewer triangles"
        )
    ratios = [entry.file_size / max(entry.compress_size, 1) for entry in entries]
    ratio = max([unpacked / packed, *ratios])
    if ratio > _LARGEST_RATIO:
        raise PartFileError(
            f"{name} would unpack to {ratio:.0f} times its size, more than the "
            f"{_LARGEST_RATIO} times allowed: it is no honest part file; export it again"
        )


def _refuse_climbers(entries: list[zipfile.ZipInfo], name: str) -> None:
    """Refuse entries that some program might unpack outside its folder.

    Nothing is unpacked to the disk here, but what is written keeps all entries.
    """
    for entry in entries:
        path = entry.orig_filename.replace("\\", "/")
        if path.startswith("/") or ":" in path or ".." in path.split("/"):
            raise PartFileError(
                f"{name} has an entry {path[:60]!r} that leads out of the archive: it is "
                "no honest part file; export it again"
            )


def with_entries(data: bytes, replaced: Mapping[str, bytes]) -> bytes:
    """Return a zip archive with some entries replaced and all others as they were."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        new.comment = old.comment
        for entry in old.infolist():
            content = replaced.get(entry.filename)
            new.writestr(_copied(entry), old.read(entry) if content is None else content)
    return out.getvalue()


def _copied(entry: zipfile.ZipInfo) -> zipfile.ZipInfo:
    """Copy what can be seen of an entry, without its place and sizes."""
    copy = zipfile.ZipInfo(entry.filename, entry.date_time)
    copy.compress_type = entry.compress_type
    copy.external_attr = entry.external_attr
    copy.comment = entry.comment
    return copy


def new_archive(entries: Mapping[str, bytes]) -> bytes:
    """Return a zip archive of these entries, the same bytes whenever it is made."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in entries.items():
            entry = zipfile.ZipInfo(name, _EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, content)
    return out.getvalue()
