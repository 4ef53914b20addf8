"""What the features of a part may be for, by their sizes: questions, not answers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from meshcomp.features import Feature
from meshcomp.inspections import Inspection
from meshcomp.standards import BEARINGS, CLEARANCE_HOLES, DOWELS, INSERT_HOLES, NUTS
from meshcomp.standards.fasteners import SERIES, self_tapping_hole

__all__ = ["Guess", "Suggestion", "suggestions"]

_NEAR = 0.051  # mm: drawn sizes nearer than this to a listed one may mean it
_MOST_GUESSES = 7
_TAPPED = ("M2", "M2.5", "M3", "M4", "M5", "M6")  # larger ones want an insert


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """One thing that a feature may be for, and how a plan file says it."""

    question: str  # "clearance for an M6 screw, medium (ISO 273)?"
    keys: tuple[tuple[str, str], ...]  # of the intent, values as TOML


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Suggestion:
    """Features of one kind and size, and what they may be for; likeliest first."""

    features: tuple[Feature, ...]
    guesses: tuple[Guess, ...]

    @property
    def pick(self) -> str:
        """How a plan file names these features."""
        first = self.features[0]
        if first.nominal_size is None:
            return first.id
        return f"{first.kind} {round(first.nominal_size, 2):g}"


def suggestions(inspection: Inspection) -> tuple[Suggestion, ...]:
    """Guess what the features of a part are for.

    Parameters
    ----------
    inspection : Inspection

    Returns
    -------
    tuple of Suggestion
        One for each kind and size, in the order of the features; every profile has its
        own.

    Examples
    --------
    >>> import meshcomp
    >>> found = meshcomp.inspect(meshcomp.demo_part("bearing_plate"))
    >>> seat = next(s for s in suggestions(found) if s.pick == "bore 22")
    >>> seat.guesses[0].question
    'seat of a bearing 608 or 6900 or 627 (ISO 15)?'
    """
    groups: dict[tuple[str, str], list[Feature]] = {}
    for feature in inspection.features:
        if feature.kind == "distance":
            continue
        size = feature.nominal_size
        key = feature.id if size is None else f"{size:.2f}"
        groups.setdefault((feature.kind, key), []).append(feature)
    return tuple(
        Suggestion(
            features=tuple(features),
            guesses=tuple(_guesses(features[0]))[:_MOST_GUESSES],
        )
        for features in groups.values()
    )


def _guesses(feature: Feature) -> Iterator[Guess]:
    size = feature.nominal_size
    if size is None:
        yield from _of_profile()
    elif feature.kind == "bore":
        yield from _of_bore(size)
    elif feature.kind == "boss":
        yield from _of_boss(size)
    elif feature.kind == "slot":
        yield from _of_slot(size)


def _text(value: str) -> str:
    return f'"{value}"'


def _of_profile() -> Iterator[Guess]:
    yield Guess(
        question="meshes with another toothed or lobed part? gap per flank, mm:",
        keys=(("gap", "[0.03, 0.10]"),),
    )


def _of_bore(size: float) -> Iterator[Guess]:
    yield from _bearing(size, place=1, feel="press", words="seat of a bearing")
    yield from _screws(size)
    yield from _dowels(size)
    yield from _inserts(size)
    yield from _self_tapping(size)
    yield _mating("runs on a shaft", size, "h6", "shaft")
    yield Guess(question="a hole for something else?", keys=(("tolerance", '"H11"'),))


def _of_boss(size: float) -> Iterator[Guess]:
    yield from _bearing(size, place=0, feel="slide", words="seat in the bore of a bearing")
    yield _mating("turns in a hole", size, "H7", "hole")
    yield Guess(question="a shaft for something else?", keys=(("tolerance", '"h11"'),))


def _mating(words: str, size: float, class_: str, name: str) -> Guess:
    """Guess a made counterpart of the same nominal size."""
    shown = f"{round(size, 2):g}"
    return Guess(
        question=f"{words} of {shown} mm, not printed?",
        keys=(
            ("counterpart", _text(f"{shown} {class_}")),
            ("name", _text(name)),
            ("feel", _text("slide")),
        ),
    )


def _of_slot(size: float) -> Iterator[Guess]:
    for thread, (across, _, _) in NUTS.items():
        if abs(size - across) <= _NEAR or 0 < size - across <= 4 * _NEAR:
            yield Guess(
                question=f"pocket for a nut {thread} (ISO 4032, {across:g} mm)?",
                keys=(("part", _text(f"nut {thread}")), ("clearance", "[0.05, 0.25]")),
            )


def _bearing(size: float, *, place: int, feel: str, words: str) -> Iterator[Guess]:
    names = [name for name, sizes in BEARINGS.items() if abs(sizes[place] - size) <= _NEAR]
    if not names:
        return
    shown = " or ".join(names[:4]) + (" or others" if len(names) > 4 else "")  # noqa: PLR2004
    yield Guess(
        question=f"{words} {shown} (ISO 15)?",
        keys=(("part", _text(f"bearing {names[0]}")), ("feel", _text(feel))),
    )


def _screws(size: float) -> Iterator[Guess]:
    for thread, sizes in CLEARANCE_HOLES.items():
        for series, hole in zip(SERIES, sizes, strict=True):
            if abs(size - hole) <= _NEAR:
                yield Guess(
                    question=f"clearance for an {thread} screw, {series} (ISO 273)?",
                    keys=(("part", _text(f"screw {thread} {series}")),),
                )


def _dowels(size: float) -> Iterator[Guess]:
    for diameter in DOWELS["ISO 2338"]:
        if abs(size - diameter) <= _NEAR:
            yield Guess(
                question=f"hole for a dowel of {diameter:g} mm (ISO 2338 m6)?",
                keys=(("part", _text(f"dowel {diameter:g}")), ("feel", _text("press"))),
            )


def _inserts(size: float) -> Iterator[Guess]:
    for thread, (hole, _) in INSERT_HOLES.items():
        if abs(size - hole) <= 2 * _NEAR:
            yield Guess(
                question=f"threaded insert {thread} (common practice)?",
                keys=(("part", _text(f"insert {thread}")),),
            )


def _self_tapping(size: float) -> Iterator[Guess]:
    for thread in _TAPPED:
        hole = self_tapping_hole(thread)
        if hole.lower_limit <= size <= hole.upper_limit:
            yield Guess(
                question=f"an {thread} screw that cuts its thread (common practice)?",
                keys=(("part", _text(f"self-tapping {thread}")),),
            )
