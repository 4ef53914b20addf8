"""Demo parts of our own: a filter changer for a small telescope.

Every mesh is generated here, closed and oriented, with its corners on the true surfaces;
`true_features` tells what a perfect search for features would find in it.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np

from meshcomp.errors import OptionError, PartFileError
from meshcomp.meshes import Mesh
from meshcomp.parts import Part, Piece, Source
from meshcomp.scenario import driving, standing, turning
from meshcomp.scenario.truths import TrueFeature
from meshcomp.stands import stand

__all__ = ["TrueFeature", "demo_part", "demo_parts", "true_features", "write_scenario"]

_PARTS: dict[str, tuple[Callable[[], Mesh], Callable[[], tuple[TrueFeature, ...]]]] = {
    "indexing_wheel": (turning.indexing_wheel, turning.indexing_wheel_features),
    "bearing_plate": (standing.bearing_plate, standing.bearing_plate_features),
    "shaft_spacer": (turning.shaft_spacer, turning.shaft_spacer_features),
    "lobed_disc": (driving.lobed_disc, driving.lobed_disc_features),
    "pin_ring": (driving.pin_ring, driving.pin_ring_features),
    "pinion": (driving.pinion, driving.pinion_features),
    "stepper_bracket": (standing.stepper_bracket, standing.stepper_bracket_features),
    "knob": (turning.knob, turning.knob_features),
}


def demo_parts() -> dict[str, Mesh]:
    """Build all demo parts, by name, standing on z = 0 with Z up, in mm.

    Examples
    --------
    >>> sorted(demo_parts())[:3]
    ['bearing_plate', 'indexing_wheel', 'knob']
    """
    return {name: build() for name, (build, _) in _PARTS.items()}


def demo_part(name: str) -> Part:
    """Build one demo part, as if it had been read from a file.

    Parameters
    ----------
    name : str
        A key of `demo_parts`.

    Raises
    ------
    OptionError
        If there is no part of that name.

    Examples
    --------
    >>> demo_part("knob").mesh.bounds[0, 2].item()
    0.0
    """
    if name not in _PARTS:
        raise OptionError(f"no demo part {name!r}: there are {', '.join(_PARTS)}")
    return _part(name, _PARTS[name][0]())


def true_features(name: str) -> tuple[TrueFeature, ...]:
    """Return the features of size a demo part was built with.

    All bores and bosses are there; of walls and slots those whose size the part's
    docstring names, heights excepted.

    Parameters
    ----------
    name : str
        A key of `demo_parts`.

    Raises
    ------
    OptionError
        If there is no such part.

    Examples
    --------
    >>> [(each.kind, each.size) for each in true_features("shaft_spacer")]
    [('boss', 12.0), ('bore', 8.0)]
    """
    if name not in _PARTS:
        raise OptionError(
            f"no demo part is named {name!r}: give one of {', '.join(_PARTS)}"
        )
    return _PARTS[name][1]()


def write_scenario(directory: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write all demo parts as binary STL, the record of an invented printer, and the kit.

    Parameters
    ----------
    directory : str or path
        Where to write; made if it is not there.

    Returns
    -------
    paths : tuple of path
        The parts' files, and then `calibration.json` and `kit.toml`.

    Raises
    ------
    PartFileError
        If the directory cannot be made, or a file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     paths = write_scenario(folder)
    >>> [paths[n].name for n in (0, -2, -1)]
    ['indexing_wheel.stl', 'calibration.json', 'kit.toml']
    """
    from meshcomp.calibration.record import invented_calibration_path
    from meshcomp.files import write_part
    from meshcomp.files.atomic import save_atomically

    folder = _made(Path(directory))
    paths = []
    for name, mesh in demo_parts().items():
        paths.append(folder / f"{name}.stl")
        write_part(_part(name, mesh), paths[-1])
    paths.append(folder / "calibration.json")
    save_atomically(paths[-1], invented_calibration_path().read_bytes())
    paths.append(folder / "kit.toml")
    save_atomically(paths[-1], Path(__file__).with_name("kit.toml").read_bytes())
    return tuple(paths)


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise PartFileError(
            f"{folder} cannot be made a directory ({error.strerror}): choose another name"
        ) from error
    return folder


def _part(name: str, mesh: Mesh) -> Part:
    """Return a demo part as if it had been read from a file."""
    return Part(
        name=name,
        mesh=mesh,
        stand=stand("+Z"),
        stand_is_assumed=False,
        source=Source(
            path="meshcomp.scenario",
            format="stl",
            unit="mm",
            unit_origin="asked for",
            sha256="",
        ),
        pieces=(Piece(name=name),),
        piece_of_face=np.zeros(len(mesh.faces), np.int64),
    )
