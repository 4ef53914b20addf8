"""The errors of meshcomp.

MeshCompError
├── PartFileError        a file that cannot be read as a part, or written
├── NotASolidError       a mesh that is not closed and oriented
├── OptionError          a value asked for that cannot be right
├── CalibrationError     a calibration record that cannot be used
├── AssociationError     points that determine no such shape
└── UnsoundResultError   no clean mesh was found within the tries allowed

Every message says what is wrong, where, the number with its unit, and the next step.
"""

from typing import Any

__all__ = [
    "AssociationError",
    "CalibrationError",
    "MeshCompError",
    "NotASolidError",
    "OptionError",
    "PartFileError",
    "UnsoundResultError",
]


class MeshCompError(Exception):
    """Any error that meshcomp raises on purpose."""


class PartFileError(MeshCompError):
    """A file that cannot be read as a part, or cannot be written."""


class NotASolidError(MeshCompError, ValueError):
    """A mesh that is no closed, consistently oriented solid.

    `open_edges` holds both ends of the open edges, `outline` those of edges that show the
    shape, each (k, 2, 3) float in mm in the file's frame, so that a picture can be drawn.
    """

    def __init__(self, message: str, open_edges: Any = (), outline: Any = ()) -> None:
        super().__init__(message)
        self.open_edges = open_edges
        self.outline = outline


class OptionError(MeshCompError, ValueError):
    """A value asked for that cannot be right."""


class CalibrationError(MeshCompError, ValueError):
    """A calibration record that cannot be used."""


class AssociationError(MeshCompError, ValueError):
    """Points that determine no shape of the kind asked for."""


class UnsoundResultError(MeshCompError):
    """No clean compensated mesh was found within the tries allowed."""
