"""What press, slide and free mean on one bench, from its fit ladders."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from meshcomp.feels import FEELS, Feel
from meshcomp.measurements.readings import Reading

__all__ = ["feels_of"]

Felt = tuple[float, str]  # clearance in mm, word; no word: the pin did not go in


def feels_of(readings: Sequence[Reading]) -> tuple[tuple[Feel, ...], tuple[str, ...]]:
    """Return the clearances that each word stands for.

    A fit ladder is a piece with one bore and bosses of which some have a word of `FEELS`
    in the column note. Ring and pins must have been measured: the clearance is then that
    of the prints. A pin that was measured and has no word did not go in.

    Parameters
    ----------
    readings : sequence of Reading

    Returns
    -------
    feels : tuple of Feel
        From the tightest word to the loosest.
    notes : tuple of str
        What is doubtful about them.

    Examples
    --------
    >>> ring = Reading(piece="ladder", feature_id="R1", kind="bore", nominal_size=8.0,
    ...     mesh_size=8.0, values=(7.85,))
    >>> pins = [
    ...     Reading(piece="ladder", feature_id=f"P{k}", kind="boss", nominal_size=d,
    ...         mesh_size=d, values=(d,), note=word)
    ...     for k, (d, word) in enumerate([(7.9, ""), (7.85, "press"), (7.75, "slide")])
    ... ]
    >>> [(f.word, round(f.least, 3), round(f.most, 3)) for f in feels_of([ring, *pins])[0]]
    [('press', -0.025, 0.05), ('slide', 0.05, 0.1)]
    """
    felt = [
        each
        for piece in dict.fromkeys(r.piece for r in readings)
        for each in _felt([r for r in readings if r.piece == piece])
    ]
    clearances = {word: [c for c, w in felt if w == word] for word in FEELS}
    words = sorted(
        (word for word in FEELS if clearances[word]),
        key=lambda word: float(np.mean(clearances[word])),
    )
    outside = [c for c, w in felt if not w]
    found = tuple(
        _feel(k, words, clearances, outside if k == 0 else []) for k in range(len(words))
    )
    return found, tuple(_doubts(words, clearances))


def _felt(piece: Sequence[Reading]) -> list[Felt]:
    """Return the clearance and the word of each pin, if a piece is a ladder."""
    rings = [r for r in piece if r.kind == "bore" and r.values]
    pins = [r for r in piece if r.kind == "boss" and r.values]
    if len(rings) != 1 or not any(_word(pin) for pin in pins):
        return []
    ring = float(np.mean(rings[0].values))
    return [(ring - float(np.mean(pin.values)), _word(pin)) for pin in pins]


def _word(pin: Reading) -> str:
    word = pin.note.strip().lower()
    return word if word in FEELS else ""


def _feel(
    place: int, words: Sequence[str], clearances: dict[str, list[float]], blank: list[float]
) -> Feel:
    """Return one word's limits, halfway to its neighbours'."""
    own = clearances[words[place]]
    tighter = [c for c in blank if c < min(own)]
    before = clearances[words[place - 1]] if place else tighter
    least = (max(before) + min(own)) / 2 if before else min(own)
    most = max(own)
    if place + 1 < len(words):
        most = (most + min(clearances[words[place + 1]])) / 2
    return Feel(word=words[place], least=least, most=most, pins=len(own))


def _doubts(words: Sequence[str], clearances: dict[str, list[float]]) -> list[str]:
    found = []
    for tight, loose in pairwise(words):
        if max(clearances[tight]) > min(clearances[loose]):
            found.append(
                f"fit ladder: {tight} was felt up to {max(clearances[tight]):.3f} mm and "
                f"{loose} from {min(clearances[loose]):.3f} mm of clearance: the limit "
                "between them is doubtful; print another ladder"
            )
    order = [word for word in FEELS if word in words]
    if list(words) != order:
        found.append(
            f"fit ladder: from tight to loose it says {', '.join(words)}: look whether "
            "ring and pins were measured right"
        )
    return found
