"""What holds for all tests."""

import locale

# Some libraries set the locale of the process that loads them, by which text then is
# read and written where no encoding is given. It is the least one from the start, so
# that a forgotten encoding fails on every machine and in any order of the tests.
locale.setlocale(locale.LC_CTYPE, "C")
