"""Everything about hardware on one panel: knobs, pulls, keyholes, hinges, screws, bare holes, panes, and a pull that is gone."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import ModelMismatch
from vision.hardware.gather import Candidate, apart, candidates
from vision.hardware.kinds import SEEN, HardwareItem
from vision.hardware.net import look
from vision.hardware.order import Spacing, missing_pull, nearest_pull
from vision.joints.chances import Net, parse
from vision.types import WorkingView

FILE = Path(__file__).parents[1] / "models" / "hardware.json"
#: Share of a thing that must lie on the panel; chance from which a grip may be in place, so that none is missing there.
ON_PANEL: Final = 0.5
GRIP: Final = 0.2
#: A small pull and a knob are one to the hand: that one of them is there decides whether it is told, the likelier names it.
GRIPS: Final = ("knob", "pull")
#: Not told: what works on drawn panes took a moulded drawer for one and missed two real panes of three.
SILENT: Final = ("glass",)
_CIRCLE = np.stack([np.cos(np.arange(8) * np.pi / 4), np.sin(np.arange(8) * np.pi / 4)], axis=1)


@lru_cache(maxsize=1)
def stored() -> tuple[Net, Mapping[str, float]]:
    """(net that gives chances, least chance by kind).

    Raises
    ------
    ModelMismatch
        if the file is missing or damaged.
    """
    try:
        raw = json.loads(FILE.read_text(encoding="utf-8"))
        return parse(raw["net"]), {k: float(v) for k, v in raw["least"].items()}
    except (OSError, ValueError, KeyError, TypeError) as error:
        cause = f"the numbers for hardware are missing or damaged ({error})."
        raise ModelMismatch(FILE.name, cause, "Reinstall the program.") from error


@dataclass(frozen=True, eq=False)
class Thing:
    """A thing on a picture: `kind` of SEEN, `chance` of being there and that, `hull` (n, 2), `middle`, `width` in its pixels;
    `sure`: what decides whether it is told, the chance of any grip for a grip, else its own."""

    kind: str
    chance: float
    hull: NDArray[np.float64]
    middle: tuple[float, float]
    width: float
    sure: float = -1.0

    def __post_init__(self) -> None:
        if self.sure < 0:
            object.__setattr__(self, "sure", self.chance)


def named(found: Sequence[Candidate], net: Net) -> list[Thing]:
    """Candidates with their likeliest kind and its chance, whatever it is, the likeliest first, none within another."""
    chances = net.chances([c.numbers for c in found])[:, 1:]
    grip = chances[:, [SEEN.index(k) for k in GRIPS]].sum(axis=1)
    best = chances.argmax(axis=1) if len(found) else np.zeros(0, int)
    sure = {id(c): float(g) if SEEN[k] in GRIPS else float(p[k]) for c, k, p, g in zip(found, best, chances, grip, strict=True)}
    kept = apart([(c, SEEN[k], float(p[k])) for c, k, p in zip(found, best, chances, strict=True)])
    return [Thing(kind, chance, c.hull, c.middle, c.width, sure[id(c)]) for c, kind, chance in kept]


def told(things: Sequence[Thing], least: Mapping[str, float]) -> list[Thing]:
    """Those that are sure enough to be told."""
    return [t for t in things if t.kind not in SILENT and t.sure >= least[t.kind]]


def judged(pixels: NDArray[np.uint8], mask: NDArray[np.bool_] | None = None) -> list[Thing]:
    """Things on a picture, whatever the chance, of which at least half lies on `mask` (h, w)."""
    found = candidates(look(pixels), pixels)
    if mask is not None:
        found = [c for c in found if _share_on(c, mask) >= ON_PANEL]
    return named(found, stored()[0])


def pair_among(things: Sequence[Thing], least: Mapping[str, float], shape: tuple[int, int]) -> tuple[Spacing, float] | None:
    """(spacing, chance that a pull is missing there) from the holes that are said and the grips that may be there."""
    holes = [t for t in things if t.kind == "hole" and t.chance >= least["hole"]]
    grips = [t.middle for t in things if t.kind in ("knob", "pull") and t.chance >= GRIP]
    if len(holes) < 2:
        return None
    pair = missing_pull(np.array([t.middle for t in holes]), np.array([t.width for t in holes]), grips, shape)
    if pair is None:
        return None
    return pair, least["pair_share"] * holes[pair.first].chance * holes[pair.second].chance


def _share_on(c: Candidate, mask: NDArray[np.bool_]) -> float:
    h, w = mask.shape
    x0, y0 = np.clip(np.floor(c.hull.min(axis=0)), 0, [w - 1, h - 1]).astype(int)
    x1, y1 = np.clip(np.ceil(c.hull.max(axis=0)), 0, [w - 1, h - 1]).astype(int)
    cover = np.zeros((y1 - y0 + 1, x1 - x0 + 1), np.uint8)
    cv2.fillConvexPoly(cover, np.round(c.hull - [x0, y0]).astype(np.int32), 1)
    return float(mask[y0 : y1 + 1, x0 : x1 + 1][cover > 0].mean()) if cover.any() else 0.0


def read_hardware(view: WorkingView, photo: NDArray[np.uint8] | None = None, *,
                  px_per_mm: float | None = None) -> tuple[HardwareItem, ...]:
    """Hardware on a panel, likeliest first, outlines in photo pixels.

    Parameters
    ----------
    view : the panel.
    photo : (h, w, 3) full photo; not needed for anything yet, the view holds what is read.
    px_per_mm : working-view pixels a millimetre; None takes the view's own scale where it has one. Without either nothing is
        given in mm.
    """
    if px_per_mm is None and view.mm_per_px:
        px_per_mm = 1 / view.mm_per_px
    least = stored()[1]
    things = judged(view.pixels, view.mask)

    def on_photo(points: NDArray[np.float64]) -> tuple[tuple[float, float], ...]:
        return tuple((float(x), float(y)) for x, y in view.photo_points(points))

    items = [HardwareItem(t.kind, t.chance, on_photo(t.hull), t.width) for t in told(things, least)]
    found = pair_among(things, least, (view.mask.shape[0], view.mask.shape[1]))
    if found is not None and found[1] >= least["pull_missing"]:
        pair, chance = found
        holes = [t for t in things if t.kind == "hole" and t.chance >= least["hole"]]
        two = [holes[pair.first], holes[pair.second]]
        mm, error = (pair.px / px_per_mm, pair.error / px_per_mm) if px_per_mm else (None, pair.error)
        reach = max(t.width for t in two)
        rim = (np.array([t.middle for t in two])[:, None] + reach * _CIRCLE[None]).reshape(-1, 2).astype(np.float32)
        outline = np.asarray(cv2.convexHull(rim)[:, 0], np.float64)
        items.append(HardwareItem("pull_missing", chance, on_photo(outline), pair.px + reach, pair.px, mm, error,
                                  None if mm is None else nearest_pull(mm, error)))
    return tuple(sorted(items, key=lambda i: (-i.chance, i.kind)))
