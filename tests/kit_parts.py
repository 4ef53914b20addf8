"""Kits for the tests of kits: demo parts in a folder, and kit files about them."""

from __future__ import annotations

import shutil
from pathlib import Path

from console_blocks import ROOT

MODELS = ROOT / "models"
HEAD = 'name = "shaft"\ncalibration = "calibration.json"\n'


def part_entry(name, file="shaft_spacer.stl", **settings):
    """Write one part of a kit file."""
    lines = ["[[part]]", f'name = "{name}"', f'file = "{file}"']
    return "\n".join([*lines, *(f"{key} = {value}" for key, value in settings.items())])


def mate_entry(**settings):
    """Write one mate of a kit file; texts are quoted, the rest is as it stands."""
    quoted = {"name", "bore", "boss", "bought", "fit", "aim", "flank", "against", "feel"}
    lines = [
        f'{key} = "{value}"' if key in quoted else f"{key} = {value}"
        for key, value in settings.items()
    ]
    return "\n".join(["[[mate]]", *lines])


def write_kit(folder: Path, *entries: str, head: str = HEAD) -> Path:
    """Write a kit file beside the models and the calibration that it needs."""
    text = "\n".join([head, *entries])
    for model in MODELS.iterdir():
        if model.name in text and not (folder / model.name).exists():
            shutil.copy(model, folder)
    path = folder / "kit.toml"
    path.write_text(text, encoding="utf-8")
    return path


def forty(folder: Path) -> Path:
    """Fill a folder with forty small parts and a calibration."""
    shutil.copy(MODELS / "calibration.json", folder)
    for number in range(40):
        shutil.copy(MODELS / "shaft_spacer.stl", folder / f"spacer-{number:02d}.stl")
    return folder
