"""Reshape meshes before slicing, so that filament prints come out true to size.

The verbs, in the order of the job: `read` a part, `repair` it, `inspect` its features,
`plan` their corrections `ByHand` or by a `Calibrated` process model, `compensate` the
mesh, `write` it, and `verify` what was written. `compensate_part` does all of it, and
`make_kit` does so for a kit from `read_kit`, and tells which of its pairs will fit.

Examples
--------
>>> import meshcomp
>>> part = meshcomp.demo_part("shaft_spacer")
>>> found = meshcomp.inspect(part)
>>> wanted = meshcomp.plan(found, meshcomp.ByHand(wall_growth=0.05, bore_opening=0.2))
>>> made = meshcomp.compensate(found, wanted)
>>> meshcomp.verify(found, made, made.part).conforms
True
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meshcomp.calibration.estimate import calibrate
    from meshcomp.calibration.record import read_calibration, write_calibration
    from meshcomp.compensation import compensate
    from meshcomp.corrections import ByHand, Calibrated, plan
    from meshcomp.errors import MeshCompError
    from meshcomp.files import read_part as read
    from meshcomp.files import write_part as write
    from meshcomp.fitting import fit
    from meshcomp.inspecting import inspect
    from meshcomp.intents.planfile import read_plan
    from meshcomp.kits.making import make_kit, suggest_mates
    from meshcomp.kits.reading import folder_kit, read_kit
    from meshcomp.kits.saving import save_kit_reports
    from meshcomp.predictions import predict
    from meshcomp.repairing import repair
    from meshcomp.scenario import demo_part, write_scenario
    from meshcomp.testpieces.writing import write_testpiece
    from meshcomp.verification import verify
    from meshcomp.workflow import compensate_part, plan_part, save_reports

__all__ = [
    "ByHand",
    "Calibrated",
    "MeshCompError",
    "calibrate",
    "compensate",
    "compensate_part",
    "demo_part",
    "fit",
    "folder_kit",
    "inspect",
    "make_kit",
    "plan",
    "plan_part",
    "predict",
    "read",
    "read_calibration",
    "read_kit",
    "read_plan",
    "repair",
    "save_kit_reports",
    "save_reports",
    "suggest_mates",
    "verify",
    "write",
    "write_calibration",
    "write_scenario",
    "write_testpiece",
]

# Loaded at first use (PEP 562), so that `meshcomp --help` needs no geometry at all.
_HOMES = {
    "save_kit_reports": ("meshcomp.kits.saving", "save_kit_reports"),
    "suggest_mates": ("meshcomp.kits.making", "suggest_mates"),
    "make_kit": ("meshcomp.kits.making", "make_kit"),
    "read_kit": ("meshcomp.kits.reading", "read_kit"),
    "folder_kit": ("meshcomp.kits.reading", "folder_kit"),
    "ByHand": ("meshcomp.corrections", "ByHand"),
    "Calibrated": ("meshcomp.corrections", "Calibrated"),
    "MeshCompError": ("meshcomp.errors", "MeshCompError"),
    "calibrate": ("meshcomp.calibration.estimate", "calibrate"),
    "compensate": ("meshcomp.compensation", "compensate"),
    "compensate_part": ("meshcomp.workflow", "compensate_part"),
    "demo_part": ("meshcomp.scenario", "demo_part"),
    "fit": ("meshcomp.fitting", "fit"),
    "inspect": ("meshcomp.inspecting", "inspect"),
    "plan": ("meshcomp.corrections", "plan"),
    "plan_part": ("meshcomp.workflow", "plan_part"),
    "predict": ("meshcomp.predictions", "predict"),
    "read": ("meshcomp.files", "read_part"),
    "read_calibration": ("meshcomp.calibration.record", "read_calibration"),
    "read_plan": ("meshcomp.intents.planfile", "read_plan"),
    "repair": ("meshcomp.repairing", "repair"),
    "save_reports": ("meshcomp.workflow", "save_reports"),
    "verify": ("meshcomp.verification", "verify"),
    "write": ("meshcomp.files", "write_part"),
    "write_calibration": ("meshcomp.calibration.record", "write_calibration"),
    "write_testpiece": ("meshcomp.testpieces.writing", "write_testpiece"),
    "write_scenario": ("meshcomp.scenario", "write_scenario"),
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'meshcomp' has no attribute {name!r}")
    home, attribute = _HOMES[name]
    return getattr(importlib.import_module(home), attribute)


def __dir__() -> list[str]:
    return sorted(__all__)
