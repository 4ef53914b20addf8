"""The law of one kind of feature, from its readings to its uncertainty."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from meshcomp.calibration.judging import drift_test, lack_of_fit, outliers, residuals
from meshcomp.calibration.observations import Observations
from meshcomp.calibration.results import Candidate, Study
from meshcomp.calibration.selection import (
    best_candidate,
    candidates,
    estimated,
    term_sets,
)
from meshcomp.deviations import TERMS, SizeLaw
from meshcomp.errors import CalibrationError
from meshcomp.measurements.designs import next_sizes

__all__ = ["ASSUMED", "Repeatability", "needs_repeatability", "study_kind", "with_drift"]

_FEWEST = 3  # degrees of freedom left to caliper readings among gauge results
_FEW_SIZES = 3
_LADDERS: dict[str, tuple[float, ...]] = {
    "bore": (2, 2.5, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30),
    "boss": (2, 2.5, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30),
    "lying bore width": (3, 4, 5, 6, 8, 10, 12, 16),
    "lying bore height": (3, 4, 5, 6, 8, 10, 12, 16),
    "slot": (1, 2, 3, 4, 6, 8, 10, 15, 20),
    "outside x": (5, 10, 20, 40, 60, 80, 100),
    "outside y": (5, 10, 20, 40, 60, 80, 100),
    "height": (5, 10, 20, 40, 60),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """A repeatability known beforehand, and whence."""

    value: float  # mm
    degrees_of_freedom: float
    origin: str


# Common practice, no source: prints of one size differ by some hundredths. Known to
# about one half of itself, which is worth 2 degrees of freedom (GUM, G.4.2).
ASSUMED = Repeatability(
    value=0.05, degrees_of_freedom=2.0, origin="assumed: 0.05 mm, common practice"
)


def needs_repeatability(data: Observations) -> bool:
    """Whether the readings are too few, or too coarse, to tell a repeatability."""
    if data.exact.all():
        return len(data.sizes) < 2  # noqa: PLR2004
    return int(data.exact.sum()) - 1 < _FEWEST


def study_kind(
    data: Observations, kind: str, known: Repeatability | None
) -> tuple[SizeLaw | None, Study]:
    """Estimate the law of a kind of feature and judge it.

    Parameters
    ----------
    data : Observations
        Of one kind.
    kind : str
    known : Repeatability or None
        Taken where the readings cannot tell their own; None: estimated.

    Returns
    -------
    law : SizeLaw or None
        None where the readings bound the size on one side only.
    study : Study
    """
    sigma = None if known is None else known.value
    tried = candidates(data, kind, sigma)
    chosen = best_candidate(tried)
    study = Study(
        kind=kind,
        features=len(data.sizes),
        intervals=int((~data.exact).sum()),
        candidates=tried,
        residuals=(),
        repeatability_origin="estimated" if known is None else known.origin,
        common_uncertainty=data.common,
        next_sizes=_next(data, kind),
    )
    try:
        law = _law(data, chosen, known)
    except CalibrationError as error:
        return None, replace(study, notes=(f"no law: {error}",))
    return law, replace(
        study,
        residuals=residuals(data, law),
        outliers=outliers(data, law),
        lack_of_fit=lack_of_fit(data, law),
        notes=tuple(_notes(data, kind, chosen, tried)),
    )


def _law(data: Observations, chosen: Candidate, known: Repeatability | None) -> SizeLaw:
    result = estimated(
        data,
        chosen.terms,
        repeatability=None if known is None else known.value,
        degrees_of_freedom=1.0 if known is None else known.degrees_of_freedom,
    )
    covariance = np.array(result.covariance)
    place = chosen.terms.index("constant")
    # An instrument that errs by e shifts every size by e: the constant alone.
    covariance[place, place] += data.common**2
    return SizeLaw(
        terms=chosen.terms,
        coefficients=result.coefficients,
        covariance=covariance,
        repeatability=result.repeatability,
        degrees_of_freedom=result.degrees_of_freedom,
        valid_from=float(data.sizes.min()),
        valid_to=float(data.sizes.max()),
    )


def with_drift(study: Study, new: Observations, old: SizeLaw) -> Study:
    """Add the test of new readings against the law of an older record."""
    return replace(study, drift=drift_test(new, old))


def _next(data: Observations, kind: str) -> tuple[float, ...]:
    """Sizes that tell most of the fullest law that makes sense, within the ladder."""
    ladder = _LADDERS.get(kind, tuple(np.unique(data.sizes).tolist()))
    fullest = max(term_sets(kind), key=len)
    if len(ladder) < len(fullest):
        return ()
    return next_sizes(ladder, fullest, 3, present=data.sizes.tolist())


def _notes(
    data: Observations, kind: str, chosen: Candidate, tried: Sequence[Candidate]
) -> Iterator[str]:
    if data.distinct_sizes == 1:
        yield (
            f"measured at {data.sizes[0]:g} mm only: nothing is known of how the deviation "
            "changes with size"
        )
    elif len(data.sizes) <= _FEW_SIZES:
        yield f"{len(data.sizes)} readings are too few to tell a change with size"
    if any(reading.instrument is None and reading.values for reading in data.readings):
        yield (
            "some readings name no instrument: a display step of 0.01 mm is taken, and "
            "nothing is allowed for its accuracy"
        )
    elif any(
        reading.instrument is not None and reading.instrument.accuracy is None
        for reading in data.readings
    ):
        yield "the instrument's accuracy is not stated: nothing is allowed for it"
    if data.distinct_sizes > 1:
        yield from _unsupported(kind, chosen, tried)


def _unsupported(kind: str, chosen: Candidate, tried: Sequence[Candidate]) -> Iterator[str]:
    """Name each term left out, with what AICc says of it."""
    words = {"scale": "a change in proportion to size", "inverse": "a change with 1/size"}
    for term in (t for t in TERMS if t in words and t not in chosen.terms):
        if not any(term in terms for terms in term_sets(kind)):
            continue
        scores = [c.aicc for c in tried if term in c.terms and c.aicc is not None]
        if scores and chosen.aicc is not None:
            yield (
                f"{words[term]} is not supported (AICc {min(scores):.1f} with it, "
                f"{chosen.aicc:.1f} without)"
            )
        else:
            yield f"{words[term]} cannot be told from so few readings"
