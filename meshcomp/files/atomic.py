"""Writing files whole or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from pathlib import Path

from meshcomp.errors import PartFileError

__all__ = ["save_atomically"]


def save_atomically(path: str | os.PathLike[str], data: bytes) -> None:
    """Write a file so that a crash leaves the old file or the new one, never half of it.

    The bytes go into a temporary file beside the target, which then takes its name. A
    link is followed, and the permissions of a file that is replaced are kept.

    Parameters
    ----------
    path : str or path
        The file to write.
    data : bytes
        What it holds.

    Raises
    ------
    PartFileError
        If the folder is missing, the disk full, or writing is not allowed.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     save_atomically(f"{folder}/note.txt", b"whole")
    ...     Path(folder, "note.txt").read_bytes()
    b'whole'
    """
    try:
        _replace(Path(path).resolve(), data)
    except (OSError, ValueError, RuntimeError) as error:
        # A null character in the name is a ValueError, a loop of links a RuntimeError.
        reason = getattr(error, "strerror", None) or str(error)
        raise PartFileError(
            f"{path} cannot be written ({reason}): choose a folder that exists, has "
            "room and may be written to"
        ) from error


def _replace(target: Path, data: bytes) -> None:
    beside = target.with_name(f".{target.name[:100]}.{secrets.token_hex(6)}.part")
    # Mode 0o666 less the user's mask, as for any new file.
    handle = os.open(beside, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if target.exists():
            shutil.copymode(target, beside)
        beside.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise
    _sync_folder(target.parent)


def _sync_folder(folder: Path) -> None:
    """Make the new name last through a power cut, where the system allows it."""
    with contextlib.suppress(OSError):  # folders cannot be opened on Windows
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
