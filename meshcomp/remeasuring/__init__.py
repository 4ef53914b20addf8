"""Measure the planned sizes anew in a written file, cut by manifold3d."""

from meshcomp.remeasuring.sizes import BORE_LIMIT, WALL_LIMIT, achieved_sizes

__all__ = ["BORE_LIMIT", "WALL_LIMIT", "achieved_sizes"]
