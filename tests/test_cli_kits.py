"""`meshcomp kit`: exit statuses, what it prints, and what stays quiet."""

import json
import os
import pty
import re
import subprocess
import sys

import pytest
from kit_parts import MODELS, mate_entry, part_entry, write_kit
from typer.testing import CliRunner

from meshcomp.cli import app

SPACER = part_entry("spacer")
GOOD = mate_entry(bore="spacer/bore-01", bought="8 h9", clearance=[0.05, 0.25])
STRICT = mate_entry(bore="spacer/bore-01", bought="8 h9", clearance=[0.10, 0.12])


def run(*arguments):
    return CliRunner().invoke(app, ["kit", *map(str, arguments), "--workers", "1"])


def test_a_kit_as_asked_is_done_with_status_0(tmp_path):
    result = run(write_kit(tmp_path, SPACER, GOOD))

    assert result.exit_code == 0, result.output
    assert "AS ASKED. 1 of 1 part proved; 1 of 1 mate is as sure as asked." in result.output
    assert f"report: {tmp_path / 'compensated' / 'kit.report.html'}" in result.output
    assert result.stderr == ""


def test_a_mate_that_is_not_sure_enough_is_status_3(tmp_path):
    result = run(write_kit(tmp_path, SPACER, STRICT))

    assert result.exit_code == 3
    assert re.search(r"SHORT$", result.output, re.MULTILINE)
    assert "could be held" in result.output


def test_a_part_that_failed_is_status_1_before_all_else(tmp_path):
    (tmp_path / "bad.stl").write_bytes(b"no mesh")
    result = run(write_kit(tmp_path, SPACER, part_entry("bad", "bad.stl"), STRICT))

    assert result.exit_code == 1
    assert "NOT ALL MADE." in result.output
    assert (tmp_path / "compensated" / "spacer.stl").exists()
    assert (tmp_path / "compensated" / "kit.report.html").exists()


def test_a_held_back_part_is_status_3(tmp_path):
    result = run(write_kit(tmp_path, part_entry("spacer", set="{ bore-01 = 11.9 }")))

    assert result.exit_code == 3
    assert re.search(r"^spacer +1 .* held back$", result.output, re.MULTILINE)
    assert "1 PART NOT PROVED. 0 of 1 part proved." in result.output


def test_json_is_the_whole_result(tmp_path):
    result = run(write_kit(tmp_path, SPACER, GOOD), "--json")
    data = json.loads(result.stdout)

    assert data == json.loads(
        (tmp_path / "compensated" / "kit.report.json").read_text(encoding="utf-8")
    )
    assert data["mates"][0]["pairs"][0]["fits"] > 0.95


def test_a_folder_needs_a_calibration_and_no_kit_file(tmp_path):
    write_kit(tmp_path, SPACER)
    without = run(tmp_path)
    result = run(tmp_path, "-c", tmp_path / "calibration.json", "-o", tmp_path / "out")

    assert without.exit_code == 2
    assert "is a folder: give -c CALIBRATION.json" in without.stderr
    assert result.exit_code == 0
    assert (tmp_path / "out" / "shaft_spacer.stl").exists()


def test_suggestions_can_be_put_into_a_kit_file_as_they_are(tmp_path):
    entries = [SPACER, part_entry("wheel", "indexing_wheel.stl")]
    path = write_kit(tmp_path, *entries)
    result = run(path, "--suggest-mates")
    data = json.loads(run(path, "--suggest-mates", "--json").stdout)

    assert result.exit_code == 0
    assert not (tmp_path / "compensated" / "spacer.stl").exists()
    assert data["suggestions"][0]["bore"] == "wheel/bore-08"
    done = run(write_kit(tmp_path, *entries, result.output))
    assert done.exit_code == 0, done.output
    assert "wheel/bore-08 with spacer/boss-01" in done.output


def test_a_mistake_in_the_kit_file_is_one_line_with_its_place(tmp_path):
    path = write_kit(tmp_path, SPACER, "[[mate]]")
    done = subprocess.run(
        [sys.executable, "-c", "from meshcomp.cli import main; main()", "kit", path],
        capture_output=True,
        encoding="utf-8",
        check=False,
    )

    assert done.returncode == 1
    assert done.stderr.startswith(f"meshcomp: {path}, line 7: mate: a mate has two sides")
    assert done.stdout == ""


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_the_bar_of_progress_is_shown_on_a_terminal_only(tmp_path):
    path = write_kit(tmp_path, SPACER)
    main, side = pty.openpty()
    done = subprocess.run(
        [sys.executable, "-c", "from meshcomp.cli import main; main()", "kit", path],
        stdout=subprocess.PIPE,
        stderr=side,
        encoding="utf-8",
        check=False,
    )
    os.close(side)
    shown = os.read(main, 10_000).decode()
    os.close(main)

    assert done.returncode == 0
    assert "parts" in shown
    assert "100%" in shown
    assert "%" not in done.stdout.partition("Mates")[0]
    assert MODELS.exists()
