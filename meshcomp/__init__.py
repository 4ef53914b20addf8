"""Reshape meshes before slicing, so that filament prints come out true to size."""
