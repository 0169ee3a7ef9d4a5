"""Whether a net's evidence lies where its map says: take the place away from the photo, ask again, compare with other places.

Taking away means replacing by a strong blur of what is there, so that tone and shade stay and figure goes, with soft borders.
Insertion is the reverse: the whole panel is blurred but for the place. What counts is the change of the net's log odds between
the face it put first and the one it put second, against the same change for places of the same shape and area elsewhere on the
same panel. One of the net's pictures is a small tile at full resolution: a place that hits the tile by chance would look
important, so places are also compared that cover as much of the tile.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.looks import SIDE, native_corner
from vision.net_answer import NetAnswer
from vision.net_regions import WEAKER, EvidenceMap, evidence_map, net_regions
from vision.panels import geometry, rectify
from vision.resize import fit_within, resize
from vision.types import Panel, Photo, WorkingView

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]
Shift = tuple[float, float]
#: The disc that is tried on every panel covers this share of it.
DISC_SHARE = 0.1
#: Another place must lie on the panel as far as the place itself does, but for this share; overlap it by no more than this share;
#: and, to count as matched, cover as much of the tile but for this share of what either could cover.
ON_PANEL, OVERLAP, TILE = 0.05, 0.5, 0.15
#: Blur, as a share of the place's radius, and softness of its border.
BLUR, SOFT = 0.5, 0.1


class Net(Protocol):
    """Anything that answers about a panel on a photo."""

    def answer(self, photo: Photo, view: WorkingView) -> NetAnswer: ...


@dataclass(frozen=True)
class Change:
    """Nats by which the log odds fell when the place was taken away: `top` for the place itself, `other` the mean over other
    places, `matched` over those that cover as much of the tile (nan where there is no such place)."""

    top: float
    other: float
    matched: float


@dataclass(frozen=True)
class Trial:
    """One panel. `log_odds`: of the first face against the second; `spot`, `disc`: what deleting did, None where there is no spot
    on the panel or no room for other places; `inserted`: nats gained by showing the spot, and others, on a blurred panel;
    `says`: nats the map puts in the spot; `area`: its share of the panel; `kept_from`: why no spot was tried, empty where one
    was: 'spread' (the map made none), 'beside' (the strongest lies beside the panel), 'bias' (the pictures speak against the
    face put first, which only the net's bias puts there), 'room' (no other place to compare with);
    `marked`: the program shows the spot, else it is a weaker one that it does not."""

    author: str
    log_odds: float
    spot: Change | None = None
    inserted: Change | None = None
    disc: Change | None = None
    says: float = float("nan")
    area: float = float("nan")
    kept_from: str = ""
    marked: bool = True


def blurred(photo: Photo, places: Sequence[Points], radius: float, *, but: bool = False) -> Photo:
    """The photo with polygons (photo pixels) blurred away; `but`: with the first polygon blurred except for the others."""
    pixels = photo.pixels.copy()
    outer = places[:1] if but else places
    for place in outer:
        margin = int(3 * BLUR * radius) + 2
        x0, y0 = np.maximum(np.floor(place.min(axis=0)).astype(int) - margin, 0)
        x1, y1 = np.minimum(np.ceil(place.max(axis=0)).astype(int) + margin, [photo.width, photo.height])
        if x1 <= x0 or y1 <= y0:
            continue
        w, h = int(x1 - x0), int(y1 - y0)
        mask = geometry.polygon_mask(place - [x0, y0], w, h).astype(np.float32)
        if but:
            for kept in places[1:]:
                mask[geometry.polygon_mask(kept - [x0, y0], w, h)] = 0
        small = fit_within(w, h, max_pixels=int(max(64, w * h * (4.0 / max(4.0, BLUR * radius)) ** 2)))
        sigma = max(0.5, BLUR * radius * small[0] / w)
        part = photo.pixels[y0:y1, x0:x1]
        smooth = resize(np.asarray(cv2.GaussianBlur(resize(part, *small), (0, 0), sigma), np.uint8), w, h)
        soft = cv2.GaussianBlur(mask, (0, 0), max(0.5, min(SOFT * radius, 40.0)))[..., None]
        pixels[y0:y1, x0:x1] = np.round(part * (1 - soft) + smooth * soft).astype(np.uint8)
    return replace(photo, pixels=pixels)


def trial(net: Net, photo: Photo, panel: Panel, author: str, rng: np.random.Generator, *, others: int = 4) -> Trial:
    """Delete, insert and compare on one panel; `others`: other places of each sort."""
    view = rectify(photo, panel)
    size = (photo.width, photo.height)
    answer = net.answer(photo, view)
    pair = answer.leading()
    odds = answer.log_odds(pair)
    found = net_regions(answer, view, size, pair)
    if not found.spots:
        found, marked = net_regions(answer, view, size, pair, WEAKER), False
    else:
        marked = True
    laid = evidence_map(answer, view, size, pair)
    tile = _tile(view, laid)

    def after(changed: Photo) -> float:
        return odds - net.answer(changed, rectify(changed, panel)).log_odds(pair)

    def deleted(place: Points, at: Mask) -> tuple[Change | None, float, list[Shift]]:
        radius = float(np.sqrt(at.sum() / np.pi)) * laid.step
        plain, matched = _others(at, laid, tile, rng, others)
        if not plain:
            return None, radius, plain
        falls = [[after(blurred(photo, [place + s], radius)) for s in shifts] for shifts in (plain, matched)]
        means = [float(np.mean(f)) if f else float("nan") for f in falls]
        return Change(after(blurred(photo, [place], radius)), *means), radius, plain

    centre, disc = _disc(laid)
    result = Trial(author, odds, disc=None if disc is None else deleted(centre, disc)[0])
    if found.pair != pair:
        return replace(result, kept_from="bias")
    if not found.spots:
        return replace(result, kept_from="spread")
    top = found.spots[0]
    if top.inside < 0.5:
        return replace(result, kept_from="beside")
    place = np.array(top.outline)
    at = _cells(place, laid)
    change, radius, plain = deleted(place, at)
    if change is None:
        return replace(result, kept_from="room")
    result = replace(result, spot=change, marked=marked, says=top.nats, area=float((at & laid.panel).sum() / laid.panel.sum()))
    outline = np.asarray(panel.outline, dtype=np.float64)
    hidden = -after(blurred(photo, [outline], radius))
    shown = [(0.0, 0.0), *plain[: max(1, others // 2)]]
    gains = [-after(blurred(photo, [outline, place + s], radius, but=True)) - hidden for s in shown]
    return replace(result, inserted=Change(gains[0], float(np.mean(gains[1:])), float("nan")))


def _cells(place: Points, laid: EvidenceMap) -> Mask:
    rows, cols = laid.panel.shape
    return geometry.polygon_mask((place - laid.origin) / laid.step - 0.5, cols, rows)


def _tile(view: WorkingView, laid: EvidenceMap) -> Mask:
    """Grid cells that the full-resolution tile shows."""
    x, y = np.array(native_corner(view, SIDE)) + view.native_origin
    h, w = (min(SIDE, s) for s in view.native.shape[:2])
    return _cells(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], dtype=np.float64), laid)


def _overlaps(where: Mask, at: Mask) -> NDArray[np.float64]:
    """(2 rows - 1, 2 cols - 1) cells of `where` that `at` covers when shifted by (c - cols + 1, r - rows + 1)."""
    rows, cols = where.shape
    size = (cv2.getOptimalDFTSize(3 * rows), cv2.getOptimalDFTSize(3 * cols))
    product = np.fft.rfft2(where.astype(float), size) * np.conj(np.fft.rfft2(at.astype(float), size))
    full = np.fft.irfft2(product, size)
    r, c = np.arange(-rows + 1, rows), np.arange(-cols + 1, cols)
    return np.asarray(np.round(full[np.ix_(r, c)]), dtype=np.float64)


def _others(at: Mask, laid: EvidenceMap, tile: Mask, rng: np.random.Generator, count: int) -> tuple[list[Shift], list[Shift]]:
    """Shifts in photo pixels to other places on the panel: any, and those that cover as much of the tile."""
    rows, cols = at.shape
    area = max(1.0, float(at.sum()))
    on, same, tiled = _overlaps(laid.panel, at), _overlaps(at, at), _overlaps(tile, at)
    here = (rows - 1, cols - 1)
    fits = (on >= on[here] - ON_PANEL * area) & (same <= OVERLAP * area)
    matched = fits & (np.abs(tiled - tiled[here]) <= TILE * min(area, max(1.0, float(tile.sum()))))

    def drawn(which: NDArray[np.bool_]) -> list[Shift]:
        r, c = np.nonzero(which)
        picked = rng.permutation(len(r))[:count]
        return [((float(c[i]) - here[1]) * laid.step, (float(r[i]) - here[0]) * laid.step) for i in picked]

    return drawn(fits), drawn(matched)


def _disc(laid: EvidenceMap) -> tuple[Points, Mask | None]:
    """Outline in photo pixels and cells of the disc on the panel that holds most evidence beyond an even spread."""
    rows, cols = laid.panel.shape
    radius = float(np.sqrt(DISC_SHARE * laid.panel.sum() / np.pi))
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    rim = np.c_[np.cos(angle), np.sin(angle)] * radius
    reach = int(radius) + 1
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    kernel = (x**2 + y**2 <= radius**2).astype(np.float64)
    inside = cv2.filter2D(laid.panel.astype(np.float64), -1, kernel, borderType=cv2.BORDER_CONSTANT)
    held = cv2.filter2D(laid.towards - laid.even, -1, kernel, borderType=cv2.BORDER_CONSTANT)
    allowed = inside >= (1 - ON_PANEL) * kernel.sum()
    if not allowed.any():
        return rim, None
    r, c = np.unravel_index(int(np.where(allowed, held, -np.inf).argmax()), (rows, cols))
    place = (rim + np.array([c + 0.5, r + 0.5])) * laid.step + laid.origin
    return place, _cells(place, laid)
