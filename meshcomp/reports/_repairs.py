"""What was repaired when a part was read, in words."""

from __future__ import annotations

from meshcomp.parts import Part, Repair
from meshcomp.reports._numbers import count

__all__ = ["repair_sentences"]

_SENTENCES = {
    "repeated faces": (
        "{n} that stood in the file twice {was} dropped",
        ("face", "faces"),
    ),
    "cracks": (
        "{n} of rims a hair apart {was} joined to close cracks",
        ("point", "points"),
    ),
    "faces turned": (
        "{n} {was} turned over to look the way the others do",
        ("face", "faces"),
    ),
    "slits": (
        "{n} without width {was} closed",
        ("slit or T-junction", "slits and T-junctions"),
    ),
    "holes": (
        "{n} {was} filled: compare the picture with the part",
        ("small hole", "small holes"),
    ),
    "faces without area": (
        "{n} without area {was} taken up by neighbours",
        ("face", "faces"),
    ),
    "sheets": ("{n} that enclose nothing {was} dropped", ("stray face", "stray faces")),
    "bodies turned": ("{n} inside out {was} turned over", ("surface", "surfaces")),
    "bodies united": (
        "{n} {was} united with the bodies that they overlap",
        ("body", "bodies"),
    ),
    "faces joined": (
        "{n} that only divided a plane {was} joined with the others there",
        ("face", "faces"),
    ),
    "overlaps left": (
        "{n} that overlap {was} left as they are, since no sound union was found",
        ("body", "bodies"),
    ),
}


def repair_sentences(part: Part) -> tuple[str, ...]:
    """Return a sentence for each kind of repair.

    Examples
    --------
    >>> from meshcomp.reports._repairs import _sentence
    >>> _sentence(Repair(kind="bodies turned", count=1))
    '1 surface inside out was turned over.'
    """
    return tuple(_sentence(repair) for repair in part.repairs)


def _sentence(repair: Repair) -> str:
    words, nouns = _SENTENCES[repair.kind]
    was = "was" if repair.count == 1 else "were"
    return words.format(n=count(repair.count, *nouns), was=was) + "."
