"""Commands with their output, as the documents show them, run anew.

In a block marked `console`, a line that begins with `$ ` is a command and what follows
is its output. The blocks of one document run one after the other in one folder that
holds `models`. A block marked `toml NAME` is written there as the file NAME before the
commands that follow it. A line `...` stands for any lines. To write the outputs anew:

    python tests/console_blocks.py README.md docs/tutorial.md
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
_BLOCK = re.compile(r"(?<=^```console\n).*?(?=^```$)", re.DOTALL | re.MULTILINE)
_ANY = re.compile(r"^```(console|toml (\S+))\n(.*?)^```$", re.DOTALL | re.MULTILINE)
_MAIN = "from meshcomp.cli import main; main()"


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """One command of a document and the output shown below it."""

    line: str
    shown: str
    files: tuple[tuple[str, str], ...] = ()  # names and texts, to be written before it

    @property
    def status(self) -> int:
        """Exit status that the output shown stands for."""
        if self.shown.startswith("meshcomp: "):
            return 1
        return 3 if re.search(r"\bFALLS? SHORT\b", self.shown, re.MULTILINE) else 0

    def run(self, folder: Path) -> tuple[str, int]:
        """Run it after writing its files; what it prints and its exit status."""
        for name, text in self.files:
            (folder / name).write_text(text, encoding="utf-8")
        return output_of(self.line, folder)


def commands(text: str) -> list[Command]:
    """Commands of all console blocks of a document."""
    found, files = [], []
    for mark, name, block in _ANY.findall(text):
        if mark != "console":
            files.append((name, block))
            continue
        for piece in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            line, _, shown = piece.partition("\n")
            found.append(Command(line=line, shown=shown.rstrip("\n"), files=tuple(files)))
            files = []
    return found


def workplace(folder: Path) -> Path:
    """Fill a folder with what the documents take for granted."""
    shutil.copytree(ROOT / "models", folder / "models")
    return folder


def output_of(line: str, folder: Path) -> tuple[str, int]:
    """Run a command of a document; what it prints and its exit status."""
    name, *arguments = shlex.split(line)
    if name != "meshcomp":
        raise ValueError(f"documents show commands of meshcomp only, not {name}")
    done = subprocess.run(
        [sys.executable, "-c", _MAIN, *arguments],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        env={**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8"},
        check=False,
    )
    text = "\n".join(row.rstrip() for row in done.stdout.rstrip().splitlines())
    return text, done.returncode


def is_as_shown(shown: str, printed: str) -> bool:
    """Whether an output is the one shown, but for content hashes and left-out lines."""
    lines = _without_hashes(shown).split("\n")
    pattern = "\n".join(".*" if line == "..." else re.escape(line) for line in lines)
    return re.fullmatch(pattern, _without_hashes(printed), re.DOTALL) is not None


def _without_hashes(text: str) -> str:
    # The lines may be broken anywhere between these words.
    return re.sub(r"content\s+[0-9a-f]{12}", "content HASH", text)


def _rewritten(text: str, folder: Path) -> str:
    """Put into a document what its commands print now; blocks with `...` stay."""
    left = commands(text)

    def anew(block: re.Match[str]) -> str:
        rows = []
        for _ in commands(f"```console\n{block.group()}```\n"):
            command = left.pop(0)
            printed = command.run(folder)[0]
            is_cut = "..." in command.shown.split("\n")
            rows.append(f"$ {command.line}\n{command.shown if is_cut else printed}\n")
        return "\n".join(rows)

    return _BLOCK.sub(anew, text)


if __name__ == "__main__":
    for name in sys.argv[1:]:
        with tempfile.TemporaryDirectory() as place:
            page = Path(name)
            text = page.read_text(encoding="utf-8")
            page.write_text(_rewritten(text, workplace(Path(place))), encoding="utf-8")
