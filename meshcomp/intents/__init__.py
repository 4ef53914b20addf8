"""What a maker wants of each feature: read from a plan file, brought to the features."""

from meshcomp.intents.aiming import aim_of, aims_of
from meshcomp.intents.loading import loads_of
from meshcomp.intents.statements import (
    Aim,
    Counterpart,
    HeightWish,
    Intent,
    Intents,
    Load,
    Pick,
)

__all__ = [
    "Aim",
    "Counterpart",
    "HeightWish",
    "Intent",
    "Intents",
    "Load",
    "Pick",
    "aim_of",
    "aims_of",
    "loads_of",
]
