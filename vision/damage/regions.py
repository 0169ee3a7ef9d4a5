"""From the net's answers on cells to separate regions of one kind each, with what a judgement of them needs."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.damage.kinds import KINDS
from vision.damage.net import DamageMaps

NAMES = tuple(KINDS)
#: Cells over which neighbouring parts of one damage are joined, and the same for kinds that lie strewn: holes, specks and
#: flakes near one another are one damage.
BRIDGE, STREWN = 2, {"insect_holes": 5, "mould": 4, "flaking_finish": 4}
#: Least cells of a region; share of a region's cells from which a second kind inside it is a region of its own.
LEAST_CELLS, SECOND = 3, 0.3
#: A region reaches out from its sure cells to those at this share of the threshold.
REACH = 0.9


@dataclass(frozen=True, eq=False)
class RawRegion:
    """A region on cells. `kind`: key of KINDS; `cells`: (rows, cols) bool; `damaged`: mean probability of damage over its
    cells, `highest` the same at its tenth of surest cells; `share`: of the damage's probability that its kind holds;
    `area_share`: of the panel's cells; `at_border`: it reaches the panel's border; `under`: mean shares of what shows;
    `filled`: share of its cells that are sure; `about`: mean probability of damage in the ring about it; `others`: share of
    the panel's cells that are sure and not in it."""

    kind: str
    cells: NDArray[np.bool_]
    damaged: float
    highest: float
    share: float
    area_share: float
    at_border: bool
    under: tuple[float, ...]
    filled: float = 1.0
    about: float = 0.0
    others: float = 0.0


def bridge_of(kind: str) -> int:
    """Cells over which parts of a kind are joined."""
    return STREWN.get(kind, BRIDGE)


def find_regions(maps: DamageMaps, threshold: float) -> list[RawRegion]:
    """Regions where damage is likelier than `threshold`, largest first.

    Cells likely enough (`REACH`) that hang together with sure ones are joined over small gaps; a joined part falls apart by
    kind where a second kind holds much of it; then parts of one kind near one another are one region.
    """
    damaged = np.where(maps.inside, 1 - maps.kinds[0], 0).astype(np.float32)
    sure, likely = damaged >= threshold, damaged >= REACH * threshold
    joined = joined_over(likely, BRIDGE)
    best = maps.kinds[1:].argmax(axis=0)
    count, parts = cv2.connectedComponents(joined.astype(np.uint8), connectivity=8)
    owner = np.full(joined.shape, -1, np.int16)
    held = np.bincount(parts[sure], minlength=count)
    for k in range(1, count):
        if held[k] >= LEAST_CELLS:
            part = parts == k
            for kind, cells in _by_kind(part, part & sure, best, maps.kinds[1:]):
                owner[cells] = kind
    whole = cv2.erode(np.pad(maps.inside.astype(np.uint8), 1), np.ones((3, 3), np.uint8))[1:-1, 1:-1] > 0
    out = []
    for kind in np.unique(owner[owner >= 0]):
        mine = owner == kind
        near = joined_over(mine, bridge_of(NAMES[kind])) & ((owner < 0) | mine) & maps.inside
        count, parts = cv2.connectedComponents(near.astype(np.uint8), connectivity=8)
        for k in range(1, count):
            cells = parts == k
            if (cells & sure & mine).sum() >= LEAST_CELLS:
                out.append(_region(int(kind), cells, cells & sure & mine, damaged, maps, whole))
    return sorted(out, key=lambda r: -r.area_share)


def joined_over(mask: NDArray[np.bool_], radius: int) -> NDArray[np.bool_]:
    """Morphological closing by a disc of cells; beyond the border lies nothing."""
    n = 2 * radius + 1
    kernel = np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (n, n)), np.uint8)
    wide = cv2.copyMakeBorder(mask.astype(np.uint8), radius, radius, radius, radius, cv2.BORDER_CONSTANT, value=0)
    return np.asarray(cv2.morphologyEx(wide, cv2.MORPH_CLOSE, kernel)[radius:-radius, radius:-radius] > 0)


def _by_kind(
    part: NDArray[np.bool_], sure: NDArray[np.bool_], best: NDArray[np.intp], shares: NDArray[np.float32]
) -> list[tuple[int, NDArray[np.bool_]]]:
    """(kind, cells): one for the kind with most probability, more for kinds that hold much of the part by themselves."""
    mass = shares[:, sure].sum(axis=1)
    main = int(mass.argmax())
    votes = np.bincount(best[sure], minlength=len(NAMES))
    others = [int(k) for k in np.flatnonzero(votes >= SECOND * sure.sum()) if k != main]
    if not others:
        return [(main, part)]
    strength = np.stack([cv2.blur(np.ascontiguousarray(shares[k]), (5, 5)) for k in (main, *others)])
    owner = strength.argmax(axis=0)
    return [(k, part & (owner == i)) for i, k in enumerate((main, *others))]


def _region(
    kind: int,
    cells: NDArray[np.bool_],
    sure: NDArray[np.bool_],
    damaged: NDArray[np.float32],
    maps: DamageMaps,
    whole: NDArray[np.bool_],
) -> RawRegion:
    values = np.sort(damaged[sure])[::-1]
    beneath = maps.under[:, sure].mean(axis=1)
    ring = (cv2.dilate(cells.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0) & ~cells & maps.inside
    everywhere = max(1, int(maps.inside.sum()))
    mine = float(cells.sum())
    return RawRegion(
        NAMES[kind],
        cells,
        float(values.mean()),
        float(values[: max(1, len(values) // 10)].mean()),
        float(maps.kinds[1 + kind][sure].sum() / max(float(damaged[sure].sum()), 1e-9)),
        mine / everywhere,
        bool((cells & ~whole).any()),
        tuple(float(v) for v in beneath),
        float(sure.sum()) / mine,
        float(damaged[ring].mean()) if ring.any() else 0.0,
        float((damaged[~cells] >= 0.5).sum()) / everywhere,
    )


def outline_of(cells: NDArray[np.bool_], scale: float, size: tuple[int, int]) -> tuple[tuple[float, float], ...]:
    """Polygon (x, y) round the largest part of a region in working-view pixels; `scale` pixels a cell, `size` (w, h)."""
    grown = cv2.resize(cells.astype(np.uint8), None, fx=2, fy=2, interpolation=cv2.INTER_NEAREST)
    outlines, _ = cv2.findContours(grown, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    longest = max(outlines, key=cv2.contourArea)[:, 0].astype(np.float64)
    centre = longest.mean(axis=0)
    longest = longest + np.sign(longest - centre) * 0.5  # from pixel centres to their outer rims
    simple = cv2.approxPolyDP(longest.astype(np.float32)[:, None], 0.7, True)[:, 0].astype(np.float64)
    if len(simple) < 3:
        (x0, y0), (x1, y1) = longest.min(axis=0), longest.max(axis=0)
        simple = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    at = (simple + 0.5) * (scale / 2) - 0.5
    at = np.clip(at, -0.5, np.array(size, float) - 0.5)
    return tuple((float(x), float(y)) for x, y in at)


#: Names of what a region's probability is judged by; the rules hold one weight each and one offset a kind.
EVIDENCE = ("damaged", "highest", "share", "size", "at_border", "filled", "about", "others", "tiny", "size_squared")


def evidence(region: RawRegion) -> NDArray[np.float64]:
    """(len(EVIDENCE),) log odds of the probabilities, log of the area share and its square, 0 or 1 at the border, shares, and
    how far it falls short of 16 cells (in doublings)."""

    def odds(p: float) -> float:
        p = min(max(p, 1e-3), 1 - 1e-3)
        return float(np.log(p / (1 - p)))

    size = float(np.log(max(region.area_share, 1e-5)))
    return np.array(
        [
            odds(region.damaged),
            odds(region.highest),
            odds(region.share),
            size,
            float(region.at_border),
            region.filled,
            odds(region.about),
            float(np.log(region.others + 1e-4)),
            max(0.0, 4 - float(np.log2(max(1, int(region.cells.sum()))))),
            (size + 5) ** 2 / 10,
        ]
    )


def probability(region: RawRegion, rules: dict[str, object]) -> float:
    """Chance that there is damage of this kind here, by the fitted logistic rules."""
    fitted = rules["probability"]
    assert isinstance(fitted, dict)
    total = float(fitted["offset"]) + float(fitted["kinds"][region.kind])
    total += float(np.dot(evidence(region), [fitted["weights"][name] for name in EVIDENCE]))
    return float(1 / (1 + np.exp(-np.clip(total, -30, 30))))
