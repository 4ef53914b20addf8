"""What may be chosen for a feature: lists of intents, and how a plan file says them."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from meshcomp.features import Feature
from meshcomp.feels import Feel
from meshcomp.intents.statements import (
    Counterpart,
    HeightWish,
    Intent,
    Intents,
    Pick,
)
from meshcomp.standards import BEARINGS, CLEARANCE_HOLES, DOWELS, INSERT_HOLES, NUTS
from meshcomp.standards.fasteners import SERIES
from meshcomp.tolerances import parse_zone

__all__ = ["Choice", "choices", "head_of", "keys_of", "toml_keys"]

_NEAR = 0.6  # mm: parts further off are not listed
_TAPPED = ("M2", "M2.5", "M3", "M4", "M5", "M6")  # larger ones want an insert
_CLASSES = {
    "bore": "H6 H7 H8 H9 H10 H11 G7 F8 E9 D10 C11 JS7 K7 M7 N7 P7",
    "boss": "h6 h7 h8 h9 h10 h11 g6 f7 e8 d9 c11 js6 k6 m6 n6 p6",
    "slot": "H8 H9 H10 H11 H12 D10 JS9 N9 P9",
    "wall": "h8 h9 h10 h11 h12 js9 js11",
}
_SEATS = {"bore": ("H7", "K7", "N7"), "boss": ("h6", "k6")}
_PARTS, _CLASS, _OWN = "standard part", "tolerance class, ISO 286-1", "by hand"


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One intent that a list offers; `typed` names a value that is still to be given."""

    group: str
    label: str
    keys: Mapping[str, Any]  # of an intent in a plan file
    typed: str | None = None  # "size", "clearance" or "gap"

    def intent(self, feature_id: str) -> Intent:
        """Return the intent, for one feature."""
        known = dict(self.keys)
        counterpart = known.pop("counterpart", None)
        if counterpart is not None:
            zone = parse_zone(counterpart)
            known["counterpart"] = Counterpart(zone=zone, name=zone.in_words())
        for key in ("clearance", "gap"):
            if key in known:
                known[key] = tuple(known[key])
        return Intent(pick=Pick(names=(feature_id,)), place="the report", **known)


def choices(feature: Feature, feels: Sequence[Feel] = ()) -> tuple[Choice, ...]:
    """Return what may be chosen for a feature, by its kind and size.

    Parameters
    ----------
    feature : Feature
    feels : sequence of Feel
        What the calibration recorded of press, slide and free.

    Examples
    --------
    >>> import meshcomp
    >>> found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    >>> seat = next(f for f in found.features if f.id == "bore-04")
    >>> [c.label for c in choices(seat) if c.label.startswith("bearing 608")]
    ['bearing 608, seat H7', 'bearing 608, seat K7', 'bearing 608, seat N7']
    """
    if feature.nominal_size is None:
        gap = Choice(group=_OWN, label="gap per flank", keys={"gap": [0, 0]}, typed="gap")
        return (_KEEP, gap)
    words = [feel.word for feel in feels]
    return (
        _KEEP,
        *_parts(feature.kind, feature.nominal_size, words),
        *_classes(feature.kind),
        *_typed(feature.kind, feature.nominal_size),
    )


_KEEP = Choice(group=_OWN, label="leave as it is", keys={"keep": True})


def _parts(kind: str, size: float, feels: Sequence[str]) -> Iterator[Choice]:
    for name in _inserted(kind, size):
        yield from _seats(name, kind, feels)
    if kind == "bore":
        for name in _holes(size):
            yield Choice(group=_PARTS, label=name, keys={"part": name})
    if kind == "slot":
        yield from _nuts(size)


def _inserted(kind: str, size: float) -> Iterator[str]:
    """Name what could be pressed or slid into a bore, or onto a boss."""
    if kind in _SEATS:
        for name, sizes in sorted(BEARINGS.items()):
            if abs(size - sizes[1 if kind == "bore" else 0]) <= _NEAR:
                yield f"bearing {name}"
    if kind == "bore":
        for diameter in DOWELS["ISO 2338"]:
            if abs(size - diameter) <= _NEAR / 2:
                yield f"dowel {diameter:g}"


def _nuts(size: float) -> Iterator[Choice]:
    for thread, (across, _, _) in NUTS.items():
        if abs(size - across) <= _NEAR:
            keys = {"part": f"nut {thread}", "clearance": [0.05, 0.25]}
            label = f"nut {thread}, clearance 0.05 to 0.25"
            yield Choice(group=_PARTS, label=label, keys=keys)


def _seats(name: str, kind: str, feels: Sequence[str]) -> Iterator[Choice]:
    for word in feels:
        yield Choice(
            group=_PARTS, label=f"{name}, {word}", keys={"part": name, "feel": word}
        )
    for class_ in _SEATS[kind]:
        keys = {"part": name, "tolerance": class_}
        yield Choice(group=_PARTS, label=f"{name}, seat {class_}", keys=keys)


def _holes(size: float) -> Iterator[str]:
    for thread, sizes in CLEARANCE_HOLES.items():
        for series, hole in zip(SERIES, sizes, strict=True):
            if abs(size - hole) <= _NEAR:
                yield f"screw {thread} {series}"
    for thread, (hole, _) in INSERT_HOLES.items():
        if abs(size - hole) <= _NEAR:
            yield f"insert {thread}"
    for thread in _TAPPED:
        if abs(size - 0.85 * float(thread[1:])) <= _NEAR:
            yield f"self-tapping {thread}"


def _classes(kind: str) -> Iterator[Choice]:
    for class_ in _CLASSES.get(kind, "").split():
        yield Choice(group=_CLASS, label=class_, keys={"tolerance": class_})


def _typed(kind: str, size: float) -> Iterator[Choice]:
    if kind in {"bore", "boss", "slot"}:
        other = f"{round(size, 3):g} {'H7' if kind == 'boss' else 'h6'}"
        keys = {"counterpart": other, "clearance": [0, 0]}
        label = f"clearance from {other}"
        yield Choice(group=_OWN, label=label, keys=keys, typed="clearance")
    yield Choice(group=_OWN, label="size in print", keys={"size": size}, typed="size")


def keys_of(intent: Intent) -> dict[str, Any]:
    """Return an intent as the keys of a plan file, but for its pick."""
    keys: dict[str, Any] = {"keep": True} if intent.keep else {}
    for key in ("tolerance", "size", "part", "feel", "aim", "probability", "hub_diameter"):
        if getattr(intent, key) is not None:
            keys[key] = getattr(intent, key)
    for key in ("clearance", "gap"):
        ends = getattr(intent, key)
        if ends is not None:
            keys[key] = ends[0] if ends[0] == ends[1] else list(ends)
    if intent.counterpart is not None:
        keys["counterpart"] = intent.counterpart.zone.in_words()
        keys["name"] = intent.counterpart.name
    return keys


def toml_keys(keys: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Return keys with their values as TOML.

    Examples
    --------
    >>> toml_keys({"part": "screw M4", "clearance": [0.02, 0.1]})
    (('part', '"screw M4"'), ('clearance', '[0.02, 0.1]'))
    """
    # What JSON writes of texts, numbers, lists and truth is TOML, too.
    return tuple((key, json.dumps(value)) for key, value in keys.items())


def head_of(intents: Intents | None) -> str:
    """Return the head of a plan file: what holds for all of its intents."""
    lines = ["schema = 1"]
    if intents is not None:
        lines.append(f"probability = {intents.probability!r}")
        if intents.material is not None:
            lines += ["", "[material]", *_material(intents)]
        for load in intents.loads:
            lines += ["", "[[load]]", *_pick_line(load.pick), f"towards = {load.towards!r}"]
        for each in intents.heights:
            lines += ["", "[[height]]", *_height(each)]
    return "\n".join(lines) + "\n"


def _height(wish: HeightWish) -> Iterator[str]:
    yield from _pick_line(wish.pick)
    if wish.between is not None:
        yield f"between = {json.dumps(list(wish.between))}"
    yield f"tolerance = {json.dumps(wish.tolerance)}"


def _pick_line(pick: Pick | None) -> Iterator[str]:
    """Return the setting of a pick as a plan file has it."""
    if pick is None:
        return
    if pick.names:
        yield f"pick = {json.dumps(list(pick.names))}"
        return
    keys = ("kind", "size", "near", "within", "group")
    stated = {key: getattr(pick, key) for key in keys if getattr(pick, key) is not None}
    pairs = (f"{key} = {json.dumps(value)}" for key, value in stated.items())
    yield f"pick = {{ {', '.join(pairs)} }}"


def _material(intents: Intents) -> Iterator[str]:
    material = intents.material
    for key in ("name", "modulus", "poisson", "allowable_stress"):
        value = getattr(material, key)
        if value is not None:
            yield f"{key} = {json.dumps(value)}"
