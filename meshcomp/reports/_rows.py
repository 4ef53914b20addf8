"""One row per feature of a record: its correction, its proof and its limits together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshcomp.features import Feature, Wall
from meshcomp.plans import Correction
from meshcomp.results import AchievedSize, Limit, Record
from meshcomp.stands import Stand

__all__ = ["Axis", "Row", "axis_in_file", "grouped", "ids_in_words", "rows_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """A line in the file's frame, mm."""

    point: tuple[float, float, float]
    direction: tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Row:
    """Everything that is known of one feature in a record."""

    correction: Correction
    feature: Feature | None
    size: AchievedSize | None
    limits: tuple[Limit, ...]
    is_written: bool

    @property
    def conforms(self) -> bool | None:
        """Whether the size measured again is as planned; None if it was not measured."""
        return None if self.size is None else self.size.conforms

    @property
    def planned(self) -> float | None:
        """Mesh size wanted, mm."""
        return self.correction.mesh_size

    @property
    def achieved(self) -> float | None:
        """Mesh size measured again, mm."""
        return None if self.size is None else self.size.achieved

    @property
    def is_changed(self) -> bool:
        """Whether the plan moves this feature."""
        return not self.correction.is_left_alone

    @property
    def is_off(self) -> bool:
        """Whether it was held back, and has not the size or the offset wanted."""
        held = any(limit.used != limit.wanted for limit in self.limits)
        return held or (bool(self.limits) and self.conforms is False)

    @property
    def state(self) -> str:
        """What became of the feature, in words."""
        if self.is_off:
            return "limited"
        if self.conforms is False:
            return "not as planned"
        if self.correction.is_left_alone:
            return "left alone"
        return "changed" if self.is_written else "to change"


def rows_of(record: Record) -> tuple[Row, ...]:
    """Bring together what a record knows of each feature, in the order of the plan."""
    features = {feature.id: feature for feature in record.inspection.features}
    proof = record.verification
    sizes = {size.feature_id: size for size in proof.sizes} if proof else {}
    return tuple(
        Row(
            correction=correction,
            feature=features.get(correction.feature_id),
            size=sizes.get(correction.feature_id),
            limits=_limits_of(
                record,
                features.get(correction.feature_id),
                sizes.get(correction.feature_id),
                correction.feature_id,
            ),
            is_written=record.written is not None,
        )
        for correction in record.plan.corrections
    )


def _limits_of(
    record: Record, feature: Feature | None, size: AchievedSize | None, name: str
) -> tuple[Limit, ...]:
    """Limits of a feature; of a distance that is off, those of the walls it follows."""
    names = {name}
    if isinstance(feature, Wall) and size is not None and not size.conforms:
        names |= set(feature.between)
    return tuple(limit for limit in record.limits if limit.feature_id in names)


def axis_in_file(feature: Feature, stand: Stand) -> Axis:
    """Return a feature's axis in the frame of its file.

    Positions along the axis are the same numbers in both frames, since a stand is a
    rotation about the origin.
    """
    return Axis(
        point=_triple(stand.to_file(feature.point)),
        direction=_triple(stand.to_file(feature.direction)),
    )


def _triple(values: NDArray[np.float64]) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in values)
    return x, y, z


def grouped(pairs: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """Group (sentence, feature id) pairs by sentence: (ids in words, sentence) each."""
    groups: dict[str, list[str]] = {}
    for sentence, feature_id in pairs:
        groups.setdefault(sentence, []).append(feature_id)
    return [(ids_in_words(ids), sentence) for sentence, ids in groups.items()]


def ids_in_words(ids: Iterable[str]) -> str:
    """Write feature ids briefly, three and more in a row as a range.

    Examples
    --------
    >>> ids_in_words(["b01", "b02", "b03", "b07", "w1"])
    'b01 to b03, b07, w1'
    """
    runs: list[list[str]] = []
    for name in ids:
        if runs and _follows(runs[-1][-1], name):
            runs[-1].append(name)
        else:
            runs.append([name])
    return ", ".join(
        f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run)  # noqa: PLR2004
        for run in runs
    )


def _follows(first: str, second: str) -> bool:
    """Whether two ids have one prefix and numbers that follow on each other."""
    letters = first.rstrip("0123456789")
    digits, others = first[len(letters) :], second[len(letters) :]
    if not second.startswith(letters) or not (digits.isdecimal() and others.isdecimal()):
        return False
    return int(others) == int(digits) + 1
