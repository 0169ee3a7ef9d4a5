"""Holes in order: rows at one pitch, grids of them, and pairs level with each other."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from vision.joints.finds import Pair, Row

#: Fewest holes of a row; how far one may be from its place and how unlike in size, shares.
LEAST, OFF, UNLIKE = 4, 0.12, 0.35
#: Share of the places between first and last that must hold a hole.
FILLED = 0.75
#: Spacings at which pulls are drilled, mm: common practice, no source.
PULLS: Final = (64.0, 76.0, 96.0, 128.0, 160.0, 192.0)
#: Spacing over hole width that a pull can have, and how far off level the pair may be, degrees.
PAIR_RATIO, LEVEL = (6.0, 50.0), 5.0
CLASSES: Final = ("nothing", "there")


@dataclass(frozen=True, eq=False)
class Holes:
    """`at`: (n, 2) middles; `radius`, `chance`: (n,) of being a hole."""

    at: NDArray[np.float64]
    radius: NDArray[np.float64]
    chance: NDArray[np.float64]

    def only(self, keep: NDArray[np.bool_] | NDArray[np.int64]) -> Holes:
        return Holes(self.at[keep], self.radius[keep], self.chance[keep])


@dataclass(frozen=True, eq=False)
class RowFound:
    """A row before it is judged: `members`: indices in order; `steps`: whole numbers along it; `numbers`: for the net 'row'."""

    members: NDArray[np.int64]
    steps: NDArray[np.int64]
    pitch: float
    pitch_error: float
    direction: float
    numbers: Mapping[str, float]


def _follow(holes: Holes, i: int, j: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Members and steps of the row through two neighbours, the step refined as it grows."""
    step = holes.at[j] - holes.at[i]
    members, steps = [i, j], [0, 1]
    for sense in (1, -1):
        k, missed = (1 if sense > 0 else 0), 0
        while missed < 2 and len(members) < 200:
            k += sense
            s = np.array(steps, float)
            base = holes.at[members].mean(axis=0)
            if len(members) > 2:
                step = ((s - s.mean()) @ (holes.at[members] - base)) / ((s - s.mean()) ** 2).sum()
            place = base + (k - s.mean()) * step
            away = np.hypot(*(holes.at - place).T)
            n = int(np.argmin(away))
            size = float(np.hypot(*step))
            like = abs(math.log(holes.radius[n] / np.median(holes.radius[members]))) < UNLIKE
            if away[n] < max(1.2, OFF * size) and like and n not in members:
                members.append(n)
                steps.append(k)
                missed = 0
            else:
                missed += 1
    order = np.argsort(steps)
    return np.array(members)[order], np.array(steps)[order]


def _row(holes: Holes, members: NDArray[np.int64], steps: NDArray[np.int64]) -> RowFound:
    s = steps - steps.mean()
    p = holes.at[members] - holes.at[members].mean(axis=0)
    step = (s @ p) / (s @ s)
    pitch = float(np.hypot(*step))
    off = np.hypot(*(p - s[:, None] * step).T)
    spread = float(np.sqrt((off**2).sum() / max(1, 2 * len(members) - 4)))
    filled = len(members) / (steps[-1] - steps[0] + 1)
    r = holes.radius[members]
    numbers = {"count": math.log(len(members)), "off": math.log(max(spread / pitch, 0.002)), "filled": float(filled),
               "unlike": float(np.std(np.log(r))), "chance": float(holes.chance[members].mean()),
               "least": float(holes.chance[members].min()), "ratio": math.log(pitch / (2 * float(np.median(r)))),
               "others": math.log(1 + len(holes.at) - len(members))}
    direction = math.degrees(math.atan2(step[1], step[0])) % 180
    return RowFound(members, steps, pitch, spread / math.sqrt(float(s @ s)), direction, numbers)


def rows_of(holes: Holes, most: int = 40) -> list[RowFound]:
    """Rows, longest first, no hole in two of them."""
    free = np.ones(len(holes.at), bool)
    out: list[RowFound] = []
    while free.sum() >= LEAST and len(out) < most:
        index = np.flatnonzero(free)
        part = holes.only(index)
        away = np.linalg.norm(part.at[None] - part.at[:, None], axis=2)
        best: tuple[NDArray[np.int64], NDArray[np.int64]] | None = None
        tried: set[tuple[int, int]] = set()
        for i in range(len(index)):
            for j in np.argsort(away[i])[1:5]:
                pair = (min(i, int(j)), max(i, int(j)))
                if pair in tried or away[i, j] < 2.5 * part.radius[i]:
                    continue
                tried.add(pair)
                members, steps = _follow(part, *pair)
                filled = len(members) / (steps[-1] - steps[0] + 1)
                if len(members) >= LEAST and filled >= FILLED and (best is None or len(members) > len(best[0])):
                    best = members, steps
        if best is None:
            break
        out.append(_row(holes, index[best[0]], best[1]))
        free[index[best[0]]] = False
    return out


def grid_of(rows: list[RowFound], holes: Holes) -> list[RowFound]:
    """Rows of one direction and pitch that lie one pitch apart (the members of a grid); empty where there are not three."""
    best: list[RowFound] = []
    for first in rows:
        like = [r for r in rows if abs((r.direction - first.direction + 90) % 180 - 90) < 6
                and abs(math.log(r.pitch / first.pitch)) < 0.1]
        a = math.radians(first.direction)
        normal = np.array([-math.sin(a), math.cos(a)])
        places = np.sort([float(holes.at[r.members].mean(axis=0) @ normal) for r in like])
        even = np.abs(np.diff(places) / first.pitch - 1) < 0.25
        if len(like) >= 3 and even.mean() > 0.6 and len(like) > len(best):
            best = like
    return best


def row_result(row: RowFound, holes: Holes, chance: float, mm_per_px: float | None) -> Row:
    points = tuple((float(x), float(y)) for x, y in holes.at[row.members])
    return Row("row", points, row.pitch, row.pitch_error, 2 * float(np.median(holes.radius[row.members])), chance,
               None if mm_per_px is None else row.pitch * mm_per_px)


def grid_result(rows: list[RowFound], holes: Holes, chance: float, mm_per_px: float | None) -> Row:
    members = np.concatenate([r.members for r in rows])
    pitch = float(np.median([r.pitch for r in rows]))
    error = float(np.std([r.pitch for r in rows]) / math.sqrt(len(rows)))
    points = tuple((float(x), float(y)) for x, y in holes.at[members])
    return Row("grid", points, pitch, error, 2 * float(np.median(holes.radius[members])), chance,
               None if mm_per_px is None else pitch * mm_per_px)


@dataclass(frozen=True, eq=False)
class PairFound:
    members: tuple[int, int]
    spacing: float
    level: float
    off_centre: float
    numbers: Mapping[str, float]


def pairs_of(holes: Holes, shape: tuple[int, int]) -> list[PairFound]:
    """Pairs level with the panel's sides and alike in size, with nothing between them."""
    h, w = shape
    out = []
    for i in range(len(holes.at)):
        for j in range(i + 1, len(holes.at)):
            d = holes.at[j] - holes.at[i]
            spacing = float(np.hypot(*d))
            width = float(holes.radius[i] + holes.radius[j])
            unlike = abs(math.log(holes.radius[i] / holes.radius[j]))
            tilt = math.degrees(math.atan2(d[1], d[0]))
            across, upright = abs((tilt + 90) % 180 - 90), abs(tilt % 180 - 90)
            level = min(across, upright)
            if unlike > 0.5 or level > LEVEL or not PAIR_RATIO[0] < spacing / width < PAIR_RATIO[1]:
                continue
            rest = [k for k in range(len(holes.at)) if k not in (i, j)]
            t = (holes.at[rest] - holes.at[i]) @ d / spacing**2
            side = np.abs((holes.at[rest] - holes.at[i]) @ np.array([-d[1], d[0]])) / spacing
            if ((t > 0) & (t < 1) & (side < 0.06)).any():
                continue
            middle = (holes.at[i] + holes.at[j]) / 2
            off = (abs(middle[0] - (w - 1) / 2) / w) if across < upright else abs(middle[1] - (h - 1) / 2) / h
            low = abs(middle[1] - (h - 1) / 2) / h if across < upright else abs(middle[0] - (w - 1) / 2) / w
            c = np.sort(holes.chance[[i, j]])
            numbers = {"least": float(c[0]), "most": float(c[1]), "level": level, "unlike": unlike,
                       "off": math.log(max(off, 0.003)), "low": float(low), "ratio": math.log(spacing / width),
                       "share": math.log(spacing / (w if across < upright else h)),
                       "others": math.log(1 + float(holes.chance[rest].sum())), "upright": float(across >= upright)}
            out.append(PairFound((i, j), spacing, level, float(off), numbers))
    return out


def pair_result(pair: PairFound, holes: Holes, chance: float, mm_per_px: float | None) -> Pair:
    points = tuple((float(x), float(y)) for x, y in holes.at[list(pair.members)])
    mm = None if mm_per_px is None else pair.spacing * mm_per_px
    near = None if mm is None else min(PULLS, key=lambda p: abs(p - mm))
    fits = near is not None and mm is not None and abs(near - mm) <= max(2.0, 0.03 * mm)
    return Pair(points, pair.spacing, pair.level, pair.off_centre, chance, mm, near if fits else None)
