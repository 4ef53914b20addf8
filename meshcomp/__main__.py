"""`python -m meshcomp` is the command `meshcomp`, where that is not on the path."""

from meshcomp.cli import main

__all__ = ["main"]

if __name__ == "__main__":
    main()
