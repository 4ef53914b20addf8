"""What a maker wants of each feature: read from a plan file, brought to the features."""

from meshcomp.intents.aiming import aims_of
from meshcomp.intents.statements import Aim, Counterpart, Intent, Intents, Pick

__all__ = ["Aim", "Counterpart", "Intent", "Intents", "Pick", "aims_of"]
