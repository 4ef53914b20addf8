"""Writing files whole or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from pathlib import Path

from meshcomp.errors import PartFileError

__all__ = ["resolved", "save_atomically", "take_name"]


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
    target = resolved(path)
    try:
        _replace(target, data)
    except (OSError, ValueError) as error:
        raise _unwritten(path, error) from error


def take_name(finished: Path, path: str | os.PathLike[str]) -> None:
    """Give a finished file the name of another, which is replaced in one step.

    A link is followed, and the permissions of the file that is replaced are kept.

    Parameters
    ----------
    finished : Path
        A whole file, already on the disk, in the folder of `path`.
    path : str or path
        The name that it takes.

    Raises
    ------
    PartFileError
        If that is not allowed.
    """
    target = resolved(path)
    try:
        if target.exists():
            shutil.copymode(target, finished)
        finished.replace(target)
    except (OSError, ValueError) as error:
        raise _unwritten(path, error) from error
    _sync_folder(target.parent)


def resolved(path: str | os.PathLike[str]) -> Path:
    """Follow links to the file that a name stands for.

    Raises
    ------
    PartFileError
        If links run in a loop, or the name is none.
    """
    try:
        return Path(path).resolve()
    except (OSError, ValueError, RuntimeError) as error:
        # A null character in the name is a ValueError, a loop of links a RuntimeError.
        raise _unwritten(path, error) from error


def _unwritten(path: str | os.PathLike[str], error: Exception) -> PartFileError:
    reason = getattr(error, "strerror", None) or str(error)
    return PartFileError(
        f"{path} cannot be written ({reason}): choose a folder that exists, has room and "
        "may be written to"
    )


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
