"""Seeded noise on integer lattices: the same point and seed give the same value on every machine.

Integer hashing instead of a generator object, so that a value belongs to a place in the log and not to the order in
which places are asked for.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating]
_PRIMES = (0x9E3779B1, 0x85EBCA77, 0xC2B2AE3D)


def _mix(h: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Integer finaliser (two multiply-xorshift rounds), in place on its own copy."""
    h ^= h >> np.uint32(16)
    h *= np.uint32(0x7FEB352D)
    h ^= h >> np.uint32(15)
    h *= np.uint32(0x846CA68B)
    h ^= h >> np.uint32(16)
    return h


def cell_hash(seed: int, *cells: NDArray[np.int32]) -> Floats:
    """Uniform value in [0, 1) for each integer cell (1 to 3 index arrays that broadcast)."""
    h = np.full(np.broadcast_shapes(*(c.shape for c in cells)), seed & 0xFFFFFFFF, dtype=np.uint32)
    for cell, prime in zip(cells, _PRIMES, strict=False):
        h ^= cell.astype(np.int32).view(np.uint32) * np.uint32(prime)
        h = _mix(h)
    return (h >> np.uint32(8)).astype(np.float32) * np.float32(2.0**-24)


def second_hash(value: Floats, salt: int) -> Floats:
    """Another uniform value in [0, 1) drawn from a first one (24 random bits)."""
    h = (value * np.float32(2.0**24)).astype(np.uint32) ^ np.uint32(salt * 0x9E3779B1 & 0xFFFFFFFF)
    return (_mix(_mix(h)) >> np.uint32(8)).astype(np.float32) * np.float32(2.0**-24)


def _floor(x: Floats) -> tuple[NDArray[np.int32], Floats]:
    low = np.floor(x)
    return low.astype(np.int32), (x - low).astype(np.float32)


def value_noise(seed: int, *coords: Floats) -> Floats:
    """Smooth noise in [-1, 1], unit lattice, 1 to 3 coordinates of one shape."""
    parts = [_floor(np.asarray(c, dtype=np.float32)) for c in coords]
    cells = [p[0] for p in parts]
    weights = [p[1] * p[1] * (3.0 - 2.0 * p[1]) for p in parts]
    out = np.zeros(coords[0].shape, dtype=np.float32)
    for corner in range(1 << len(coords)):
        offset = [(corner >> k) & 1 for k in range(len(coords))]
        term = cell_hash(seed, *(c + np.int32(o) for c, o in zip(cells, offset, strict=True)))
        for w, o in zip(weights, offset, strict=True):
            term *= w if o else 1.0 - w
        out += term
    return out * 2.0 - 1.0


def fractal(seed: int, *coords: Floats, octaves: int = 2) -> Floats:
    """Sum of `octaves` value noises, each twice as fine and half as strong; roughly in [-1, 1]."""
    out = np.zeros(coords[0].shape, dtype=np.float32)
    scale, amp, total = 1.0, 1.0, 0.0
    for k in range(octaves):
        out += amp * value_noise(seed + 101 * k, *(np.asarray(c, dtype=np.float32) * np.float32(scale) for c in coords))
        total += amp
        scale, amp = scale * 2.03, amp * 0.5
    return out / np.float32(total)


def smoothstep(low: float, high: float, x: Floats) -> Floats:
    """0 below `low`, 1 above `high`, cubic between."""
    t = np.clip((x - low) / (high - low), 0.0, 1.0)
    return (t * t * (3.0 - 2.0 * t)).astype(np.float32)


def _weights(n: int, knots: int) -> NDArray[np.float32]:
    """(n, knots) linear-interpolation matrix from `knots` evenly spaced samples to n."""
    pos = np.linspace(0.0, knots - 1.0, n)
    low = np.minimum(pos.astype(int), max(knots - 2, 0))
    m = np.zeros((n, knots), dtype=np.float32)
    frac = (pos - low).astype(np.float32)
    m[np.arange(n), low] = 1.0 - frac
    m[np.arange(n), np.minimum(low + 1, knots - 1)] += frac
    return m


def thin_grid(shape: tuple[int, int], step: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Fractional row and column positions of a thinned grid that keeps both borders."""
    rows = np.linspace(0, shape[0] - 1, max(2, int(np.ceil((shape[0] - 1) / step)) + 1)) if shape[0] > 1 else np.zeros(1)
    cols = np.linspace(0, shape[1] - 1, max(2, int(np.ceil((shape[1] - 1) / step)) + 1)) if shape[1] > 1 else np.zeros(1)
    return rows, cols


def widen(coarse: Floats, shape: tuple[int, int]) -> Floats:
    """Coarse grid values linearly interpolated to a full grid of `shape` (borders coincide)."""
    return (_weights(shape[0], coarse.shape[0]) @ coarse @ _weights(shape[1], coarse.shape[1]).T).astype(np.float32)
