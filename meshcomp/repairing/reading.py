"""Reading a part and making it sound, in one step."""

from __future__ import annotations

import os

from meshcomp.files import read_part
from meshcomp.parts import Part
from meshcomp.repairing.mending import repair
from meshcomp.repairing.planes import with_planes_joined
from meshcomp.repairing.refusing import refuse_faults

__all__ = ["read_sound_part"]


def read_sound_part(
    path: str | os.PathLike[str],
    *,
    unit: str | None = None,
    up: str | None = None,
    repairs: bool = True,
) -> Part:
    """Read a part, and repair it or refuse it.

    Parameters
    ----------
    path, unit, up
        As for `meshcomp.read`.
    repairs : bool, optional
        Whether to repair what can safely be repaired; otherwise any fault is refused.

    Raises
    ------
    PartFileError
        If the file cannot be read as a part.
    NotASolidError
        If it is no sound solid and is not made one.

    Examples
    --------
    >>> import tempfile
    >>> import meshcomp
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     meshcomp.write(meshcomp.demo_part("shaft_spacer"), f"{folder}/spacer.stl")
    ...     read_sound_part(f"{folder}/spacer.stl").repairs
    ()
    """
    part = read_part(path, unit=unit, up=up)
    if repairs:
        return repair(part)
    refuse_faults(part)
    return with_planes_joined(part)
