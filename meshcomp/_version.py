"""The version, read once from the installed package."""

from importlib.metadata import PackageNotFoundError, version

__all__ = ["__version__"]

try:
    __version__ = version("meshcomp")
except PackageNotFoundError:  # run from a source tree that is not installed
    __version__ = "0+unknown"
