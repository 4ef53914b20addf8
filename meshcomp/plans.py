"""What is to be done to each feature, and why: data only."""

from __future__ import annotations

from dataclasses import dataclass

from meshcomp.printer_axes import PrinterAxes

__all__ = ["Correction", "Plan"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """The decision for one feature; sizes in mm, None where there is no such number.

    `offset` is the displacement of the surface along its outward normal, before errors of
    the axes are undone: positive adds material. A feature left alone has offset 0 and says
    why in `reason`.
    """

    feature_id: str
    kind: str  # as the feature's
    nominal_size: float | None
    predicted_deviation: float | None  # of the print from nominal, uncompensated
    standard_uncertainty: float | None  # of the prediction, coefficients only
    target_size: float | None  # wanted in the print
    mesh_size: float | None  # to be had in the compensated mesh
    offset: float
    reason: str  # which rule decided, or why the feature is left alone
    is_left_alone: bool = False
    stretch: float = 1.0  # drawn by the printer's axes over the mesh size
    flags: tuple[str, ...] = ()  # e.g. "outside the measured sizes 2 to 30 mm"

    @property
    def correction(self) -> float | None:
        """What is added to the nominal size, mm."""
        if self.mesh_size is None or self.nominal_size is None:
            return None
        return self.mesh_size - self.nominal_size

    @property
    def drawn_size(self) -> float | None:
        """Size before errors of the axes are undone, mm: what they draw of the mesh."""
        return None if self.mesh_size is None else self.mesh_size * self.stretch


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One correction per feature, and the numbers they came from."""

    corrections: tuple[Correction, ...]  # in the order of the features
    source: str  # in words: "by hand: ..." or the calibration's conditions
    source_sha256: str | None  # of the calibration file
    axes: PrinterAxes | None = None  # errors of the axes to undo in the end

    def of(self, feature_id: str) -> Correction:
        """Return the correction of a feature."""
        return next(c for c in self.corrections if c.feature_id == feature_id)
