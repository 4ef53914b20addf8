"""The demo: the whole job on the parts of our own scenario."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from meshcomp.calibration.record import read_calibration
from meshcomp.corrections import Calibrated
from meshcomp.files import read_part
from meshcomp.results import Record
from meshcomp.scenario import write_scenario
from meshcomp.workflow import compensate_part, save_reports

__all__ = ["DemoResult", "DemoRow", "run_demo"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoRow:
    """One part of the demo."""

    name: str
    path: Path
    bores: int
    bosses: int
    walls: int  # straight pairs and slots
    conforms: bool
    verdict: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoResult:
    """Where the demo put things, and what came out."""

    parts: Path
    calibration: Path
    compensated: Path
    rows: tuple[DemoRow, ...]

    @property
    def conforms(self) -> bool:
        """Whether every part came out as planned."""
        return all(row.conforms for row in self.rows)


def run_demo(directory: str | os.PathLike[str]) -> DemoResult:
    """Build the demo parts and compensate them by the invented calibration.

    Parameters
    ----------
    directory : str or path
        Where to write; made if it is not there.
    """
    folder = Path(directory)
    *parts, calibration = write_scenario(folder / "parts")
    record = read_calibration(calibration)
    rule = Calibrated(
        model=record.model, source=record.conditions.in_words(), sha256=record.sha256
    )
    compensated = folder / "compensated"
    compensated.mkdir(parents=True, exist_ok=True)
    rows = []
    for path in parts:
        made = compensate_part(read_part(path, up="+Z"), compensated / path.name, rule)
        save_reports(made, record)
        rows.append(_row(path, made))
    return DemoResult(
        parts=folder / "parts",
        calibration=calibration,
        compensated=compensated,
        rows=tuple(rows),
    )


def _row(path: Path, record: Record) -> DemoRow:
    kinds = [feature.kind for feature in record.inspection.features]
    sizes = [] if record.verification is None else record.verification.sizes
    changed = {c.feature_id for c in record.plan.corrections if not c.is_left_alone}
    worst = max(
        (
            abs(s.achieved - s.planned)
            for s in sizes
            if s.feature_id in changed and s.achieved is not None and s.planned is not None
        ),
        default=0.0,
    )
    verdict = "proved" if record.conforms else "NOT as planned"
    return DemoRow(
        name=path.stem,
        path=path,
        bores=kinds.count("bore"),
        bosses=kinds.count("boss"),
        walls=kinds.count("wall") + kinds.count("slot"),
        conforms=record.conforms,
        verdict=f"{verdict}, sizes within {worst * 1000:.1f} µm of plan",
    )
