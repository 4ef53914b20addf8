"""The demo: the whole job on the kit of our own scenario."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from meshcomp.kits.making import Progress, Workers, make_kit
from meshcomp.kits.reading import read_kit
from meshcomp.kits.saving import save_kit_reports
from meshcomp.mechanisms import KitOutcome
from meshcomp.scenario import write_scenario

__all__ = ["DemoResult", "run_demo"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoResult:
    """Where the demo put things, and what came out."""

    parts: Path
    calibration: Path
    kit: Path
    compensated: Path
    report: Path
    outcome: KitOutcome

    @property
    def conforms(self) -> bool:
        """Whether every part came out as planned, and every mate is as sure as asked."""
        return self.outcome.conforms


def run_demo(
    directory: str | os.PathLike[str],
    *,
    workers: Workers | None = None,
    progress: Progress | None = None,
) -> DemoResult:
    """Build the demo parts and compensate them as a kit by the invented calibration.

    Parameters
    ----------
    directory : str or path
        Where to write; made if it is not there.
    workers, progress
        As for `make_kit`.
    """
    folder = Path(directory)
    *_, calibration, file = write_scenario(folder / "parts")
    # A path without "..", as it is shown.
    kit = read_kit(file, out=folder / "compensated")
    outcome = make_kit(kit, workers=workers, progress=progress)
    report, *_ = save_kit_reports(outcome)
    return DemoResult(
        parts=folder / "parts",
        calibration=calibration,
        kit=file,
        compensated=folder / "compensated",
        report=report,
        outcome=outcome,
    )
