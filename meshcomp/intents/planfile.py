"""Plan files: what each feature is for, in TOML, checked with the line of every problem."""

from __future__ import annotations

import hashlib
import os
from typing import Any

from meshcomp._toml import TomlFile, read_toml
from meshcomp.errors import OptionError
from meshcomp.intents.entries import HeightTable, IntentTable, PickTable, PlanFile
from meshcomp.intents.statements import (
    Counterpart,
    HeightWish,
    Intent,
    Intents,
    Load,
    Pick,
)
from meshcomp.presses import Material
from meshcomp.standards import standard_part
from meshcomp.tolerances import parse_zone, zone_at

__all__ = ["read_plan"]

_ANY_LENGTH = 10.0  # mm


def read_plan(path: str | os.PathLike[str]) -> Intents:
    r"""Read a plan file.

    Parameters
    ----------
    path : str or path
        A TOML file as described in docs/plans.md; `meshcomp inspect PART --plan-template`
        writes one to begin with.

    Returns
    -------
    Intents

    Raises
    ------
    OptionError
        If it cannot be read or is no plan; the message names the file and the line.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder, "plan.toml")
    ...     _ = file.write_text('schema = 1\n[[intent]]\npick = "bore-01"\n'
    ...         'part = "bearing 608"\nfeel = "press"\n')
    ...     read_plan(file).intents[0].part
    'bearing 608'
    """
    text = read_toml(path)
    file = text.validated(PlanFile)
    intents = tuple(
        _intent(text, number, table) for number, table in enumerate(file.intent)
    )
    material = None if file.material is None else Material(**file.material.model_dump())
    return Intents(
        source=str(text.path),
        sha256=hashlib.sha256(text.text.encode()).hexdigest(),
        intents=intents,
        heights=_heights(text, file),
        loads=_loads(text, file),
        probability=file.probability,
        material=material,
    )


def _intent(text: TomlFile, number: int, table: IntentTable) -> Intent:
    place = ("intent", number)
    known: dict[str, Any] = {
        key: getattr(table, key)
        for key in ("tolerance", "size", "part", "feel", "aim", "probability")
    }
    return Intent(
        pick=_pick(table.pick),
        place=f"{text.path}, line {text.line_of(place)}",
        keep=bool(table.keep),
        counterpart=_counterpart(text, number, table),
        clearance=_clearance(table),
        gap=_range(table.gap),
        hub_diameter=table.hub_diameter,
        **known,
    )


def _heights(text: TomlFile, file: PlanFile) -> tuple[HeightWish, ...]:
    return tuple(
        HeightWish(
            pick=None if table.pick is None else _pick(table.pick),
            between=_range(table.between),
            tolerance=_checked_tolerance(text, number, table),
            place=f"{text.path}, line {text.line_of(('height', number))}",
        )
        for number, table in enumerate(file.height)
    )


def _checked_tolerance(text: TomlFile, number: int, table: HeightTable) -> str:
    """Check here what needs no part: that it is a class or limits."""
    try:
        zone_at(_ANY_LENGTH, table.tolerance)
    except OptionError as error:
        place = ("height", number, "tolerance")
        raise text.problem(place, f"tolerance: {error}") from error
    return table.tolerance


def _loads(text: TomlFile, file: PlanFile) -> tuple[Load, ...]:
    return tuple(
        Load(
            pick=None if table.pick is None else _pick(table.pick),
            towards=table.towards % 360.0,
            place=f"{text.path}, line {text.line_of(('load', number))}",
        )
        for number, table in enumerate(file.load)
    )


def _pick(table: PickTable) -> Pick:
    return Pick(
        names=tuple(table.names or ()),
        kind=table.kind,
        size=table.size,
        near=None if table.near is None else tuple(table.near),
        within=table.within,
        group=table.group,
    )


def _counterpart(text: TomlFile, number: int, table: IntentTable) -> Counterpart | None:
    """Return the counterpart that is stated; check here that a standard part exists."""
    key = "counterpart" if table.part is None else "part"
    try:
        if table.part is not None:
            standard_part(table.part)
        if table.counterpart is None:
            return None
        zone = parse_zone(table.counterpart)
    except OptionError as error:
        raise text.problem(("intent", number, key), f"{key}: {error}") from error
    return Counterpart(zone=zone, name=table.name or zone.in_words())


def _range(value: list[float] | None) -> tuple[float, float] | None:
    return None if value is None else (value[0], value[1])


def _clearance(table: IntentTable) -> tuple[float, float] | None:
    """Return the clearance wanted: an interference is one below zero."""
    interference = _range(table.interference)
    if interference is None:
        return _range(table.clearance)
    return -interference[1], -interference[0]
