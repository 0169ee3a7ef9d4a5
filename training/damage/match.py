"""True regions on the net's cells, and which found region answers which true one."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from training.damage.cells import to_cells
from training.damage.make import CODE_UNKNOWN, NAMES, Panel
from training.damage.marks import UNDER
from vision.damage.kinds import severity
from vision.damage.net import CELL, SIDE
from vision.damage.regions import LEAST_CELLS, RawRegion, bridge_of, joined_over
from vision.resize import fit_within

#: A found region answers a true one at this overlap (intersection over union), or when its centre lies in the filled true
#: region and its size is within a factor of two.
OVERLAP, FACTOR = 0.3, 2.0
#: Crumbs beside a larger region of their kind are neither to be found nor wrong to find: fewer cells and smaller share than this.
CRUMB_CELLS, CRUMB_SHARE = 16, 0.15

Cells = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class TrueRegion:
    """A drawn region on cells: kind, cells, severity by the program's own rule, and what shows beneath (None unknown)."""

    kind: str
    cells: Cells
    severity: str
    shows: str | None


@dataclass(frozen=True, eq=False)
class Truth:
    """True regions of a panel, cells of which nothing is known, cells of each look-alike, and what it was drawn on. `regions`:
    pieces that hang together; `drawn`: each drawn damage as one region, however many pieces it is in."""

    regions: tuple[TrueRegion, ...]
    unknown: Cells
    fools: dict[str, Cells]
    base: str
    group: str
    drawn: tuple[TrueRegion, ...] = ()


def on_grid(layer: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A label map scaled to the size that the net looks at and padded to whole cells with 0."""
    h, w = layer.shape
    width, height = fit_within(w, h, max_side=SIDE)
    small = cv2.resize(np.ascontiguousarray(layer), (width, height), interpolation=cv2.INTER_NEAREST)
    return np.pad(np.asarray(small, np.uint8), ((0, -height % CELL), (0, -width % CELL)))


def truth_of(panel: Panel) -> Truth:
    """The truth of a panel as regions: parts of one kind joined as found ones are, each at least three cells; crumbs left out."""
    kinds, known = to_cells(on_grid(panel.labels))
    under, _ = to_cells(on_grid(panel.under))
    inside, _ = to_cells(on_grid(np.ones(panel.labels.shape, np.uint8)))
    out = []
    for code in np.unique(kinds[kinds > 0]):
        mask = joined_over(kinds == code, bridge_of(NAMES[int(code) - 1])) & ((kinds == 0) | (kinds == code))
        count, parts = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
        largest = int(np.bincount(parts.ravel())[1:].max(initial=0))
        for k in range(1, count):
            cells = parts == k
            if cells.sum() < LEAST_CELLS or (cells.sum() < CRUMB_CELLS and cells.sum() < CRUMB_SHARE * largest):
                known &= ~cells
                continue
            out.append(_true(NAMES[int(code) - 1], cells, under, int((inside > 0).sum())))
    drawn = []
    for number in np.unique(panel.marks[(panel.labels > 0) & (panel.labels != CODE_UNKNOWN) & (panel.marks > 0)]):
        mine = np.where(panel.marks == number, panel.labels, 0).astype(np.uint8)
        cells = to_cells(on_grid(mine))[0]
        if (cells > 0).sum() >= LEAST_CELLS:
            drawn.append(_true(NAMES[int(cells.max()) - 1], cells > 0, under, int((inside > 0).sum())))
    fools = {n: to_cells(on_grid(m.astype(np.uint8)))[0] > 0 for n, m in panel.fools.items()}
    return Truth(tuple(out), ~known, fools, panel.base, panel.group, tuple(drawn))


def _true(kind: str, cells: Cells, under: NDArray[np.uint8], inside: int) -> TrueRegion:
    seen = under[cells]
    shows = UNDER[int(np.bincount(seen[seen > 0]).argmax()) - 1] if (seen > 0).mean() > 0.3 else None
    share = min(1.0, float(cells.sum() / max(1, inside)))
    return TrueRegion(kind, cells, severity(kind, share, touches(cells)), shows)


def counted_once(found: list[RawRegion], truth: Truth) -> tuple[list[RawRegion], list[int]]:
    """(regions, index in `found` of the first of each): found regions of one kind that lie on one drawn damage are one.

    A region lies on a damage when half of its cells are on it with its gaps bridged; any other stays by itself.
    """
    places = [joined_over(t.cells, bridge_of(t.kind)) for t in truth.drawn]
    groups: dict[tuple[str, int], list[int]] = {}
    for i, region in enumerate(found):
        shares = [float((region.cells & p).sum()) / float(region.cells.sum()) for p in places]
        best = int(np.argmax(shares)) if shares else -1
        groups.setdefault((region.kind, best if shares and shares[best] >= 0.5 else -1 - i), []).append(i)
    merged = [replace(found[of[0]], cells=np.any([found[i].cells for i in of], axis=0)) for of in groups.values()]
    return merged, [of[0] for of in groups.values()]


def touches(cells: Cells) -> bool:
    """Whether cells reach the border of their grid."""
    return bool(cells[0].any() or cells[-1].any() or cells[:, 0].any() or cells[:, -1].any())


def filled(cells: Cells) -> Cells:
    """Cells with the holes of their outer outlines filled."""
    outlines, _ = cv2.findContours(cells.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    out = np.zeros(cells.shape, np.uint8)
    cv2.drawContours(out, outlines, -1, 1, cv2.FILLED)
    return np.asarray(out > 0)


def answers(found: Cells, true: Cells) -> float:
    """Overlap of a found with a true region where it answers it, else 0."""
    both, either = int((found & true).sum()), int((found | true).sum())
    overlap = both / max(1, either)
    if overlap >= OVERLAP:
        return overlap
    y, x = (round(float(v.mean())) for v in np.nonzero(found))
    ratio = found.sum() / max(1, int(true.sum()))
    return max(overlap, 1e-3) if filled(true)[y, x] and 1 / FACTOR <= ratio <= FACTOR else 0.0


def pair(found: list[RawRegion], truth: Truth) -> tuple[list[int | None], list[bool]]:
    """For each found region the true region it answers (best overlaps first, each used once) or None; and for each whether it
    counts at all: one lying mostly where nothing is known, or beside a true region as its second piece, still counts only
    when it is known ground."""
    scores = [
        (answers(f.cells, t.cells), f.kind == t.kind, i, k) for i, f in enumerate(found) for k, t in enumerate(truth.regions)
    ]
    mate: list[int | None] = [None] * len(found)
    used: set[int] = set()
    for score, _, i, k in sorted(scores, key=lambda s: (-s[1], -s[0])):
        if score > 0 and mate[i] is None and k not in used:
            mate[i] = k
            used.add(k)
    counts = [
        m is not None or float((f.cells & truth.unknown).sum()) < 0.5 * f.cells.sum() for m, f in zip(mate, found, strict=True)
    ]
    return mate, counts


def f1(right: float, found: float, true: float) -> float:
    """Harmonic mean of precision and recall; nan without anything found or true."""
    return 2 * right / (found + true) if found + true else float("nan")
