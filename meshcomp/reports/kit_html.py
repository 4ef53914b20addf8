"""A kit as one HTML page that needs nothing else: parts, mates with pictures, features."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from statistics import median
from typing import Any
from urllib.parse import quote

from meshcomp.mechanisms import FeatureOutcome, KitOutcome, MateOutcome, PartOutcome
from meshcomp.reports import _numbers as numbers
from meshcomp.reports._kit_words import (
    kit_cautions,
    kit_verdict,
    mate_state,
    part_state,
    shortfalls,
    sides,
    together,
)
from meshcomp.reports._pages import page, script

__all__ = ["kit_html"]

_FAR = 3.0  # times the median reach: mates beyond are drawn about their own middle
_LEAST_WIDTH = 0.1  # of a picture, mm
_MARGIN = 0.08  # of the picture's width, beside the widest mate
_WIDTH = 360.0  # of a picture, its own units
_MARKS = {
    "proved": "\N{CHECK MARK}",
    "as asked": "\N{CHECK MARK}",
    "held back": "\N{BLACK UP-POINTING TRIANGLE}",
    "unknown": "?",
}


def kit_html(outcome: KitOutcome) -> str:
    """Return what became of a kit as one self-contained HTML page.

    Parameters
    ----------
    outcome : KitOutcome
        As from `meshcomp.kits.making.make_kit`.

    Returns
    -------
    str
        HTML 5 with inline style and inline SVG; everything that came from a file is
        escaped. Links lead to the reports of the parts, which stand beside it.
    """
    return page("kit.html.j2").render(
        kit=outcome.kit,
        version=outcome.version,
        verdict=kit_verdict(outcome),
        figures=_figures(outcome),
        parts=[_part(part, outcome.kit.out) for part in outcome.parts],
        mates=_mates(outcome.mates),
        has_gaps=any(each.mate.is_gap for each in outcome.mates),
        together=together(outcome),
        shortfalls=list(shortfalls(outcome)),
        doubts=_doubts(outcome.parts),
        cautions=kit_cautions(outcome),
        script=script("kit.min.js"),
    )


def _figures(outcome: KitOutcome) -> list[dict[str, str]]:
    parts, mates = outcome.parts, outcome.mates
    proved = sum(part.is_proved for part in parts)
    copies = sum(part.quantity for part in parts)
    features = sum(len(part.features) for part in parts)
    figures = [
        _figure("Parts proved", f"{proved} of {len(parts)}", f"{copies} to print"),
        _figure("Features", f"{features:,}", "in all parts"),
    ]
    if mates:
        sure = sum(mate.conforms for mate in mates)
        figures += [
            _figure("Mates as asked", f"{sure} of {len(mates)}", "as sure as asked"),
            _least_sure(mates),
        ]
    if outcome.all_fit is not None:
        value = f"{numbers.tenths(outcome.all_fit)} %"
        figures.append(_figure("All pairs at once", value, "their errors in common"))
    return figures


def _figure(name: str, value: str, note: str) -> dict[str, str]:
    return {"name": name, "value": value, "note": note}


def _least_sure(mates: Sequence[MateOutcome]) -> dict[str, str]:
    known = [(mate.worst.fits, mate.mate.name) for mate in mates if mate.worst is not None]
    if not known:
        return _figure("Least sure pair", numbers.DASH, "nothing can be told")
    fits, name = min(known)
    return _figure("Least sure pair", f"{numbers.tenths(fits)} %", name)


def _part(part: PartOutcome, folder: Path) -> dict[str, Any]:
    state = part_state(part)
    changed = sum(feature.state != "left alone" for feature in part.features)
    return {
        "name": part.name,
        "source": part.source,
        "quantity": str(part.quantity),
        "changed": numbers.DASH if part.error else f"{changed} of {len(part.features)}",
        "state": state,
        "mark": _MARKS.get(state, "\N{MULTIPLICATION X}"),
        "is_bad": not part.conforms,
        "words": part.error or part.verdict,
        "written": part.written,
        "sha256": part.written_sha256,
        "report": None if part.report is None else _link(part.report, folder),
        "features": [_feature(feature) for feature in part.features],
    }


def _link(path: str, folder: Path) -> str:
    place = Path(path)
    inside = place.is_relative_to(folder)
    return quote((place.relative_to(folder) if inside else place).as_posix())


def _feature(feature: FeatureOutcome) -> dict[str, str | None]:
    return {
        "id": feature.id,
        "nominal": numbers.size(feature.nominal_size),
        "target": numbers.size(feature.target_size),
        "mesh": numbers.size(feature.mesh_size),
        "offset": numbers.signed(feature.offset),
        "printed": numbers.size(feature.printed_size),
        "low": numbers.size(feature.low),
        "high": numbers.size(feature.high),
        "state": feature.state,
        "reason": feature.reason,
        "intent": feature.intent,
        "shortfall": feature.shortfall,
    }


def _mates(mates: Sequence[MateOutcome]) -> list[dict[str, Any]]:
    """Return the cells and the picture of each mate, all pictures to one scale."""
    scale = _Scale(mates)
    return [_mate(mate, scale) for mate in mates]


def _mate(outcome: MateOutcome, scale: _Scale) -> dict[str, Any]:
    mate, pair = outcome.mate, outcome.worst
    state = mate_state(outcome)
    return {
        "name": mate.name,
        "sides": sides(outcome),
        "fit": mate.fit or mate.feel,
        "least": numbers.signed(mate.least),
        "most": numbers.signed(mate.most),
        "probability": numbers.percent(mate.probability),
        "pairs": str(outcome.copies) if pair else numbers.DASH,
        "mean": numbers.signed(round(pair.mean, 6) if pair else None),
        "low": numbers.signed(pair.low if pair else None),
        "high": numbers.signed(pair.high if pair else None),
        "assembles": _chance(pair.assembles if pair else None, mate.least),
        "tight": _chance(pair.is_tight if pair else None, mate.most),
        "fits": numbers.DASH if pair is None else f"{numbers.tenths(pair.fits)} %",
        "sorted": _sorted_by(outcome),
        "correlation": pair.correlation if pair else 0.0,
        "state": state.lower(),
        "mark": _MARKS.get(state, "\N{MULTIPLICATION X}"),
        "is_bad": not outcome.conforms,
        "notes": [*outcome.notes, *([outcome.unknown] if outcome.unknown else [])],
        "picture": scale.picture(outcome),
    }


def _sorted_by(outcome: MateOutcome) -> dict[str, float | None]:
    """Return what the columns of a mate are sorted by, in full; None stays last."""
    pair, mate = outcome.worst, outcome.mate
    return {
        "asked": mate.least if mate.least is not None else mate.most,
        "mean": pair.mean if pair else None,
        "assembles": pair.assembles if pair and mate.least is not None else None,
        "tight": pair.is_tight if pair and mate.most is not None else None,
        "fits": pair.fits if pair else None,
    }


def _chance(probability: float | None, limit: float | None) -> str:
    if probability is None or limit is None:
        return numbers.DASH
    return f"{numbers.tenths(probability)} %"


class _Scale:
    """One scale of clearances for the pictures of all mates.

    Zero stands in one place in all of them, but for mates far off the others, such as a
    wide play: they are drawn to the same scale about their own middle, without a zero.
    """

    def __init__(self, mates: Sequence[MateOutcome]) -> None:
        reaches = [_ends(mate) for mate in mates if mate.worst is not None]
        far = [max(abs(end) for end in ends) for ends in reaches]
        most = _FAR * median(far) if far else 0.0
        near = [ends for ends, each in zip(reaches, far, strict=True) if each <= most]
        ends = [0.0, *(end for each in near for end in each)]
        widest = max((max(each) - min(each) for each in reaches), default=0.0)
        self._low = min(ends)
        self._high = max(*ends, self._low + widest, self._low + _LEAST_WIDTH)

    def _at(self, clearance: float) -> float:
        share = (clearance - self._low) / (self._high - self._low)
        return _WIDTH * (_MARGIN + (1 - 2 * _MARGIN) * share)

    def picture(self, outcome: MateOutcome) -> dict[str, float | None] | None:
        """Return the places of a mate's limits and of the clearance it will have."""
        pair, mate = outcome.worst, outcome.mate
        if pair is None:
            return None
        ends = _ends(outcome)
        is_near = self._low <= min(ends) and max(ends) <= self._high
        middle = (min(ends) + max(ends) - self._low - self._high) / 2
        shift = 0.0 if is_near else middle

        def at(clearance: float) -> float:
            return self._at(clearance - shift)

        least = 0.0 if mate.least is None else at(mate.least)
        most = _WIDTH if mate.most is None else at(mate.most)
        return {
            "width": _WIDTH,
            "zero": at(0.0) if is_near else None,
            "least": least,
            "allowed": most - least,
            "low": at(pair.low),
            "mean": at(pair.mean),
            "high": at(pair.high),
        }


def _ends(outcome: MateOutcome) -> list[float]:
    """Return the clearances asked for and those that 95 of 100 pairs lie between."""
    pair, mate = outcome.worst, outcome.mate
    asked = [x for x in (mate.least, mate.most) if x is not None]
    return asked + ([] if pair is None else [pair.low, pair.high])


def _doubts(parts: Sequence[PartOutcome]) -> list[tuple[str, str]]:
    return [(part.name, note) for part in parts for note in part.notes]
