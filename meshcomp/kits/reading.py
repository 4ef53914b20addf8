"""Kits from a kit file, or from all meshes of a folder."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from meshcomp._toml import TomlFile, read_toml
from meshcomp.errors import OptionError
from meshcomp.kits.entries import KitFile, MateEntry, PartEntry, limits_of
from meshcomp.kits.wholes import treatment
from meshcomp.mechanisms import Bought, Kit, KitPart, Mate, Reference
from meshcomp.standards import StandardPart, standard_part
from meshcomp.tolerances import Fit, Zone, parse_fit, parse_zone
from meshcomp.treatments import Treatment

__all__ = ["MESH_ENDINGS", "folder_kit", "read_kit"]

MESH_ENDINGS = (".stl", ".3mf", ".obj", ".ply")
_UNSAFE = re.compile(r'[/\\:*?"<>|\x00-\x1f]|^\.|^\s*$')


def read_kit(
    path: str | os.PathLike[str],
    *,
    calibration: str | os.PathLike[str] | None = None,
    out: str | os.PathLike[str] | None = None,
) -> Kit:
    r"""Read a kit file.

    Parameters
    ----------
    path : str or path
        A TOML file; the files it names are looked for from its folder.
    calibration, out : str or path, optional
        Take the place of what the file says for the whole kit.

    Raises
    ------
    OptionError
        If it is no kit file: the first problem with its line.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder, "kit.toml")
    ...     _ = file.write_text('calibration = "c.json"\n[[part]]\nfile = "wheel.stl"')
    ...     kit = read_kit(file)
    >>> kit.name, [part.name for part in kit.parts]
    ('kit', ['wheel'])
    """
    place = Path(path)
    text = read_toml(place)
    file = text.validated(KitFile)
    finder = _Finder(text)
    parts = finder.parts(file, None if calibration is None else Path(calibration))
    mates = finder.mates(file, {part.name for part in parts})
    return Kit(
        name=file.name or place.stem,
        source=str(place),
        out=place.parent / file.out if out is None else Path(out),
        parts=parts,
        mates=mates,
    )


def folder_kit(
    folder: str | os.PathLike[str],
    calibration: str | os.PathLike[str],
    *,
    out: str | os.PathLike[str] | None = None,
) -> Kit:
    """Make a kit of all meshes of a folder, in the order of their names.

    Parameters
    ----------
    folder : str or path
        Not searched in depth; hidden files and `NAME.compensated.EXT` are left out.
    calibration : str or path
    out : str or path, optional
        `compensated` in the folder unless said otherwise.

    Raises
    ------
    OptionError
        If it is no folder, or holds no mesh.

    Examples
    --------
    >>> import tempfile
    >>> import meshcomp
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     paths = meshcomp.write_scenario(folder)
    ...     kit = folder_kit(folder, calibration=paths[-2])
    >>> kit.parts[0].name
    'bearing_plate'
    """
    place = Path(folder)
    if not place.is_dir():
        raise OptionError(f"{place} is no folder: name the folder of the parts")
    files = sorted(each for each in place.iterdir() if _is_part(each))
    if not files:
        raise OptionError(
            f"{place}: holds no mesh ({', '.join(MESH_ENDINGS)}): name the folder of the "
            "parts, or a kit file"
        )
    names = _distinct(files)
    parts = [
        KitPart(name=name, path=each, calibration=Path(calibration))
        for name, each in zip(names, files, strict=True)
    ]
    return Kit(
        name=place.resolve().name,
        source=str(place),
        out=place / "compensated" if out is None else Path(out),
        parts=tuple(parts),
    )


def _is_part(path: Path) -> bool:
    is_mesh = path.suffix.lower() in MESH_ENDINGS and path.is_file()
    return is_mesh and not path.name.startswith(".") and ".compensated." not in path.name


def _distinct(files: Sequence[Path]) -> list[str]:
    """Name parts by their files, and where two would be equal by their endings too."""
    stems = [file.stem.lower() for file in files]
    return [
        file.stem if stems.count(file.stem.lower()) == 1 else file.name.replace(".", "-")
        for file in files
    ]


class _Finder:
    """Turns entries of a kit file into data, and knows their lines."""

    def __init__(self, text: TomlFile) -> None:
        self._text = text

    def parts(self, file: KitFile, calibration: Path | None) -> tuple[KitPart, ...]:
        """Return the parts, each with a name and a calibration of its own."""
        found: dict[str, KitPart] = {}
        for number, entry in enumerate(file.part):
            part = self._part(entry, file, calibration, number)
            if part.name.lower() in found:
                raise self._text.problem(
                    ("part", number, "name" if entry.name else "file"),
                    f"a second part is named {part.name!r}: give each its own name",
                )
            found[part.name.lower()] = part
        return tuple(found.values())

    def _part(
        self, entry: PartEntry, file: KitFile, calibration: Path | None, number: int
    ) -> KitPart:
        folder = self._text.path.parent
        own = entry.calibration or file.calibration
        name = entry.name or Path(entry.file).stem
        if _UNSAFE.search(name):
            raise self._text.problem(
                ("part", number, "name"),
                f"part {name!r} would name no file: choose another",
            )
        if calibration is None and own is None:
            raise self._text.problem(
                ("part", number),
                "no calibration: give one for the kit or for the part, or with -c",
            )
        return KitPart(
            name=name,
            path=folder / entry.file,
            calibration=calibration or folder / str(own),
            quantity=entry.quantity,
            up=entry.up,
            unit=entry.unit,
            repair=entry.repair,
            plan=None if entry.plan is None else folder / entry.plan,
            keep=tuple(entry.keep),
            sizes=tuple(entry.set.items()),
            targets=tuple(entry.target.items()),
            treatment=self._treatment(entry, file, number),
        )

    def _treatment(self, entry: PartEntry, file: KitFile, number: int) -> Treatment:
        """Return what is wanted beside sizes; refuse what stands alone or cannot be."""
        asked = treatment(file, entry)
        for key in ("groove_width", "groove_depth", "load"):
            if getattr(entry, key) is not None and not asked.seam_grooves:
                raise self._text.problem(
                    ("part", number, key),
                    f"{key} without a groove: give seam_groove, of the part or the kit",
                )
        width, depth = asked.groove_width, asked.groove_depth
        if width is not None and depth is not None and depth > width:
            place = ("part", number, "groove_depth")
            own = entry.groove_depth is not None
            raise self._text.problem(
                place if own else ("groove_depth",),
                f"groove_depth: {depth:g} mm is more than the width, {width:g} mm: take "
                "about a third of it",
            )
        return asked

    def mates(self, file: KitFile, parts: set[str]) -> tuple[Mate, ...]:
        """Return the mates."""
        return tuple(
            self._mate(entry, number, parts, file.probability)
            for number, entry in enumerate(file.mate)
        )

    def _mate(
        self, entry: MateEntry, number: int, parts: set[str], probability: float
    ) -> Mate:
        place = ("mate", number)
        fit = self._fit(entry, place)
        least, most = (fit.least_clearance, fit.most_clearance) if fit else limits_of(entry)
        if entry.flank is None:
            internal = self._side(entry.bore, entry.bought, (*place, "bore"), parts)
            external = self._side(entry.boss, entry.bought, (*place, "boss"), parts)
        else:
            internal = self._side(entry.flank, None, (*place, "flank"), parts)
            external = self._flank(entry, place, parts)
        return Mate(
            name=entry.name or f"{internal.in_words()} with {external.in_words()}",
            internal=internal,
            external=external,
            least=least,
            most=most,
            fit=fit.in_words() if fit else None,
            probability=entry.probability or probability,
            feel=entry.feel,
            gives_way=entry.aim or ("boss" if entry.bore is None else "bore"),
            is_gap=entry.flank is not None,
            aims=_aims(fit, entry.aim),
        )

    def _flank(
        self, entry: MateEntry, place: tuple[str | int, ...], parts: set[str]
    ) -> Reference | Bought:
        """Return what a flank faces: a printed one, a bought one, or the drawn one."""
        if entry.against is not None:
            return self._side(entry.against, None, (*place, "against"), parts)
        if entry.bought is None:
            return Bought(words="its counterpart as drawn", lower=0.0, upper=0.0)
        limits = self._zone(entry.bought, place, is_into_bore=True)[1]
        return Bought(
            words=entry.bought,
            lower=limits.lower_deviation / 2,
            upper=limits.upper_deviation / 2,
        )

    def _fit(self, entry: MateEntry, place: tuple[str | int, ...]) -> Fit | None:
        if entry.fit is None:
            return None
        try:
            return parse_fit(entry.fit)
        except OptionError as error:
            raise self._text.problem((*place, "fit"), str(error)) from error

    def _side(
        self,
        text: str | None,
        bought: str | None,
        place: tuple[str | int, ...],
        parts: Iterable[str],
    ) -> Reference | Bought:
        if text is None:
            return self._bought(str(bought), place)
        name, stroke, features = (piece.strip() for piece in text.partition("/"))
        if not stroke or not features:
            raise self._text.problem(
                place, f"{text!r} is no feature: give PART/FEATURE, such as wheel/bore-01"
            )
        if name not in parts:
            known = ", ".join(sorted(parts))
            raise self._text.problem(place, f"no part is named {name!r}: there are {known}")
        return Reference(part=name, features=features)

    def _bought(self, text: str, place: tuple[str | int, ...]) -> Bought:
        """Return the limits of a standard part, or of a size with its limits."""
        # It takes the place of the side that is missing.
        words, limits = self._zone(text, place[:-1], is_into_bore=place[-1] == "boss")
        return Bought(words=words, lower=limits.lower_limit, upper=limits.upper_limit)

    def _zone(
        self, text: str, place: tuple[str | int, ...], *, is_into_bore: bool
    ) -> tuple[str, Zone]:
        try:
            if not text[:1].isalpha():
                return text, parse_zone(text)
            part = standard_part(text)
            return part.name, _met(part, is_into_bore=is_into_bore)
        except OptionError as error:
            raise self._text.problem((*place, "bought"), str(error)) from error


def _met(part: StandardPart, *, is_into_bore: bool) -> Zone:
    """Return the size of a standard part that the printed side meets."""
    met = (part.outside or part.across) if is_into_bore else part.inside
    if met is None:
        side = "bore" if is_into_bore else "boss"
        raise OptionError(
            f"{part.name} has no size of its own for a {side}: say what the {side} shall "
            "be in the plan of its part, or give the counterpart's size with its limits"
        )
    return met


def _aims(fit: Fit | None, aim: Any) -> tuple[float | None, float | None]:
    """Return the middles of a fit's zones: what both sides shall print at."""
    if fit is None or aim == "none":
        return (None, None)
    return fit.hole.middle, fit.shaft.middle
