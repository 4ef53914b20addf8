"""What a terminal gets, and what a pipe does not: colour, signs of life, silence."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

MODELS = Path(__file__).parents[1] / "models"
SPACER, PLATE = MODELS / "shaft_spacer.stl", MODELS / "bearing_plate.stl"
PROGRAM = [sys.executable, "-c", "from meshcomp.cli import main; main()"]
SLOW = (  # a job of two seconds, whatever the machine
    "import time, meshcomp.workflow as w\n"
    "whole = w.plan\n"
    "def slow(*a, **k):\n    time.sleep(2.0)\n    return whole(*a, **k)\n"
    "w.plan = slow\n"
    "from meshcomp.cli import main; main()"
)


def run(*arguments, **options):
    return subprocess.run(
        [*PROGRAM, *map(str, arguments)],
        capture_output=True,
        encoding="utf-8",
        check=False,
        **options,
    )


def on_a_terminal(program, *arguments, **environment):
    """Run on a terminal of its own; return what it shows and the exit status."""
    pty = pytest.importorskip("pty")
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [*program, *map(str, arguments)],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env={**os.environ, "TERM": "xterm", **environment},
    )
    os.close(theirs)
    shown = b""
    while True:
        try:
            piece = os.read(ours, 4096)
        except OSError:  # Linux tells so that the other end is closed
            break
        if not piece:
            break
        shown += piece
    os.close(ours)
    return shown.decode(), process.wait()


def test_help_is_a_table_of_contents_in_the_order_of_the_job():
    shown = run("--help").stdout
    headings = [
        "First, know your printer:",
        "Then, part by part:",
        "Or a whole kit at once:",
        "To see it all beforehand:",
    ]
    names = re.findall(r"^  ([a-z]+) {2,}[A-Z]", shown, re.MULTILINE)
    assert re.findall(r"^([A-Z][a-z, ]+:)$", shown, re.MULTILINE)[-4:] == headings
    assert names.index("calibrate") < names.index("inspect") < names.index("compensate")
    # Whole sentences, none cut off.
    assert "..." not in shown.partition(headings[0])[2]
    assert max(map(len, shown.splitlines())) <= 80


def test_help_takes_a_third_of_the_time_of_the_heavy_imports_at_most():
    def seconds(code):
        times = []
        for _ in range(3):
            start = time.perf_counter()
            subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
            times.append(time.perf_counter() - start)
        return min(times)

    help_ = "import sys; sys.argv[1:] = ['--help']; from meshcomp.cli import main; main()"
    assert seconds(help_) <= seconds("import trimesh, manifold3d, scipy.optimize") / 3


def test_quiet_prints_nothing_but_errors(tmp_path):
    out = tmp_path / "out.stl"
    done = run("compensate", SPACER, "--bore-opening", "0.2", "-o", out, "--quiet")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert out.exists()
    wrong = run("compensate", SPACER, "--set", "bore-99=7", "-o", out, "-q")
    assert (wrong.returncode, wrong.stdout) == (1, "")
    assert "no feature 'bore-99'" in wrong.stderr
    assert run("inspect", SPACER, "-q").stdout == ""
    assert run("testpiece", "--list", "-q").stdout == ""


def test_colour_is_for_terminals_alone(tmp_path):
    job = ("compensate", SPACER, "--bore-opening", "0.2", "-o", tmp_path / "out.stl")
    assert "\x1b" not in run(*job).stdout
    shown, status = on_a_terminal(PROGRAM, *job)
    assert status == 0
    assert "\x1b[34m\x1b[1mPROVED\x1b[0m" in shown
    plain, _ = on_a_terminal(PROGRAM, *job, NO_COLOR="1")
    assert "PROVED" in plain
    assert "\x1b[34m" not in plain


def test_work_over_a_second_shows_on_a_terminal_what_is_done(tmp_path):
    job = ("compensate", SPACER, "--bore-opening", "0.2", "-o", tmp_path / "out.stl")
    program = [sys.executable, "-c", SLOW]
    shown, _ = on_a_terminal(program, *job)
    assert "shaft_spacer.stl: looking for features (1 s)" in shown
    # The line is wiped before the result is shown.
    assert shown.rindex("\x1b[K") < shown.index("PROVED")
    quiet, _ = on_a_terminal(program, *job, "-q")
    assert quiet == ""
    piped = subprocess.run(
        [*program, *map(str, job)], capture_output=True, encoding="utf-8", check=True
    )
    assert piped.stderr == ""


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_shell_completes_commands_and_options(shell):
    words = {"COMP_WORDS": "meshcomp comp", "COMP_CWORD": "1"}
    words |= {
        "_TYPER_COMPLETE_ARGS": "meshcomp comp",
        "_TYPER_COMPLETE_FISH_ACTION": "get-args",
    }
    # The variable's name is made from the program's.
    code = "import sys; sys.argv[0] = 'meshcomp'; from meshcomp.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, **words, "_MESHCOMP_COMPLETE": f"complete_{shell}"},
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert "compensate" in done.stdout
    assert "calibrate" not in done.stdout
