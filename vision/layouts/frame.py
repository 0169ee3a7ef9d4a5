"""The panel turned so that its joints lie level: tone and figure on one small picture, with the map back to the view."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.metric import angle_difference
from vision.resize import resize
from vision.types import Point, WorkingView

#: Longest side of the turned picture, px.
FRAME_PX = 240
#: Joints follow an edge of the panel when the mean grain is within this many degrees of it.
_EDGE = 5.0
#: Half the length along the grain (px of the turned picture) over which figure must change to count as figure.
_ALONG = 18
_PARTS = 10


@dataclass(frozen=True, eq=False)
class Frame:
    """Turned picture, joints along +x. `lab` (rows, cols, 3) float32 L*a*b*; `figure` (rows, cols) float32: what changes
    along the grain, about unit variance, 0 outside; `known` bool; `back` 2x3 to working-view pixels; `scale`: view px a
    frame px; `direction`: of +x in the view, degrees counter-clockwise."""

    lab: NDArray[np.float32]
    figure: NDArray[np.float32]
    known: NDArray[np.bool_]
    back: NDArray[np.float64]
    scale: float
    direction: float

    def point(self, x: float, y: float) -> Point:
        """Working-view point of a frame point."""
        p = self.back @ np.array([x, y, 1.0])
        return float(p[0]), float(p[1])

    def turned(self) -> Frame:
        """The same frame with rows and columns exchanged (figure and all), for lines at right angles."""
        back = self.back[:, [1, 0, 2]]
        return Frame(np.ascontiguousarray(self.lab.transpose(1, 0, 2)), np.ascontiguousarray(self.figure.T),
                     np.ascontiguousarray(self.known.T), np.ascontiguousarray(back), self.scale, (self.direction - 90) % 180)


def _warp(view: WorkingView, direction: float) -> tuple[NDArray, NDArray, NDArray, float]:
    """(L*a*b* float32, known, back, view px a frame px) of the view turned so that `direction` lies along +x."""
    height, width = view.mask.shape
    shrink = min(1.0, FRAME_PX / max(height, width))
    small_w, small_h = max(1, round(width * shrink)), max(1, round(height * shrink))
    lab = np.asarray(cv2.cvtColor(resize(view.pixels, small_w, small_h), cv2.COLOR_RGB2LAB), np.uint8)
    cover = resize(view.mask.view(np.uint8) * np.uint8(255), small_w, small_h)
    t = math.radians(direction)
    c, s = math.cos(t), math.sin(t)
    corners = np.array([[0, 0], [small_w - 1, 0], [0, small_h - 1], [small_w - 1, small_h - 1]], float)
    ys, xs = np.nonzero(cover[::4, ::4] > 127)
    if len(xs) >= 4:
        corners = np.c_[xs, ys] * 4.0
    u, v = corners[:, 0] * c - corners[:, 1] * s, corners[:, 0] * s + corners[:, 1] * c
    u0, v0 = float(u.min()), float(v.min())
    wide, tall = int(np.ptp(u)) + 4, int(np.ptp(v)) + 4
    small = np.array([[c, s, u0 * c + v0 * s], [-s, c, -u0 * s + v0 * c]])
    flags = cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR
    turned = cv2.warpAffine(lab, small, (wide, tall), flags=flags, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    inside = cv2.warpAffine(cover, small, (wide, tall), flags=flags) > 127
    turned[..., 0] *= 100 / 255
    sx, sy = width / small_w, height / small_h
    back = np.array([[sx], [sy]]) * small
    back[:, 2] += [0.5 * sx - 0.5, 0.5 * sy - 0.5]
    return turned, inside, back, (sx * sy) ** 0.5


def lean_of_joints(lab: NDArray, known: NDArray, leans: NDArray) -> tuple[float, float]:
    """(lean in degrees at which level lines step most sharply, how far that stands over the typical lean, >= 1)."""
    rows, cols = known.shape
    cuts = np.linspace(0, cols, _PARTS + 1).astype(int)
    w = known.astype(np.float32)
    total = np.stack([w[:, a:b].sum(1) for a, b in pairwise(cuts)])
    tone = np.stack([(lab[:, a:b] * w[:, a:b, None]).sum(1) for a, b in pairwise(cuts)]) / np.maximum(total, 1)[..., None]
    ok = total > 0.5 * cols / _PARTS
    step = np.zeros_like(tone)
    step[:, 3:-3] = (tone[:, 4:-2] + tone[:, 5:-1] + tone[:, 6:]) / 3 - (tone[:, :-6] + tone[:, 1:-5] + tone[:, 2:-4]) / 3
    good = np.zeros_like(ok)
    good[:, 3:-3] = ok[:, 6:] & ok[:, :-6]
    step[~good] = 0
    middles = (cuts[1:] + cuts[:-1]) / 2 - cols / 2
    sharp = []
    for lean in leans:
        at = (np.arange(rows)[None] + np.rint(middles * math.tan(math.radians(lean)))[:, None]).astype(int).clip(0, rows - 1)
        moved = np.take_along_axis(step, at[..., None], axis=1)
        mean = moved.mean(0)
        sharp.append(float((np.einsum("rc,rc->r", mean, mean) ** 2).sum()))
    values = np.array(sharp)
    best = int(values.argmax())
    return float(leans[best]), float(values[best] / max(np.median(values), 1e-9))


def figure_of(grey: NDArray[np.float32], known: NDArray[np.bool_]) -> NDArray[np.float32]:
    """Figure that changes along the grain (+x): band-passed, streaks taken out, of about equal strength everywhere."""
    w = known.astype(np.float32)
    span = (2 * _ALONG + 1, 3)

    def mean(values: NDArray, size: tuple[int, int]) -> NDArray:
        share = np.maximum(cv2.blur(w, size, borderType=cv2.BORDER_CONSTANT), 1e-3)
        return np.asarray(cv2.blur(values * w, size, borderType=cv2.BORDER_CONSTANT)) / share

    fine = np.asarray(cv2.GaussianBlur(grey, (0, 0), 1.0))
    out = fine - mean(fine, span)
    out -= mean(out, (2 * _ALONG + 1, 2 * _ALONG + 1))
    strength = np.sqrt(np.maximum(mean(out * out, (4 * _ALONG + 1, 4 * _ALONG + 1)), 0.04))
    return np.asarray(np.clip(out / strength, -3, 3) * w, np.float32)


def make_frame(view: WorkingView, grain: float) -> Frame:
    """Frame whose joints lie level. `grain`: mean grain direction of the panel, degrees.

    Joints and mirror axes follow an edge of the panel where the grain nearly does; a sharper set of tone steps at
    another lean within 3 degrees overrules both.
    """
    edge = 90.0 * round(grain / 90.0)
    start = edge if abs(float(angle_difference(grain, edge))) <= _EDGE else grain
    lab, known, back, scale = _warp(view, start)
    if min(known.shape) >= 24:
        lean, stands = lean_of_joints(lab, known, np.linspace(-3, 3, 13))
        if abs(lean) > 0.4 and stands > 3:
            # rows of the frame grow downwards: a line falling to the right runs clockwise on screen
            start -= lean
            lab, known, back, scale = _warp(view, start)
    return Frame(lab, figure_of(lab[..., 0], known), known, back, scale, start % 180)
