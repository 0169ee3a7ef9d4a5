"""Seeded noise on integer lattices: the same point and seed give the same value on every machine.

Integer hashing instead of a generator object, so that a value belongs to a place in the log and not to the order in
which places are asked for.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from training.figure import kernels

Floats = NDArray[np.floating]
_PRIMES = (0x9E3779B1, 0x85EBCA77, 0xC2B2AE3D)


#: Places worked on at a time: what is in hand then stays in the processor's cache.
_CHUNK = 8192


def _mixed(h: NDArray[np.uint32], spare: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Integer finaliser (two multiply-xorshift rounds), in place; `spare`: room of the same shape."""
    for shift, factor in ((16, 0x7FEB352D), (15, 0x846CA68B)):
        np.right_shift(h, np.uint32(shift), out=spare)
        h ^= spare
        h *= np.uint32(factor)
    np.right_shift(h, np.uint32(16), out=spare)
    h ^= spare
    return h


def cell_hash(seed: int, *cells: NDArray[np.int32]) -> Floats:
    """Uniform value in [0, 1) for each integer cell (1 to 3 index arrays that broadcast)."""
    shape = np.broadcast_shapes(*(c.shape for c in cells))
    flat = [np.ascontiguousarray(np.broadcast_to(c, shape), dtype=np.int32).reshape(-1).view(np.uint32) for c in cells]
    out = np.empty(flat[0].size, dtype=np.float32)
    room = [*flat, None, None][:3]
    if kernels.call("cell_hash", kernels.size(out.size), kernels.word(seed), len(cells), *room, out):
        return out.reshape(shape)
    spare = np.empty(min(_CHUNK, out.size), np.uint32)
    for start in range(0, out.size, _CHUNK):
        part = [f[start:start + _CHUNK] for f in flat]
        h = np.full(part[0].size, seed & 0xFFFFFFFF, dtype=np.uint32)
        for cell, prime in zip(part, _PRIMES, strict=False):
            h ^= cell * np.uint32(prime)
            _mixed(h, spare[:h.size])
        h >>= np.uint32(8)
        np.multiply(h, np.float32(2.0**-24), out=out[start:start + _CHUNK], casting="unsafe", dtype=np.float32)
    return out.reshape(shape)


def second_hash(value: Floats, salt: int) -> Floats:
    """Another uniform value in [0, 1) drawn from a first one (24 random bits)."""
    first = np.ascontiguousarray(value, dtype=np.float32)
    out = np.empty_like(first)
    if kernels.call("second_hash", kernels.size(out.size), kernels.word(salt), first, out):
        return out
    h = (value * np.float32(2.0**24)).astype(np.uint32) ^ np.uint32(salt * 0x9E3779B1 & 0xFFFFFFFF)
    spare = np.empty_like(h)
    return (_mixed(_mixed(h, spare), spare) >> np.uint32(8)).astype(np.float32) * np.float32(2.0**-24)


def _floor(x: Floats) -> tuple[NDArray[np.int32], Floats]:
    low = np.floor(x)
    return low.astype(np.int32), (x - low).astype(np.float32)


def _lattice(seed: int, cells: list[NDArray[np.int32]]) -> list[Floats]:
    """`cell_hash` of all corners of the cells, the first axis changing fastest. Corners share the work on the axes before."""
    found = [np.full(cells[0].shape, seed & 0xFFFFFFFF, dtype=np.uint32)]
    spare = np.empty(cells[0].shape, np.uint32)
    for cell, prime in zip(cells, _PRIMES, strict=False):
        step = cell.view(np.uint32) * np.uint32(prime)
        both = []
        for add in (0, prime):
            if add:
                step += np.uint32(prime)
            both += [_mixed(h ^ step, spare) for h in found]
        found = both
    out = []
    for h in found:
        h >>= np.uint32(8)
        out.append(h.astype(np.float32) * np.float32(2.0**-24))
    return out


def value_noise(seed: int, *coords: Floats) -> Floats:
    """Smooth noise in [-1, 1], unit lattice, 1 to 3 coordinates of one shape."""
    shape = coords[0].shape
    flat = [np.ascontiguousarray(c, dtype=np.float32).reshape(-1) for c in coords]
    out = np.empty(flat[0].size, dtype=np.float32)
    if kernels.call(f"value_noise{len(flat)}", kernels.size(out.size), kernels.word(seed), *flat, out):
        return out.reshape(shape)
    for start in range(0, out.size, _CHUNK):
        out[start:start + _CHUNK] = _noise(seed, [f[start:start + _CHUNK] for f in flat])
    return out.reshape(shape)


def _noise(seed: int, coords: list[Floats]) -> Floats:
    parts = [_floor(c) for c in coords]
    high = [f * f * (np.float32(3.0) - np.float32(2.0) * f) for _, f in parts]
    weights = [(np.float32(1.0) - w, w) for w in high]
    out = np.zeros(coords[0].shape, dtype=np.float32)
    for corner, term in enumerate(_lattice(seed, [p[0] for p in parts])):
        for k, pair in enumerate(weights):
            term *= pair[(corner >> k) & 1]
        out += term
    out *= np.float32(2.0)
    out -= np.float32(1.0)
    return out


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
    if isinstance(x, np.ndarray) and x.dtype == np.float32 and x.size > 64:
        flat, out = np.ascontiguousarray(x), np.empty(x.shape, dtype=np.float32)
        if kernels.call("smooth_step", kernels.size(x.size), float(low), float(high - low), flat, out):
            return out
    t = np.clip((x - low) / (high - low), 0.0, 1.0)
    return (t * t * (3.0 - 2.0 * t)).astype(np.float32)


def _between(n: int, knots: int) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
    """For n places over `knots` evenly spaced samples: the sample before each, and how far it lies towards the next, 0..1."""
    pos = np.linspace(0.0, knots - 1.0, n)
    low = np.minimum(pos.astype(np.int32), max(knots - 2, 0)).astype(np.int32)
    return low, (pos - low).astype(np.float32)


def thin_grid(shape: tuple[int, int], step: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Fractional row and column positions of a thinned grid that keeps both borders."""
    rows = np.linspace(0, shape[0] - 1, max(2, int(np.ceil((shape[0] - 1) / step)) + 1)) if shape[0] > 1 else np.zeros(1)
    cols = np.linspace(0, shape[1] - 1, max(2, int(np.ceil((shape[1] - 1) / step)) + 1)) if shape[1] > 1 else np.zeros(1)
    return rows, cols


def widen(coarse: Floats, shape: tuple[int, int]) -> Floats:
    """Coarse grid values linearly interpolated to a full grid of `shape` (borders coincide)."""
    (row, down), (col, along) = _between(shape[0], coarse.shape[0]), _between(shape[1], coarse.shape[1])
    grid, out = np.ascontiguousarray(coarse, dtype=np.float32), np.empty(shape, np.float32)
    line = np.empty(grid.shape[1] + 1, np.float32)
    sizes = (kernels.size(n) for n in (*shape, grid.shape[1]))
    if kernels.call("widen", *sizes, row, down, col, along, grid, line, out):
        return out
    below, right = np.minimum(row + 1, grid.shape[0] - 1), np.minimum(col + 1, grid.shape[1] - 1)
    rows = grid[row] * (1 - down)[:, None] + grid[below] * down[:, None]
    return np.asarray(rows[:, col] * (1 - along) + rows[:, right] * along, dtype=np.float32)
