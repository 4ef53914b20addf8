"""What mates want of the sizes in print: clearances by feel, and which side gives way."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from meshcomp.errors import OptionError
from meshcomp.feels import Feel
from meshcomp.kits.selecting import selected
from meshcomp.kits.tasks import Survey, Wish
from meshcomp.mechanisms import Bought, FeatureOutcome, KitPart, Mate, Reference

__all__ = ["felt", "looked_for", "wishes_of", "with_aims"]


def felt(mate: Mate, feels: Mapping[str, Sequence[Feel]]) -> Mate:
    """Return a mate with the clearances by which its word for feel is known.

    Parameters
    ----------
    mate : Mate
    feels : mapping of str to sequence of Feel
        What the calibration of each part recorded, by the part's name.

    Raises
    ------
    OptionError
        If the calibration of its first printed side does not know the word.
    """
    if mate.feel is None:
        return mate
    sides = (mate.internal, mate.external)
    part = next(side.part for side in sides if isinstance(side, Reference))
    for feel in feels[part]:
        if feel.word == mate.feel:
            return replace(mate, least=feel.least, most=feel.most)
    known = ", ".join(feel.word for feel in feels[part]) or "none"
    raise OptionError(
        f"mate {mate.name!r}: the calibration of {part} does not know how {mate.feel} "
        f"feels (it knows: {known}): print and judge a fit ladder (meshcomp testpiece "
        "fit-ladder), or give clearance"
    )


def looked_for(mates: Iterable[Mate]) -> set[str]:
    """Return the parts whose sizes have to be known before mates can aim."""
    return {side.part for mate in mates if (side := _fixed_side(mate)) is not None}


def with_aims(mates: Sequence[Mate], surveys: Mapping[str, Survey]) -> tuple[Mate, ...]:
    """Give each mate the sizes that it wants in print.

    A mate that makes one side suit the other goes by what the mates before it, and all
    those with a fit, want of that other side.
    """
    found = list(mates)
    for number, mate in enumerate(mates):
        others = found[:number] + found[number + 1 :]
        found[number] = _with_aims(mate, surveys, others)
    return tuple(found)


def _fixed_side(mate: Mate) -> Reference | None:
    """Return the printed side to whose size the other is made, if there is one."""
    if not _needs_aim(mate) or mate.is_gap:
        return None
    side = mate.external if mate.gives_way == "bore" else mate.internal
    return side if isinstance(side, Reference) else None


def _needs_aim(mate: Mate) -> bool:
    is_free = mate.gives_way != "none" and mate.middle is not None
    return is_free and mate.aims == (None, None)


def _with_aims(mate: Mate, surveys: Mapping[str, Survey], others: list[Mate]) -> Mate:
    """Aim the side that gives way at the middle of the clearance asked for."""
    if not _needs_aim(mate):
        return mate
    if mate.is_gap:
        return replace(mate, aims=_gaps(mate))
    is_bore = mate.gives_way == "bore"
    size = _size_of(mate.external if is_bore else mate.internal, surveys, others)
    if size is None:
        return mate
    middle = mate.middle or 0.0
    return replace(mate, aims=(size + middle, None) if is_bore else (None, size - middle))


def _gaps(mate: Mate) -> tuple[float | None, float | None]:
    """Share the gap per flank between the flanks that are printed."""
    middle = mate.middle or 0.0
    if isinstance(mate.external, Reference):
        return middle / 2, middle / 2
    return middle + (mate.external.lower + mate.external.upper) / 2, None


def _size_of(
    side: Reference | Bought, surveys: Mapping[str, Survey], others: list[Mate]
) -> float | None:
    """Return the size in print of the side that stays as it is planned."""
    if isinstance(side, Bought):
        return (side.lower + side.upper) / 2
    features = surveys[side.part].features
    try:
        feature = selected(features, side.features, side.part)[0]
    except OptionError:
        return None  # the judgement of the mate says so
    wished = [
        size
        for other in others
        for each, size in zip((other.internal, other.external), other.aims, strict=True)
        if size is not None and _means(each, side.part, feature, features)
    ]
    return wished[0] if wished and not feature.is_fixed else _planned(feature)


def _means(
    side: Reference | Bought,
    part: str,
    feature: FeatureOutcome,
    features: tuple[FeatureOutcome, ...],
) -> bool:
    """Whether a side of another mate is, among others, this feature."""
    if not isinstance(side, Reference) or side.part != part:
        return False
    try:
        return feature in selected(features, side.features, part)
    except OptionError:
        return False


def _planned(feature: FeatureOutcome) -> float | None:
    if feature.state == "left alone" and feature.printed_size is not None:
        return feature.printed_size
    return feature.target_size


def wishes_of(part: KitPart, mates: Iterable[Mate]) -> tuple[Wish, ...]:
    """Return what the mates want of a part, in the order of the mates."""
    return tuple(
        Wish(features=side.features, size=size, is_gap=mate.is_gap, mate=mate.name)
        for mate in mates
        for side, size in zip((mate.internal, mate.external), mate.aims, strict=True)
        if isinstance(side, Reference) and side.part == part.name and size is not None
    )
