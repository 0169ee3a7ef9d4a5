"""The strip beside a panel where its thickness shows: along which of the outline's sides, how deep, and how likely.

A face's outline ends at an arris; beyond it a narrow side shows as a band bounded by a second line along the first. An outline
drawn round face and edge together holds that band just inside instead. Shadows, gaps and mouldings look alike; which band is
a narrow side is a taught decision (`training.strip_fit`), calibrated on rendered furniture, and bands below a least chance are
not told.
About half of the bands told rightly on rendered furniture belong to a neighbouring part (a cabinet's sides round its back or
doors); a second decision, `own`, says how likely a narrow side is this panel's, mostly from where the camera must stand to see
it (`find_view`). A band with a low `own` says nothing of this panel's core.
A side that the photo cuts is looked at as far as it shows. Much is still missed; none told means nothing. Real photos have no
truth for this: chances hold for renders only.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.edges.find_lines import Lines, Points, Shrunk, SideLayout, bands_of, lay_side, lines_of
from vision.edges.find_model import StripModel, load_strip_model, own_numbers, second_numbers
from vision.edges.find_numbers import NAMES, Numbers, band_numbers, line_numbers
from vision.edges.find_view import turned_to_camera
from vision.types import Outline

#: Least length of a side in photo pixels, and the most sides looked at, longest first.
LEAST_SIDE, MOST_SIDES = 48.0, 6
#: By how much an outline may be off: photo pixels, and share of the side's length.
OFF_PX, OFF_SHARE = 5.0, 0.008
#: Least change of colour over the arris (8-bit Lab) of a candidate, and of a band that is told: where the arris hardly shows, a
#: rim of face left out by a loosely drawn outline looks like a narrow side; most wrong bands on real photos were such rims.
LEAST_ARRIS, TOLD_ARRIS = 5.0, 12.0

ARRIS_SIZE = NAMES.index("arris_size")


@dataclass(frozen=True)
class FoundStrip:
    """A likely narrow side. `outline`: four photo pixels, arris first; `face_at`: a point on the face's side; `depth_px`:
    thickness; `chance`: calibrated chance that a narrow side lies there; `inside`: the band lies within the panel's outline;
    `own`: calibrated chance that the narrow side, if one, is this panel's and not a neighbouring part's."""

    outline: Outline
    face_at: tuple[float, float]
    depth_px: float
    chance: float
    inside: bool
    own: float


@dataclass(frozen=True, eq=False)
class SideBands:
    """Candidate bands along one side: (n, 3) as `bands_of` gives them, with their numbers (n, len(NAMES))."""

    layout: SideLayout
    lines: Lines
    bands: NDArray[np.intp]
    numbers: Numbers

    def depths(self) -> NDArray[np.float64]:
        return np.asarray((self.lines.row[self.bands[:, 1]] - self.lines.row[self.bands[:, 0]]) * self.layout.step)

    def clear(self, n: int) -> bool:
        """The arris shows well enough for the band to be told."""
        return bool(self.numbers[n, ARRIS_SIZE] >= TOLD_ARRIS)

    def corners(self, n: int) -> Points:
        """(4, 2) photo px: the arris' ends, then the outer line's, back again."""
        upper, lower = (self.layout.ends_on_photo(float(self.lines.row[k]), float(self.lines.tilt[k])) for k in self.bands[n, :2])
        return np.stack([*upper, *lower[::-1]])


def find_strips(pixels: NDArray[np.uint8], outline: Outline | NDArray[np.float64], *, least: float | None = None,
                pictures: Shrunk | None = None) -> tuple[FoundStrip, ...]:
    """Likely narrow sides along a panel's outline (photo pixels), likeliest first, at most one a side.

    `least`: chance from which a band is told, whatever its arris (the model's own without, and clear ones only); `pictures`:
    `Shrunk(pixels)` to share between panels.
    """
    model = load_strip_model()
    found = judged(side_bands(pictures or Shrunk(pixels), pixels.shape, np.asarray(outline, np.float64)), model)
    if least is not None:
        return tuple(strip for strip, _, _ in found if strip.chance >= least)
    return tuple(strip for strip, side, n in found if strip.chance >= model.least and side.clear(n))


def judged(sides: list[SideBands], model: StripModel) -> list[tuple[FoundStrip, SideBands, int]]:
    """The likeliest band of each side with its calibrated chance, likeliest first, and where it comes from."""
    if not sides:
        return []
    which = np.concatenate([np.full(len(s.bands), k) for k, s in enumerate(sides)])
    place = np.concatenate([np.arange(len(s.bands)) for s in sides])
    odds = model.log_odds(np.concatenate([s.numbers for s in sides]))
    depth = np.concatenate([s.depths() for s in sides])
    inside = np.concatenate([s.bands[:, 2] for s in sides]).astype(bool)
    best, numbers = second_numbers(which, odds, depth, inside)
    ways = np.stack([s.layout.way for s in sides])[which]
    owned = model.own_chance(own_numbers(np.concatenate([s.numbers for s in sides]), odds, ways, best))
    out = []
    for k, chance, own in zip(best, model.chance(numbers), owned, strict=True):
        side, n = sides[which[k]], int(place[k])
        corners = side.corners(n)
        face = corners[:2].mean(axis=0) - max(6.0, 0.5 * depth[k]) * side.layout.way
        out.append((FoundStrip(tuple((float(x), float(y)) for x, y in corners), (float(face[0]), float(face[1])), float(depth[k]),
                               float(chance), bool(inside[k]), float(own)), side, n))
    return sorted(out, key=lambda o: -o[0].chance)


def side_bands(pictures: Shrunk, shape: tuple[int, ...], outline: NDArray[np.float64]) -> list[SideBands]:
    """Candidate bands along the longest sides of an outline on a photo of `shape` (rows, columns, ...)."""
    out = []
    size = (shape[1], shape[0])
    for a, b, way, panel in sides_of(outline, size):
        layout = lay_side(pictures, a, b, way, size, LEAST_SIDE)
        if layout is None:
            continue
        lines = lines_of(layout, (OFF_PX + OFF_SHARE * panel["length_px"]) / layout.step)
        bands = bands_of(lines, layout)
        each = line_numbers(layout, lines)
        bands = bands[each[bands[:, 0], 0] >= LEAST_ARRIS]
        if len(bands):
            panel["cut"] = 1 - 1 / (layout.whole[1] - layout.whole[0])
            out.append(SideBands(layout, lines, bands, band_numbers(layout, lines, each, bands, panel)))
    return out


def sides_of(outline: NDArray[np.float64],
             size: tuple[int, int] | None = None) -> Iterator[tuple[Points, Points, Points, dict[str, float]]]:
    """(end, end, unit vector outwards, what the whole outline says of the side) of the longest sides of an outline; `size`:
    columns and rows of the photo, from which the view on the panel is worked out."""
    points = np.asarray(outline, np.float64).reshape(-1, 2)
    if len(points) < 3:
        return
    around = float(cv2.arcLength(points.astype(np.float32), True))
    plain = cv2.approxPolyDP(points.astype(np.float32), max(1.5, 0.004 * around), True).reshape(-1, 2).astype(np.float64)
    if len(plain) < 3:
        return
    following = np.roll(plain, -1, axis=0)
    area = 0.5 * float(np.sum(plain[:, 0] * following[:, 1] - following[:, 0] * plain[:, 1]))
    if abs(area) < 1.0:
        return
    turn = 1.0 if area > 0 else -1.0
    along = following - plain
    lengths = np.hypot(*along.T)
    along = along / np.maximum(lengths, 1e-9)[:, None]
    before = np.roll(along, 1, axis=0)
    # degrees turned at each corner, positive where the outline is convex
    corner = np.rad2deg(np.arctan2(before[:, 0] * along[:, 1] - before[:, 1] * along[:, 0], (before * along).sum(axis=1))) * turn
    outwards = np.stack([along[:, 1], -along[:, 0]], axis=1) * turn
    turned = turned_to_camera(plain, following, outwards, size) if size is not None else None
    for k in np.argsort(-lengths, kind="stable")[:MOST_SIDES]:
        if lengths[k] < LEAST_SIDE:
            return
        ends = sorted((float(corner[k]), float(corner[(k + 1) % len(plain)])))
        way = outwards[k]
        yield plain[k], following[k], way, {
            "length_px": float(lengths[k]), "length_share": float(lengths[k] / lengths.max()),
            "panel_share": float(abs(area) / lengths[k] ** 2), "way_down": float(way[1]), "way_aside": abs(float(way[0])),
            "corner_low": ends[0], "corner_high": ends[1], "turned": 0.0 if turned is None else float(turned[k]),
            "view_known": float(turned is not None), "cut": 0.0}
