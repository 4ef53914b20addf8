"""What moving vertices cannot do is done by solids: taken away from the part, or added.

Walls and bosses are brought to their places (`sweeping`), then bores are cut to size
(`boring`); both only where faces beside them would cross.
"""

from meshcomp.compensation.carving.boring import can_be_cut, cut_to_size
from meshcomp.compensation.carving.sweeping import brought_to_place
from meshcomp.compensation.carving.ways import Short

__all__ = ["Short", "brought_to_place", "can_be_cut", "cut_to_size"]
