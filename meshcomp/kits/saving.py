"""The reports of a kit, written beside its parts."""

from __future__ import annotations

import json
from pathlib import Path

from meshcomp.files.atomic import save_atomically
from meshcomp.kits.store import to_folder
from meshcomp.mechanisms import KitOutcome
from meshcomp.reports.kit_html import kit_html
from meshcomp.reports.kits import features_csv, kit_json, mates_csv

__all__ = ["save_kit_reports"]


def save_kit_reports(outcome: KitOutcome) -> tuple[Path, ...]:
    """Write the reports of a kit.

    Parameters
    ----------
    outcome : KitOutcome
        As from `make_kit`.

    Returns
    -------
    paths : tuple of path
        `kit.report.html`, `kit.report.json`, `kit.features.csv` and `kit.mates.csv` in
        the folder of the compensated parts.

    Raises
    ------
    PartFileError
        If one cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> from meshcomp.mechanisms import Kit
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     kit = Kit(name="none", source="", out=Path(folder), parts=())
    ...     nothing = KitOutcome(kit=kit, parts=(), mates=(), all_fit=None, version="0")
    ...     [path.name for path in save_kit_reports(nothing)][0]
    'kit.report.html'
    """
    folder = outcome.kit.out
    to_folder(folder)
    texts = {
        "kit.report.html": kit_html(outcome),
        "kit.report.json": json.dumps(kit_json(outcome), indent=1, allow_nan=False),
        "kit.features.csv": features_csv(outcome),
        "kit.mates.csv": mates_csv(outcome),
    }
    for name, text in texts.items():
        save_atomically(folder / name, text.encode())
    return tuple(folder / name for name in texts)
