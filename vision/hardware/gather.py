"""From the net's maps to single things: connected places where something is, measured; what each is, is judged from that."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.hardware.kinds import SEEN
from vision.hardware.net import HardwareMaps
from vision.joints.band import lab_of
from vision.joints.rounds import look as polar_look

#: Chances of anything at a place from which places hang together; cells bridged; fewest cells; most things looked at.
LEVELS, BRIDGE, FEWEST, MOST = (0.3, 0.75), 3, 3, 40
#: Half-widths beyond which a thing is looked at as a whole only, px.
ROUND_MOST = 60.0
CLASSES: Final = ("nothing", *SEEN)


@dataclass(frozen=True, eq=False)
class Candidate:
    """Something at a place. `hull`: (n, 2) in pixels of the picture; `middle`, `width` (longer side) likewise; `numbers`: what
    its chances rest on."""

    hull: NDArray[np.float64]
    middle: tuple[float, float]
    width: float
    numbers: Mapping[str, float]


def candidates(maps: HardwareMaps, pixels: NDArray[np.uint8]) -> list[Candidate]:
    """Places worth judging, the surest first; one may lie within another (`apart`). `pixels`: (h, w, 3) that the maps are of."""
    p = maps.chances
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    found: list[Candidate] = []
    for level in LEVELS:
        mask = (p[0] < 1 - level).astype(np.uint8)
        if level == LEVELS[0]:  # thin wires break up
            mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((BRIDGE, BRIDGE), np.uint8))
        _, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
        order = np.argsort(-stats[1:, cv2.CC_STAT_AREA])[:MOST] + 1
        for j in order:
            if stats[j, cv2.CC_STAT_AREA] < FEWEST:
                continue
            x, y, w, h = (int(v) for v in stats[j, :4])
            c = _measured(labels[y : y + h, x : x + w] == j, (x, y), p, maps.scale, grey, pixels)
            if not any(_same(c, o) for o in found):
                found.append(c)
    found.sort(key=lambda c: -c.numbers["any"])
    found = found[:MOST]
    return [_with_others(c, found) for c in found]


def _measured(part: NDArray[np.bool_], corner: tuple[int, int], p: NDArray[np.float32], scale: float, grey: NDArray[np.float32],
              pixels: NDArray[np.uint8]) -> Candidate:
    x, y = corner
    h, w = part.shape
    window = p[:, y : y + h, x : x + w]
    ys, xs = np.nonzero(part)
    corners = np.concatenate([np.stack([xs + dx, ys + dy], axis=1) for dx in (0, 1) for dy in (0, 1)]).astype(np.float32)
    hull = np.asarray(cv2.convexHull(corners)[:, 0], np.float64)
    area = float(cv2.contourArea(hull.astype(np.float32)))
    (_, _), sides, _ = cv2.minAreaRect(hull.astype(np.float32))
    on = (hull + np.array([x, y])) * scale - 0.5
    gh, gw = grey.shape
    low, high = on.min(axis=0), on.max(axis=0)
    x0, y0 = np.clip(np.floor(low), 0, [gw - 1, gh - 1]).astype(int)
    x1, y1 = np.clip(np.ceil(high), 0, [gw - 1, gh - 1]).astype(int) + 1
    pad = max(3, int(0.4 * max(x1 - x0, y1 - y0)))
    about = grey[max(0, y0 - pad) : y1 + pad, max(0, x0 - pad) : x1 + pad]
    inner = grey[y0:y1, x0:x1]
    usual, spread = float(np.median(about)), float(np.percentile(about, 90) - np.percentile(about, 10)) + 2
    rows, columns = p.shape[1:]
    width = float(max(sides)) * scale
    middle = (float((low[0] + high[0]) / 2), float((low[1] + high[1]) / 2))
    to_edge = min(middle[0], middle[1], gw - 1 - middle[0], gh - 1 - middle[1])
    numbers = {
        "any": float((1 - window[0][part]).mean()), "area": math.log(area), "solid": float(part.sum()) / max(area, 1.0),
        "long": math.log(max(sides) / max(min(sides), 0.5)), "upright": math.log((high[1] - low[1] + 1) / (high[0] - low[0] + 1)),
        "border": float(x <= 1 or y <= 1 or x + w >= columns - 1 or y + h >= rows - 1), "edge": to_edge / min(gh, gw),
        "share": math.log(width / max(gh, gw)), "lit": (float(inner.mean()) - usual) / spread,
        "dark": (float(np.percentile(inner, 10)) - usual) / spread, "bright": (float(np.percentile(inner, 90)) - usual) / spread,
        "deep": float(np.percentile(inner, 5)) / 255, "spread": math.log(spread), "busy": math.log(1 + float(inner.std())),
    }
    for k, name in enumerate(SEEN):
        mine = window[1 + k][part]
        numbers[f"mean_{name}"], numbers[f"top_{name}"] = float(mine.mean()), float(mine.max())
    return Candidate(on, middle, width, {**numbers, **_round(pixels, middle, 0.5 * width)})


#: Names of the polar look's numbers; nan where none could be had.
_POLAR: Final = ("agree", "spread", "step", "sure", "contrast", "centre", "deepest", "highest", "inner_spread", "outer_spread",
                 "light_in", "chroma_in", "chroma_out", "hue_step", "lean_in", "lean_rim", "lean_out", "slot", "slot_out",
                 "cross", "streak_out", "rim_ring", "ringed", "width", "busy")


def _round(pixels: NDArray[np.uint8], middle: tuple[float, float], radius: float) -> dict[str, float]:
    """Polar look (vision.joints.rounds) at a thing of a size for which it says something."""
    nothing = {f"polar_{k}": math.nan for k in _POLAR}
    if radius > ROUND_MOST:
        return nothing
    reach = 3.2 * radius + 6
    h, w = pixels.shape[:2]
    x0, y0 = max(0, int(middle[0] - reach)), max(0, int(middle[1] - reach))
    crop = pixels[y0 : min(h, int(middle[1] + reach) + 1), x0 : min(w, int(middle[0] + reach) + 1)]
    if min(crop.shape[:2]) < 8:
        return nothing
    spot = polar_look(lab_of(crop), (middle[0] - x0, middle[1] - y0, max(1.8, 0.9 * radius), True, 0.5))
    return nothing if spot is None else {f"polar_{k}": float(spot.numbers[k]) for k in _POLAR}


def _same(one: Candidate, two: Candidate) -> bool:
    away = math.hypot(one.middle[0] - two.middle[0], one.middle[1] - two.middle[1])
    return away < 0.12 * two.width + 1 and abs(math.log(one.width / two.width)) < 0.15


def apart(found: Sequence[tuple[Candidate, str, float]]) -> list[tuple[Candidate, str, float]]:
    """(thing, kind, chance) without what lies within a likelier one; things on a pane are let be."""
    out: list[tuple[Candidate, str, float]] = []
    for c, kind, chance in sorted(found, key=lambda f: -f[2]):
        if not any(_hidden(c, kind, o, k) for o, k, _ in out):
            out.append((c, kind, chance))
    return out


def _hidden(one: Candidate, kind: str, two: Candidate, other: str) -> bool:
    """Whether the middle of either lies on the other."""
    if (kind == "glass") != (other == "glass"):
        return False
    return (cv2.pointPolygonTest(two.hull.astype(np.float32), one.middle, False) >= 0
            or cv2.pointPolygonTest(one.hull.astype(np.float32), two.middle, False) >= 0)


def _with_others(c: Candidate, found: list[Candidate]) -> Candidate:
    """How many more of its size there are: screws, holes and grips seldom come alone."""
    like = [o for o in found if o is not c and abs(math.log(o.width / c.width)) < 0.3]
    level = any(min(abs(o.middle[0] - c.middle[0]), abs(o.middle[1] - c.middle[1])) < 0.3 * c.width + 2 for o in like)
    return Candidate(c.hull, c.middle, c.width, {**c.numbers, "others": math.log(1 + len(like)), "level": float(level)})
