"""Heights of a part against the layers it is printed in, and moving them onto layers."""

from meshcomp.layering.looking import layer_report
from meshcomp.layering.proving import height_checks
from meshcomp.layering.snapping import snapped
from meshcomp.layering.wished import looked_at, with_layers

__all__ = ["height_checks", "layer_report", "looked_at", "snapped", "with_layers"]
