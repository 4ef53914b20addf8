"""From readings to a calibration: all kinds together."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from importlib.metadata import PackageNotFoundError, version
from math import sqrt
from pathlib import Path

from meshcomp.calibration.feeling import feels_of
from meshcomp.calibration.observations import observations, reading_scatter
from meshcomp.calibration.results import Calibration, Conditions, Study
from meshcomp.calibration.seams import seam_of
from meshcomp.calibration.specials import flare_of, flow_of, skew_of
from meshcomp.calibration.studies import (
    ASSUMED,
    Repeatability,
    needs_repeatability,
    study_kind,
    with_drift,
)
from meshcomp.deviations import KINDS, ProcessModel, SizeLaw
from meshcomp.errors import CalibrationError
from meshcomp.measurements.readings import Reading
from meshcomp.measurements.tables import read_readings

__all__ = ["calibrate", "estimate_calibration"]

_HEIGHT = "height"
_HIGHEST_FLARE = 5.0  # mm
Found = dict[str, tuple[SizeLaw | None, Study]]


def calibrate(
    readings_paths: Iterable[str | Path],
    *,
    conditions: Conditions,
    previous: Calibration | None = None,
    flare_height: float | None = None,
) -> Calibration:
    r"""Estimate a calibration from tables of readings.

    Parameters
    ----------
    readings_paths : iterable of str or Path
        CSV files as described in `meshcomp.measurements.tables`.
    conditions : Conditions
        What was printed with.
    previous : Calibration, optional
        An older record of the same conditions, whose readings are used as well; the
        new ones are tested against its laws.
    flare_height : float, optional
        Of the first layers that spread, mm; two layers are taken where it is not given.

    Returns
    -------
    Calibration

    Raises
    ------
    CalibrationError
        If the tables cannot be right, hold no reading, or repeat readings of the record.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> conditions = Conditions(printer="bench", material="PETG", nozzle=0.4,
    ...     layer_height=0.2, line_width=0.44)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     table = Path(folder) / "readings.csv"
    ...     _ = table.write_text("id,kind,nominal_size,reading_1\nB1,bore,8,7.85\n")
    ...     found = calibrate([table], conditions=conditions)
    >>> found.model.laws["bore"].in_words()
    '-0.1500'
    """
    table = read_readings(readings_paths)
    notes = tuple(f"left blank: {name}" for name in table.unmeasured)
    return estimate_calibration(
        table.readings,
        conditions=conditions,
        previous=previous,
        flare_height=flare_height,
        notes=notes,
    )


def estimate_calibration(
    readings: Sequence[Reading],
    *,
    conditions: Conditions,
    previous: Calibration | None = None,
    flare_height: float | None = None,
    notes: tuple[str, ...] = (),
) -> Calibration:
    """Estimate a calibration from readings.

    Parameters
    ----------
    readings : sequence of Reading
    conditions : Conditions
    previous : Calibration, optional
        As for `calibrate`.
    flare_height : float, optional
        As for `calibrate`.
    notes : tuple of str
        To be kept in the record.

    Raises
    ------
    CalibrationError
        If there is no reading, or one stands in the older record already.

    Examples
    --------
    >>> bore = Reading(piece="first", feature_id="B1", kind="bore", nominal_size=8.0,
    ...     mesh_size=8.0, values=(7.85,))
    >>> conditions = Conditions(printer="bench", material="PETG", nozzle=0.4,
    ...     layer_height=0.2, line_width=0.44)
    >>> calibration = estimate_calibration([bore], conditions=conditions)
    >>> calibration.model.laws["bore"].in_words()
    '-0.1500'
    >>> calibration.study("bore").notes[0]
    'measured at 8 mm only: nothing is known of how the deviation changes with size'
    """
    if not readings:
        raise CalibrationError("there is no reading to calibrate by: fill in the table")
    older = () if previous is None else previous.readings
    together = tuple(older) + tuple(readings)
    _refuse_repeats(older, readings)
    scatter = reading_scatter(together)
    found = _laws(together, scatter)
    if previous is not None:
        found = _drifted(found, readings, previous, scatter)
    laws = {kind: law for kind, (law, _) in found.items() if law is not None}
    height = laws.pop(_HEIGHT, None)
    outside = _outside_repeatability(laws)
    skew, skew_words = skew_of(together, outside, scatter)
    flare, flare_words = flare_of(
        together,
        height=_flare_height(flare_height, conditions, previous),
        repeatability=outside,
        scatter=scatter,
    )
    if flare is not None and flare_height is None and previous is None:
        flare_words = f"flare: {flare.height:g} mm is taken for its height (two layers)"
    feels, feel_words = feels_of(together)
    seam, seam_words = seam_of(together, outside, scatter)
    said = (skew_words, flare_words, seam_words, *feel_words)
    words = tuple(word for word in said if word)
    return Calibration(
        model=ProcessModel(laws=laws, skew=skew, flare=flare, height=height, seam=seam),
        conditions=conditions,
        readings=together,
        studies=tuple(study for _, study in found.values()),
        flow=flow_of(together),
        feels=feels,
        notes=notes + words + tuple(_missing(laws)) + _alone(previous),
        software=_software(),
    )


def _flare_height(
    given: float | None, conditions: Conditions, previous: Calibration | None
) -> float:
    if given is not None:
        if not 0 < given <= _HIGHEST_FLARE:
            raise CalibrationError(
                f"the height of the flare must be above 0 and up to {_HIGHEST_FLARE:g} mm, "
                f"got {given:g} mm: it is that of the first layers alone"
            )
        return given
    if previous is not None and previous.model.flare is not None:
        return previous.model.flare.height
    return 2 * conditions.layer_height


def _laws(readings: Sequence[Reading], scatter: Mapping[str, float]) -> Found:
    """Estimate every kind: those that tell their own repeatability first."""
    data = {
        kind: observations([r for r in readings if r.kind == kind], scatter)
        for kind in (*KINDS, _HEIGHT)
        if any(r.kind == kind for r in readings)
    }
    own = {
        kind: study_kind(d, kind, None)
        for kind, d in data.items()
        if not needs_repeatability(d)
    }
    pooled = _pooled([law for law, _ in own.values() if law is not None])
    return {
        kind: own[kind] if kind in own else study_kind(d, kind, pooled)
        for kind, d in data.items()
    }


def _pooled(laws: Sequence[SizeLaw]) -> Repeatability:
    """Pool the repeatability of the kinds that told theirs, or assume one."""
    freedom = sum(law.degrees_of_freedom for law in laws)
    if freedom < ASSUMED.degrees_of_freedom:
        return ASSUMED
    squares = sum(law.degrees_of_freedom * law.repeatability**2 for law in laws)
    return Repeatability(
        value=sqrt(squares / freedom),
        degrees_of_freedom=freedom,
        origin="taken from the other kinds, pooled",
    )


def _outside_repeatability(laws: Mapping[str, SizeLaw]) -> float:
    outside = [law for kind, law in laws.items() if kind.startswith("outside")]
    return _pooled(outside or list(laws.values())).value


def _drifted(
    found: Found,
    new: Sequence[Reading],
    previous: Calibration,
    scatter: Mapping[str, float],
) -> Found:
    result: Found = {}
    for kind, (law, study) in found.items():
        old = previous.model.height if kind == _HEIGHT else previous.model.law(kind)
        rows = [r for r in new if r.kind == kind]
        judged = study
        if old is not None and rows:
            judged = with_drift(study, observations(rows, scatter), old)
        result[kind] = (law, judged)
    return result


def _refuse_repeats(older: Sequence[Reading], new: Sequence[Reading]) -> None:
    seen = {(r.piece, r.feature_id, r.kind) for r in older}
    for reading in new:
        if (reading.piece, reading.feature_id, reading.kind) in seen:
            raise CalibrationError(
                f"{reading.source or 'a new reading'}: {reading.feature_id} of piece "
                f"{reading.piece} is in the older record already; name the new print "
                "differently in the column piece"
            )


def _missing(laws: Mapping[str, SizeLaw]) -> Iterator[str]:
    for kind in KINDS:
        if kind not in laws:
            yield f"{kind}: not measured; such features are left alone"


def _alone(previous: Calibration | None) -> tuple[str, ...]:
    if previous is None or previous.readings:
        return ()
    words = "the older record holds no readings: its laws only served to test for drift"
    return (words,)


def _software() -> str:
    try:
        return f"meshcomp {version('meshcomp')}"
    except PackageNotFoundError:
        return "meshcomp"
