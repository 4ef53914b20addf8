"""How each feature of a part would print if nothing were done about it."""

from __future__ import annotations

from dataclasses import dataclass

from meshcomp.deviations import ProcessModel
from meshcomp.features import Feature
from meshcomp.inspections import Inspection
from meshcomp.printing import law_name

__all__ = ["Prediction", "predict"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """The size in print of one feature, mm; None where nothing is known of it."""

    feature_id: str
    kind: str
    nominal_size: float | None
    printed_size: float | None
    standard_uncertainty: float | None  # of the expectation, coefficients only
    low: float | None  # 95 of 100 single prints lie between low and high
    high: float | None
    note: str = ""  # why nothing is known, or what to mind


def predict(inspection: Inspection, model: ProcessModel) -> tuple[Prediction, ...]:
    """Predict the sizes in which the features of a part print.

    The same laws decide the corrections of `plan` by a `Calibrated` model.

    Parameters
    ----------
    inspection : Inspection
        A part and its features.
    model : ProcessModel
        Of the printer, material and setting that it will be printed with.

    Examples
    --------
    >>> import meshcomp
    >>> from meshcomp.calibration.record import invented_calibration_path
    >>> record = meshcomp.read_calibration(invented_calibration_path())
    >>> found = meshcomp.inspect(meshcomp.demo_part("shaft_spacer"))
    >>> bore = predict(found, record.model)[0]
    >>> bore.feature_id, round(bore.printed_size, 3)
    ('bore-01', 7.85)
    """
    return tuple(_prediction(feature, model) for feature in inspection.features)


def _prediction(feature: Feature, model: ProcessModel) -> Prediction:
    name, nominal = law_name(feature), feature.nominal_size
    law = model.law(name) if name else None
    if law is None or nominal is None:
        words = "no size of its own" if nominal is None else "no calibration"
        return Prediction(
            feature_id=feature.id,
            kind=feature.kind,
            nominal_size=nominal,
            printed_size=None,
            standard_uncertainty=None,
            low=None,
            high=None,
            note=words if nominal is None or not name else f"{words} for {name}",
        )
    low, high = law.prediction_interval(nominal)
    measured = f"measured from {law.valid_from:g} to {law.valid_to:g} mm only"
    return Prediction(
        feature_id=feature.id,
        kind=feature.kind,
        nominal_size=nominal,
        printed_size=law.printed_size(nominal),
        standard_uncertainty=law.standard_uncertainty(nominal),
        low=low,
        high=high,
        note="" if law.covers(nominal) else measured,
    )
