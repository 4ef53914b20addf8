"""Part files changed at random, as bytes and as triangles, for test_fuzz."""

from __future__ import annotations

import functools
import io
import zipfile
from pathlib import Path

import dirtied
import numpy as np
from test_files_fuzz import GOOD, WORDS
from test_files_samples import SHARED, packed_stl

from meshcomp.files import read_part

__all__ = ["fuzzed", "sources"]

MODELS = Path(__file__).parents[1] / "models"
_LARGEST = 120_000  # bytes of a file to change: many small ones say more than few large


@functools.cache
def sources():
    """Return names and contents of files to change: own ones, and those of others."""
    paths = [*MODELS.glob("*.stl"), *SHARED.glob("*/*.*")]
    small = [
        p for p in sorted(paths) if p.suffix != ".json" and p.stat().st_size < _LARGEST
    ]
    return [*GOOD.items(), *((path.name, path.read_bytes()) for path in small)]


@functools.cache
def _corners(number):
    """Triangles of a source, or None if it has too many."""
    name, data = sources()[number]
    path = Path(f"/dev/shm/{name}") if Path("/dev/shm").is_dir() else Path(name)  # noqa: S108
    path.write_bytes(data)
    try:
        return read_part(path).mesh.corners
    finally:
        path.unlink()


def fuzzed(seed):
    """Return the name and the bytes of a changed file; the same for the same seed."""
    rng = np.random.default_rng(seed)
    number = int(rng.integers(len(sources())))
    name, data = sources()[number]
    kind = rng.random()
    if kind < 0.6:
        return f"{seed}.stl", packed(_changed_triangles(_corners(number), rng))
    if name.endswith(".3mf") and kind < 0.9:
        return f"{seed}.3mf", _changed_model(data, rng)
    return f"{seed}{Path(name).suffix}", _changed_bytes(data, rng)


def packed(corners):
    """Binary STL; coordinates beyond 32 bits become infinite."""
    record = np.dtype([("n", "<f4", 3), ("c", "<f4", (3, 3)), ("e", "<u2")])
    rows = np.zeros(len(corners), record)
    with np.errstate(over="ignore", invalid="ignore"):
        rows["c"] = corners
    return packed_stl(())[:80] + len(rows).to_bytes(4, "little") + rows.tobytes()


def _changed_bytes(data, rng):
    for _ in range(int(rng.integers(1, 5))):
        place = int(rng.integers(len(data) + 1))
        size = int(rng.choice([1, 1, 4, 12, 50, 500, len(data) // 2]))
        piece = data[place : place + size]
        added = [
            b"",
            rng.bytes(size),
            piece * int(rng.integers(2, 4)),
            WORDS[int(rng.integers(len(WORDS)))],
            b"\0" * size,
        ][int(rng.integers(5))]
        cut = 0 if rng.random() < 0.3 else len(piece)
        data = data[:place] + added + data[place + cut :]
    return data


def _changed_model(data, rng):
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for entry in old.namelist():
            text = old.read(entry)
            new.writestr(entry, _changed_bytes(text, rng) if "model" in entry else text)
    return out.getvalue()


def _changed_triangles(corners, rng):
    for _ in range(int(rng.integers(1, 4))):
        change = [*dirtied.CLOSED_AGAIN, dirtied.half_gone, *_WILD][
            int(rng.integers(len(dirtied.CLOSED_AGAIN) + 1 + len(_WILD)))
        ]
        if len(corners):
            corners = change(corners, rng)
    return corners


def _shaken(corners, rng):
    return corners + rng.normal(size=corners.shape) * 10.0 ** rng.uniform(-7, 1)


def _coarse(corners, rng):
    """Round to a grid, so that faces collapse and coincide."""
    step = 10.0 ** rng.uniform(-4, 1)
    return np.round(corners / step) * step


def _some_wild(corners, rng):
    wild = [0.0, -0.0, 1e-40, 1e9, 9e8, 1e30, np.inf, np.nan, -1e-3]
    changed = corners.copy()
    rows = rng.integers(len(corners), size=int(rng.integers(1, 4)))
    changed[rows, rng.integers(3), rng.integers(3)] = wild[int(rng.integers(len(wild)))]
    return changed


def _mirrored_over(corners, rng):
    """Add a copy, mirrored or shifted: bodies that touch, overlap or coincide."""
    axis = int(rng.integers(3))
    copy = corners.copy()
    if rng.random() < 0.5:
        copy[:, :, axis] *= -1
        return np.concatenate([corners, copy[:, ::-1]])
    size = np.ptp(corners[:, :, axis]) if np.isfinite(corners).all() else 1.0
    copy[:, :, axis] += size * rng.choice([0.0, 1.0, 0.5, 0.9999999, 1e-6])
    return np.concatenate([corners, copy])


def _flattened(corners, rng):
    flat = corners.copy()
    flat[:, :, int(rng.integers(3))] *= rng.choice([0.0, 1e-6, 1e-3])
    return flat


def _scaled(corners, rng):
    return corners * 10.0 ** rng.uniform(-12, 8)


def _shuffled(corners, rng):
    return corners[rng.permutation(len(corners))]


def _mixed(corners, rng):
    """Exchange corners of faces."""
    mixed = corners.copy()
    rows = rng.integers(len(corners), size=(2, 3))
    mixed[rows[0], 0], mixed[rows[1], 0] = corners[rows[1], 0], corners[rows[0], 0]
    return mixed


def _far_away(corners, rng):
    return corners + 10.0 ** rng.uniform(0, 8)


def _most_lost(corners, rng):
    return corners[rng.random(len(corners)) < rng.random()]


_WILD = (
    _shaken,
    _coarse,
    _some_wild,
    _mirrored_over,
    _flattened,
    _scaled,
    _shuffled,
    _mixed,
    _far_away,
    _most_lost,
)
