"""Good meshes made as bad as downloaded ones, for test_repairing*.

Each function takes the corners of triangles, (m, 3, 3), and a random generator, and
returns the corners of the damaged ones. The kinds are those that were met in surveys of
downloaded part files.
"""

from __future__ import annotations

import numpy as np

__all__ = ["CLOSED_AGAIN", "half_gone"]


def repeated(corners, _rng):
    """Repeat every face."""
    return np.concatenate([corners, corners])


def partly_repeated(corners, rng):
    """Repeat some faces."""
    return np.concatenate([corners, corners[rng.random(len(corners)) < 0.2]])


def two_sided(corners, _rng):
    """Draw every face from both sides."""
    return np.concatenate([corners, corners[:, ::-1]])


def inverted(corners, _rng):
    """Turn all inside out."""
    return corners[:, ::-1]


def partly_turned(corners, rng):
    """Turn some faces over."""
    turned = rng.random(len(corners)) < 0.15
    return np.where(turned[:, None, None], corners[:, ::-1], corners)


def one_face_lost(corners, rng):
    """Take one face away."""
    return np.delete(corners, rng.integers(len(corners)), axis=0)


def cracked(corners, rng, width=0.001):
    """Shift one half against the other by a width in mm."""
    axis = rng.integers(3)
    middles = corners.mean(axis=1)[:, axis]
    way = rng.normal(size=3)
    shift = way / np.linalg.norm(way) * width
    return corners + np.where(middles > np.median(middles), 1.0, 0.0)[:, None, None] * shift


def finely_cracked(corners, rng):
    """Shift one half by 0.2 µm."""
    return cracked(corners, rng, 0.0002)


def widely_cracked(corners, rng):
    """Shift one half by nearly 0.01 mm."""
    return cracked(corners, rng, 0.008)


def with_t_junctions(corners, rng):
    """Split some faces at the middle of an edge, their neighbours not."""
    chosen = rng.choice(len(corners), max(len(corners) // 20, 1), replace=False)
    a, b, c = corners[chosen].swapaxes(0, 1)
    # As a 32-bit file would hold it: next to the edge, not on it.
    middle = ((a + b) / 2).astype(np.float32).astype(float)
    halves = [np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)]
    return np.concatenate([np.delete(corners, chosen, axis=0), *halves])


def with_flat_faces(corners, rng):
    """Close T-junctions with faces that have no area."""
    split = with_t_junctions(corners, rng)
    count = max(len(corners) // 20, 1)
    first, second = split[-2 * count : -count], split[-count:]
    flat = np.stack([first[:, 0], second[:, 1], first[:, 1]], axis=1)
    return np.concatenate([split, flat])


def with_stray_faces(corners, rng):
    """Add single faces that belong to nothing."""
    low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    if not np.isfinite(corners).all():
        return corners
    places = low + (high - low) * rng.uniform(0.2, 0.7, (3, 1, 3))
    return np.concatenate([corners, places + rng.random((3, 3, 3))])


def with_thin_strips(corners, rng, width=0.0005):
    """Cut strips of a width in mm off some faces, beside an edge."""
    chosen = rng.choice(len(corners), max(len(corners) // 30, 1), replace=False)
    a, b, c = corners[chosen].swapaxes(0, 1)
    with np.errstate(invalid="ignore", over="ignore"):  # fuzzing has infinite corners
        doubled = np.linalg.norm(np.cross(b - a, c - a), axis=1)
        heights = doubled / np.maximum(np.linalg.norm(b - a, axis=1), 1e-9)
        share = np.minimum(width / np.maximum(heights, 1e-9), 0.5)[:, None]
        p, q = a + (c - a) * share, b + (c - b) * share
    pieces = [np.stack(piece, axis=1) for piece in ((a, b, q), (a, q, p), (p, q, c))]
    return np.concatenate([np.delete(corners, chosen, axis=0), *pieces])


def with_wider_strips(corners, rng):
    """Cut strips off that are nearly as wide as a crack may be."""
    return with_thin_strips(corners, rng, 0.008)


def side_turned(corners, rng):
    """Turn all faces on one side of a plane over."""
    middles = corners.mean(axis=1)[:, rng.integers(3)]
    beyond = middles > np.quantile(middles, rng.uniform(0.2, 0.8))
    return np.where(beyond[:, None, None], corners[:, ::-1], corners)


CLOSED_AGAIN = (
    repeated,
    partly_repeated,
    two_sided,
    inverted,
    partly_turned,
    one_face_lost,
    finely_cracked,
    cracked,
    widely_cracked,
    with_t_junctions,
    with_flat_faces,
    with_stray_faces,
    with_thin_strips,
    with_wider_strips,
    side_turned,
)


def half_gone(corners, _rng):
    """Cut a third of the part away, and leave the cut open."""
    across = corners.mean(axis=1)[:, 0]
    return corners[across < np.quantile(across, 0.7)]
