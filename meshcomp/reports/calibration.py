"""A calibration in words: what was found, how surely, and what is not known."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from meshcomp.calibration.results import Calibration, Flow, Study
from meshcomp.deviations import ProcessModel, SizeLaw
from meshcomp.feels import Feel
from meshcomp.reports._numbers import count, signed, size
from meshcomp.reports._tables import paragraph

__all__ = [
    "all_laws",
    "calibration_text",
    "feel_sentences",
    "flow_sentences",
    "law_sentence",
    "sentence",
    "shape_sentences",
    "study_sentences",
]

_NAMES = {
    "bore": "bores",
    "lying bore width": "lying bores, in width,",
    "lying bore height": "lying bores, in height,",
    "boss": "bosses",
    "outside x": "outside lengths along X",
    "outside y": "outside lengths along Y",
    "slot": "slots",
    "height": "heights",
}
_PLACES = 5  # at which a band is looked up between the smallest and the largest size


def calibration_text(calibration: Calibration) -> str:
    """Return a calibration in words, as lines of 80 columns at most.

    Parameters
    ----------
    calibration : Calibration

    Returns
    -------
    str

    Examples
    --------
    >>> from meshcomp.calibration.record import (
    ...     invented_calibration_path, read_calibration)
    >>> text = calibration_text(read_calibration(invented_calibration_path()))
    >>> "Bores close by 0.100 + 0.400/d mm" in text
    True
    """
    model = calibration.model
    laws = all_laws(model)
    blocks = [paragraph(f"Calibration of {calibration.conditions.in_words()}.")]
    for kind, law in laws.items():
        blocks.append(_kind_lines(kind, law, calibration.study(kind)))
    blocks += [
        [line for note in study.notes for line in paragraph(f"{study.kind}: {note}")]
        for study in calibration.studies
        if study.kind not in laws
    ]
    sentences = [*shape_sentences(model), *flow_sentences(calibration.flow)]
    sentences += feel_sentences(calibration.feels)
    sentences += [sentence(note) for note in calibration.notes]
    blocks.append([line for words in sentences for line in paragraph(words)])
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def feel_sentences(feels: Sequence[Feel]) -> list[str]:
    """Say between which clearances each word for feel was used.

    Examples
    --------
    >>> feel_sentences([Feel(word="slide", least=0.08, most=0.17, pins=2)])
    ['Slide is a clearance of +0.080 to +0.170 mm (2 pins of a fit ladder).']
    """
    return [
        f"{feel.word.capitalize()} is a clearance of {signed(feel.least)} to "
        f"{signed(feel.most)} mm ({count(feel.pins, 'pin')} of a fit ladder)."
        for feel in feels
    ]


def all_laws(model: ProcessModel) -> dict[str, SizeLaw]:
    """Return the laws of a model by kind, that of heights among them."""
    laws = dict(model.laws)
    if model.height is not None:
        laws["height"] = model.height
    return laws


def sentence(words: str) -> str:
    """Make a sentence of words.

    Examples
    --------
    >>> sentence("bores close")
    'Bores close.'
    """
    return f"{words[0].upper()}{words[1:].rstrip('.')}."


def law_sentence(kind: str, law: SizeLaw) -> str:
    """Return in one sentence how a kind of feature prints.

    Examples
    --------
    >>> law = SizeLaw(terms=("constant",), coefficients=[0.06], covariance=[[1e-4]],
    ...     repeatability=0.02, degrees_of_freedom=8.0, valid_from=2.0, valid_to=30.0)
    >>> law_sentence("boss", law)
    'bosses print 0.060 mm oversize, good to ±0.052 mm for single prints (95 %), measured from 2 to 30 mm'
    """  # noqa: E501
    name = _NAMES.get(kind, kind)
    low, high = law.valid_from, law.valid_to
    sizes = [low + (high - low) * k / (_PLACES - 1) for k in range(_PLACES)]
    bands = [law.prediction_interval(x) for x in sizes]
    half = max((upper - lower) / 2 for lower, upper in bands)
    measured = f"at {low:g} mm only" if low == high else f"from {low:g} to {high:g} mm"
    return (
        f"{name} {_deviation_words(kind, law)}, good to ±{size(half)} mm for single prints "
        f"(95 %), measured {measured}"
    )


def _deviation_words(kind: str, law: SizeLaw) -> str:
    values = dict(zip(law.terms, law.coefficients.tolist(), strict=True))
    constant, inverse = values.get("constant", 0.0), values.get("inverse")
    if law.terms == ("constant",):
        side = "oversize" if constant >= 0 else "undersize"
        words = f"print {size(abs(constant))} mm {side}"
        if kind.startswith("outside"):
            words += f" ({size(abs(constant) / 2)} mm a side)"
        return words
    is_closing = inverse is not None and inverse < 0 and constant < 0
    if law.terms == ("constant", "inverse") and is_closing and "bore" in kind:
        return f"close by {size(-constant)} + {size(-(inverse or 0.0))}/d mm"
    ends = " and ".join(
        f"{signed(law.deviation(x))} mm at {x:g} mm" for x in (law.valid_from, law.valid_to)
    )
    return f"deviate by {law.in_words()} mm at the size x ({ends})"


def _kind_lines(kind: str, law: SizeLaw, study: Study | None) -> list[str]:
    lines = paragraph(sentence(law_sentence(kind, law)))
    if study is None:
        return lines
    for words in study_sentences(law, study):
        lines += paragraph(words, indent="  ")
    return lines


def study_sentences(law: SizeLaw, study: Study) -> Iterator[str]:
    """Say how a law was estimated, what the data do not tell, and what to do next."""
    gauged = f", {study.intervals} of them by gauges" if study.intervals else ""
    yield (
        f"From {count(study.features, 'feature')}{gauged}; repeatability of one print "
        f"{size(law.repeatability)} mm ({study.repeatability_origin}, "
        f"{law.degrees_of_freedom:g} degrees of freedom)."
    )
    for note in study.notes:
        yield sentence(note)
    for outlier in study.outliers:
        yield (
            f"Suspect: {outlier.feature} ({outlier.source}) lies "
            f"{signed(outlier.residual)} mm off the law, p = {outlier.p_value:.2g} "
            f"({outlier.test}). It was kept: measure it again, or empty the cell."
        )
    yield from _test_sentences(study)
    if study.next_sizes:
        times = Counter(study.next_sizes)
        sizes = ", ".join(
            f"{x:g}" + (f" ({n} times)" if n > 1 else "") for x, n in sorted(times.items())
        )
        yield f"To learn most, measure next: {sizes} mm."


def _test_sentences(study: Study) -> Iterator[str]:
    fit = study.lack_of_fit
    if fit is not None:
        verdict = "misses" if fit.p_value < 0.05 else "goes with"  # noqa: PLR2004
        yield (
            f"The law {verdict} the means of repeat prints ({fit.test}: "
            f"F = {fit.statistic:.2f}, p = {fit.p_value:.2g})."
        )
    drift = study.drift
    if drift is not None:
        verdict = (
            "disagree with the older record: the printer has drifted; start afresh without "
            "the old readings"
            if drift.has_drifted
            else "agree with the older record"
        )
        yield (
            f"The new readings {verdict} ({drift.test}: F = {drift.statistic:.2f}, "
            f"p = {drift.p_value:.2g}; {signed(drift.mean_shift)} mm on average)."
        )


def shape_sentences(model: ProcessModel) -> Iterator[str]:
    """Say what was found of skew, of the first layers and of the seam."""
    if model.skew is not None:
        yield (
            f"Y leans towards X by {signed(model.skew.angle * 1000, 2)} mm/m, standard "
            f"uncertainty {size(model.skew.standard_uncertainty * 1000, 2)} mm/m."
        )
    if model.flare is not None:
        yield (
            f"The first {size(model.flare.height, 2)} mm spread by "
            f"{signed(model.flare.growth)} mm a side, standard uncertainty "
            f"{size(model.flare.standard_uncertainty)} mm."
        )
    if model.seam is not None:
        yield (
            f"The seam stands out by {size(model.seam.height)} mm, standard uncertainty "
            f"{size(model.seam.standard_uncertainty)} mm."
        )


def flow_sentences(flow: Flow | None) -> list[str]:
    """Return what the wall strip says of the extrusion flow, with its warning.

    Examples
    --------
    >>> flow_sentences(None)
    []
    """
    if flow is None:
        return []
    factor = (
        f"Multiply the extrusion flow by {size(flow.ratio)} (standard uncertainty "
        f"{size(flow.standard_uncertainty)}): walls of one line are {size(flow.measured)} "
        f"mm thick where {size(flow.intended)} mm were intended."
    )
    warning = (
        "Change the flow first and calibrate after it: what was measured before a change "
        "of flow does not hold after it."
    )
    return [factor, warning]
