"""One tree trunk as a field in space: growth rings round a wandering pith, pores, rays, knots, heart and sapwood.

Coordinates are millimetres in the log's own frame: z along the trunk, x and y across it, pith near x = y = 0. Whatever
surface is cut through the field shows the same wood, so the face, edge and end of one board agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.figure import kernels
from training.figure.noise import Floats, cell_hash, fractal, second_hash, smoothstep, thin_grid, value_noise, widen
from training.figure.species import SPECIES, Species
from training.figure.warp import Warp


@dataclass(frozen=True, eq=False)
class Figure:
    """What a cut shows. `rgb`: (h, w, 3) float32 sRGB 0..1; `relief`: (h, w) float32 mm, 0 at the surface, negative in
    pores; `ring`: (h, w) float32 ring coordinate (whole number = ring boundary)."""

    rgb: Floats
    relief: Floats
    ring: Floats


@dataclass(frozen=True, eq=False)
class Knot:
    """A branch: starts at the pith at height `z`, runs out at `azimuth` (radians), climbing `tilt` mm per mm."""

    z: float
    azimuth: float
    tilt: float
    slope: float
    max_radius: float


class Log:
    """A trunk of one species. `seed` fixes everything; `ring_mm` overrides the mean ring width; `length` mm of trunk;
    `figured`: key of warp.FIGURED, how the fibres wander."""

    def __init__(self, species: str | Species, seed: int, *, ring_mm: float | None = None, length: float = 4000.0,
                 radius: float = 420.0, knots: float | None = None, wobble: float | None = None,
                 figured: str = "straight") -> None:
        self.species = SPECIES[species] if isinstance(species, str) else species
        self.seed = seed
        self.warp = Warp(figured, seed)
        rng = np.random.default_rng([seed, 11])
        s = self.species
        self.ring_mm = float(rng.uniform(*s.ring_mm)) if ring_mm is None else float(ring_mm)
        n = int(radius * 1.6 / self.ring_mm) + 4
        drift = np.cumsum(rng.normal(0, 1, n))
        drift = (drift - np.convolve(drift, np.ones(25) / 25, mode="same")) / 3.0
        widths = np.exp(0.22 * rng.normal(0, 1, n) + 0.16 * np.clip(drift, -2, 2))
        self.bounds = np.concatenate([[0.0], np.cumsum(widths * self.ring_mm / widths.mean())])
        self.lateness = rng.uniform(0.7, 1.25, n + 2).astype(np.float32)
        self.wobble = float(rng.uniform(0.5, 1.4)) if wobble is None else wobble
        self.lobes = [(k, rng.uniform(0.0, 0.035) * self.wobble, rng.uniform(0, 6.28)) for k in (1, 2, 3, 5)]
        self.bends = [(rng.uniform(500, 3000), rng.uniform(1.0, 9.0) * self.wobble, rng.uniform(0, 6.28), axis)
                      for axis in (0, 1, 0, 1)]
        self.sap_from = radius * rng.uniform(0.72, 0.98) * (4.0 if figured == "burl" else 1.0)
        self.tone = rng.normal(0, 1, 3)
        per_m = s.knots if knots is None else knots
        count = rng.poisson(per_m * length / 1000.0)
        self.knots = [Knot(float(rng.uniform(-length / 2, length / 2)), float(rng.uniform(0, 6.28)),
                           float(rng.uniform(0.2, 0.8)), float(rng.uniform(0.05, 0.14)), float(rng.uniform(3, 14)))
                      for _ in range(count)]

    def facts(self) -> dict[str, Any]:
        """What the truth says of it."""
        return {"species": self.species.name, "ring_mm": self.ring_mm, "figured": self.warp.kind, "figure_source": "made"}

    # -- geometry of the rings ------------------------------------------------------------------------------------
    def _axes(self, p: Floats) -> tuple[Floats, Floats]:
        z = p[..., 2]
        shift = [np.zeros_like(z), np.zeros_like(z)]
        for length, amp, phase, axis in self.bends:
            shift[axis] += np.float32(amp) * np.sin(z * np.float32(6.2832 / length) + np.float32(phase))
        return p[..., 0] - shift[0], p[..., 1] - shift[1]

    def _coarse(self, p: Floats) -> tuple[Floats, Floats]:
        """Slow part of the ring radius minus the plain radius, and the slow colour drift: both on few points."""
        x, y = self._axes(p)
        z = p[..., 2]
        theta = np.arctan2(y, x)
        r = np.hypot(x, y)
        add = np.zeros_like(r)
        for k, amp, phase in self.lobes:
            add += r * np.float32(amp) * np.cos(k * theta + np.float32(phase) + z * np.float32(0.0007 * k))
        add += np.float32(self.wobble * 1.1 * self.ring_mm) * fractal(self.seed + 1, x / 38, y / 38, z / 320, octaves=2)
        drift = fractal(self.seed + 2, x / 30, y / 30, z / 500, octaves=2)
        return add, drift

    def _knot_parts(self, p: Floats, r: Floats) -> tuple[Floats, Floats, Floats]:
        """Ring shift (mm) round knots, inside-ness 0..1 and the knot's own radial coordinate."""
        shift = np.zeros_like(r)
        inside = np.zeros_like(r)
        own = np.zeros_like(r)
        z = p[..., 2]
        z0, z1 = float(z.min()), float(z.max())
        for knot in self.knots:
            reach = 460 * knot.tilt
            if knot.z + reach < z0 - 80 or knot.z > z1 + 80:
                continue
            direction = np.array([np.cos(knot.azimuth), np.sin(knot.azimuth), knot.tilt])
            direction /= np.linalg.norm(direction)
            q = p - np.array([0, 0, knot.z], dtype=np.float32)
            s = q @ direction.astype(np.float32)
            if float(s.max()) <= 0:
                continue
            d2 = np.maximum((q * q).sum(-1) - s * s, 0)
            radius = np.minimum(knot.slope * np.maximum(s, 0) + 0.3, knot.max_radius)
            if not bool((d2 < 16 * radius * radius).any()):
                continue
            d = np.sqrt(d2)
            rel = d / radius
            ok = s > 0
            shift += np.where(ok, -2.2 * radius * np.exp(-np.square(rel / 1.5)), 0).astype(np.float32)
            hit = np.where(ok, 1.0 - smoothstep(0.88, 1.08, rel), 0).astype(np.float32)
            own = np.where(hit > inside, d / 0.7, own).astype(np.float32)
            inside = np.maximum(inside, hit)
        return shift, inside, own

    def ring_coordinate(self, p: Floats, texel: float = 0.5) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
        """(ring coordinate, slow colour drift, knot inside-ness, knot coordinate, x, y) for a (h, w, 3) grid of points."""
        shape = p.shape[:2]
        step = max(1, int(4.0 / max(texel, 1e-3)))
        rows, cols = thin_grid(shape, step)
        thin = _sample_grid(p, rows, cols)
        add, drift = self._coarse(thin)
        if thin.shape[:2] != shape:
            add, drift = widen(add, shape), widen(drift, shape)
        x, y = self._axes(p)
        r = np.hypot(x, y) + add
        _add_noise(r, self.seed + 3, (x, y, p[..., 2]), (3.2, 3.2, 55.0), 0.13 * self.ring_mm)
        shift, inside, own = self._knot_parts(p, r)
        r = np.maximum(r + shift, 0.0)
        return self._ring_number(r), drift, inside, own, x, y

    # -- what a cut looks like ------------------------------------------------------------------------------------
    def cut(self, p: NDArray[np.floating], *, texel: float, end: float = 0.0) -> Figure:
        """Figure on a (h, w, 3) grid of points (mm), neighbours `texel` mm apart.

        `end`: how much the surface is cut across the grain, 0 (face) to 1 (end): end grain soaks up light and finish.
        """
        p, sheen, eyes = self.warp(np.asarray(p, dtype=np.float32), texel)
        s = self.species
        ring, drift, inside, own, x, y = self.ring_coordinate(p, texel)
        z = np.ascontiguousarray(p[..., 2])
        late, phase = self._late_wood(ring)
        late = _fade(late, ring, float(late.mean()))
        tone = np.float32(1.0) + np.float32(s.streak) * drift
        if sheen is not None:
            tone += sheen
        if texel < 1.2:
            _add_noise(tone, self.seed + 4, (x, y, z), (0.55, 0.55, 24.0), s.fibre)
        _add_noise(tone, self.seed + 5, (x, y, z), (2.3, 2.3, 130.0), 0.5 * s.streak)
        relief = np.zeros_like(tone)
        if s.ray_share > 0:
            self._add_rays(tone, x, y, z, texel)
        if s.pore_mm > 0:
            pores = self._pores(x, y, z, phase, texel)
            tone *= 1.0 - np.float32(s.pore_dark) * pores
            relief -= 0.12 * pores
        if s.profile == "softwood":
            relief += 0.02 * late
        rgb = _mix_colours(s, late, self.sap_from, x, y, tone)
        if float(inside.max()) > 0:
            rgb = _knot_colour(rgb, s, inside, own)
        if eyes is not None:
            rgb = _knot_colour(rgb, s, eyes, eyes * 9)
        if end > 0:
            rgb = rgb * np.float32(1.0 - 0.24 * end) * np.array([1.0, 0.97, 0.92], dtype=np.float32) ** np.float32(end)
        rgb *= (1.0 + np.array([0.010, 0.013, 0.016]) * self.tone).astype(np.float32)
        return Figure(np.clip(rgb, 0, 1, out=rgb), relief, ring)

    def _ring_number(self, r: Floats) -> Floats:
        out = np.empty(r.shape, np.float32)
        flat = np.ascontiguousarray(r, dtype=np.float32)
        if kernels.call("ring_number", kernels.size(r.size), len(self.bounds), self.bounds, flat, out):
            return out
        return np.interp(r, self.bounds, np.arange(len(self.bounds))).astype(np.float32)

    def _late_wood(self, ring: Floats) -> tuple[Floats, Floats]:
        """(how far late wood has built up, place in the ring 0..1) of ring coordinates."""
        kind = {"softwood": 0, "ring_porous": 1, "semi": 2}.get(self.species.profile, 3)
        late, phase = np.empty(ring.shape, np.float32), np.empty(ring.shape, np.float32)
        if kernels.call("late_wood", kernels.size(ring.size), kind, len(self.lateness), self.lateness, ring, late, phase):
            return late, phase
        number = np.floor(ring)
        phase = ring - number
        strength = self.lateness[np.minimum(number.astype(np.int32), len(self.lateness) - 1)]
        return _profile(self.species.profile, phase) * strength, phase

    def _pores(self, x: Floats, y: Floats, z: Floats, phase: Floats, texel: float) -> Floats:
        s = self.species
        soft = max(0.03, 0.5 * texel)
        # texels wider than a cell see a share of it, not one point of it
        blend = float(np.clip((texel / s.pore_cell - 0.4) / 0.8, 0, 1))
        far = blend * min(1.0, 2.6 * s.pore_mm / s.pore_cell) * 0.6
        out = np.empty(x.shape, np.float32)
        if kernels.call("pores", kernels.size(x.size), kernels.word(self.seed), int(s.profile == "ring_porous"),
                        *(float(v) for v in (s.pore_cell, s.vessel_mm, s.pore_late, s.pore_early, s.pore_mm, soft, blend, far)),
                        x, y, z, phase, out):
            return out
        c = np.float32(s.pore_cell)
        early = 1.0 - smoothstep(0.18, 0.32, phase) if s.profile == "ring_porous" else 1.0 - smoothstep(0.1, 0.9, phase)
        share = s.pore_late + (s.pore_early - s.pore_late) * early
        gx, gy = x / c, y / c
        ix, iy = np.floor(gx).astype(np.int32), np.floor(gy).astype(np.int32)
        column = cell_hash(self.seed + 21, ix, iy)
        iz = np.floor(z / np.float32(s.vessel_mm) + column * 7.0).astype(np.int32)
        h = cell_hash(self.seed + 22, ix, iy, iz)
        present = h < share
        radius = np.float32(s.pore_mm) * (0.7 + 0.6 * second_hash(h, 3))
        margin = s.pore_mm / s.pore_cell
        jx = margin + (1 - 2 * margin) * second_hash(h, 1)
        jy = margin + (1 - 2 * margin) * second_hash(h, 2)
        d = np.hypot(gx - ix - jx, gy - iy - jy) * c
        sharp = np.clip((radius + 0.5 * soft - d) / soft, 0, 1)
        return (present * ((1 - blend) * sharp + far)).astype(np.float32)

    def _add_rays(self, tone: Floats, x: Floats, y: Floats, z: Floats, texel: float) -> None:
        s = self.species
        width = 0.32 if s.ray_height > 8 else 0.45
        fade = float(np.clip(1.6 - texel / s.ray_pitch, 0.25, 1.0))
        theta, wave = np.arctan2(y, x), np.sin(z * np.float32(0.11))
        if not kernels.call("rays", kernels.size(x.size), kernels.word(self.seed), float(26.0 / s.ray_pitch), float(s.ray_height),
                            float(s.ray_share), width, float(s.ray_contrast * fade), x, y, z, theta, wave, tone):
            tone += np.float32(s.ray_contrast * fade) * self._rays(x, y, z, width)

    def _rays(self, x: Floats, y: Floats, z: Floats, width: float) -> Floats:
        s = self.species
        r = np.hypot(x, y)
        band = np.floor(r / 26.0 + 0.35 * np.sin(z * np.float32(0.11))).astype(np.int32)
        arc = np.arctan2(y, x) * (band.astype(np.float32) + 0.5) * np.float32(26.0 / s.ray_pitch)
        arc += 0.5 * value_noise(self.seed + 31, x / 5, y / 5, z / 9)
        ia = np.floor(arc).astype(np.int32)
        col = cell_hash(self.seed + 32, ia, band)
        fz = z / np.float32(s.ray_height) + col * 9.0
        iz = np.floor(fz).astype(np.int32)
        h = cell_hash(self.seed + 33, ia, iz, band)
        across = 1.0 - np.abs(arc - ia - 0.5) * 2.0
        along = 1.0 - np.abs(fz - iz - 0.5) * 2.0
        shape = smoothstep(1.0 - width - 0.15, 1.0 - width + 0.15, across) * smoothstep(0.0, 0.35, along)
        return ((h < s.ray_share) * shape).astype(np.float32)


def _add_noise(out: Floats, seed: int, at: tuple[Floats, Floats, Floats], scale: tuple[float, float, float], gain: float) -> None:
    """Add noise at places divided by `scale` to `out`, times `gain`."""
    places = [np.ascontiguousarray(v, dtype=np.float32) for v in at]
    if not kernels.call("add_noise3", kernels.size(out.size), kernels.word(seed), *places, *scale, float(gain), out):
        out += np.float32(gain) * value_noise(seed, *(v / np.float32(k) for v, k in zip(at, scale, strict=True)))


def _sample_grid(p: Floats, rows: NDArray[np.float64], cols: NDArray[np.float64]) -> Floats:
    """Bilinear sample of a point grid at fractional rows and columns."""
    r0 = np.minimum(rows.astype(int), max(p.shape[0] - 2, 0))
    c0 = np.minimum(cols.astype(int), max(p.shape[1] - 2, 0))
    r1, c1 = np.minimum(r0 + 1, p.shape[0] - 1), np.minimum(c0 + 1, p.shape[1] - 1)
    fr = (rows - r0).astype(np.float32)[:, None, None]
    fc = (cols - c0).astype(np.float32)[None, :, None]
    top = p[r0][:, c0] * (1 - fc) + p[r0][:, c1] * fc
    low = p[r1][:, c0] * (1 - fc) + p[r1][:, c1] * fc
    return top * (1 - fr) + low * fr


def _profile(kind: str, phase: Floats) -> Floats:
    """How far a ring has turned from early to late wood at `phase` 0..1."""
    close = 1.0 - smoothstep(0.965, 1.0, phase)
    if kind == "softwood":
        return (0.12 * phase + 0.88 * smoothstep(0.45, 0.93, phase)) * close
    if kind == "ring_porous":
        return smoothstep(0.15, 0.38, phase) * (0.75 + 0.25 * phase)
    if kind == "semi":
        return (0.35 * phase + 0.65 * smoothstep(0.4, 0.98, phase)) * close
    return (0.25 * phase + 0.75 * smoothstep(0.72, 0.97, phase)) * close


def _fade(late: Floats, ring: Floats, mean: float) -> Floats:
    """Contrast lost where rings are finer than the sampling can carry."""
    if min(ring.shape) < 2:
        return late
    faded = np.array(late, dtype=np.float32)
    if kernels.call("fade_rings", *(kernels.size(n) for n in ring.shape), mean, ring, faded):
        return faded
    rate = np.hypot(np.gradient(ring, axis=0), np.gradient(ring, axis=1))
    keep = 1.0 - smoothstep(0.22, 0.6, rate)
    return (mean + (late - mean) * keep).astype(np.float32)


def _mix_colours(s: Species, late: Floats, sap_from: float, x: Floats, y: Floats, tone: Floats) -> Floats:
    """Colour of early, late and sap wood times `tone`; sapwood begins at `sap_from` mm from the pith."""
    colours, out = np.array([*s.early, *s.late, *s.sap], np.float32), np.empty((*late.shape, 3), np.float32)
    if kernels.call("mix_colours", kernels.size(late.size), colours, float(sap_from), late, x, y, tone, out):
        return out
    sap = smoothstep(sap_from - 6, sap_from + 6, np.hypot(x, y))
    early = np.array(s.early, dtype=np.float32) * (1 - sap[..., None]) + np.array(s.sap, dtype=np.float32) * sap[..., None]
    dark = np.array(s.late, dtype=np.float32)
    dark = dark * (1 - 0.5 * sap[..., None]) + 0.5 * sap[..., None] * np.array(s.sap, dtype=np.float32)
    return (early + (dark - early) * np.clip(late, 0, 1.3)[..., None]) * tone[..., None]


def _knot_colour(rgb: Floats, s: Species, inside: Floats, own: Floats) -> Floats:
    dark = np.array(s.late, dtype=np.float32) * np.array([0.62, 0.53, 0.46], dtype=np.float32)
    wave = 0.86 + 0.14 * np.sin(own * 2.4)
    rim = 1.0 - 0.45 * np.clip(4.0 * inside * (1.0 - inside), 0, 1)
    knot = dark * wave[..., None]
    return (rgb * (1 - inside[..., None]) + knot * inside[..., None]) * rim[..., None]
