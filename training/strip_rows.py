"""Candidate bands beside rendered face panels, each with what the instance map says of it: on a true narrow side or not.

Outlines are taken in five ways: `true`; `jittered`, every corner off by 2 to 4 px; `loose`, as drawn by a hurried hand, too
small or too large by up to 4 % and every corner off by 0.5 to 2 %; `round`, drawn round face and one of its narrow sides
together; `found`, as the panel finder gives them. Pieces are halved by a hash of their name: one half teaches, the other is
reported.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.edges.find import SideBands, side_bands
from vision.edges.find_lines import PAST, Shrunk, grid_of
from vision.resize import resize

HALVES = ("teach", "report")
WAYS = ("true", "jittered", "loose", "round", "found")
#: A band is right when it and a true narrow side share this much of what either covers, along the panel's side.
RIGHT = 0.5
#: A band is not judged where this share of it lies on parts too small for the truth, unless it is right.
NOT_JUDGED = 0.3
#: A narrow side touches a face within this many px; a whole narrow side counts as found from this overlap.
TOUCHES, WHOLE = 4, 0.4


@dataclass(frozen=True, eq=False)
class TrueSide:
    """A true edge or end. `key`: photo and number; `thick`, `length`: px; `own`: a face of its own part lies beside it."""

    key: tuple[str, int]
    piece: str
    thick: float
    length: float
    own: bool


@dataclass(frozen=True, eq=False)
class FaceBands:
    """Candidates of one outline. For each side, (n,): `shared`, share in common with the best true narrow side; `own`, that one
    is of the face's part; `which`, its number, 0 for none; `judged`, whether the truth says what lies there."""

    photo: str
    piece: str
    way: str
    sides: list[SideBands]
    shared: list[NDArray[np.float64]]
    own: list[NDArray[np.bool_]]
    which: list[NDArray[np.intp]]
    judged: list[NDArray[np.bool_]]


@dataclass(frozen=True, eq=False)
class RenderedPhoto:
    """A rendered photo with its instance map `ids` (rows, columns) and the truth of its panels."""

    path: Path
    name: str
    piece: str
    pixels: NDArray[np.uint8]
    ids: NDArray[np.uint8]
    panels: list[dict[str, Any]]

    def true_sides(self) -> list[TrueSide]:
        """Edges and ends that touch a face."""
        views = {p["id"]: p for p in self.panels}
        out = []
        for p in self.panels:
            if p["view"] == "face":
                continue
            mask = (self.ids == p["id"]).astype(np.uint8)
            around = cv2.dilate(mask, np.ones((2 * TOUCHES + 1,) * 2, np.uint8))
            beside = [views[i] for i in np.unique(self.ids[around > 0]).tolist() if i in views and views[i]["view"] == "face"]
            if not beside:
                continue
            _, sides, _ = cv2.minAreaRect(np.argwhere(mask)[:, ::-1].astype(np.float32))
            out.append(TrueSide((self.name, int(p["id"])), self.piece, float(min(sides)) + 1, float(max(sides)) + 1,
                                any(b["part"] == p["part"] for b in beside)))
        return out

    def overlap(self, outline: Any, number: int) -> float:
        """Intersection over union on the photo of a strip with the whole region of a true narrow side."""
        drawn = np.zeros(self.ids.shape, np.uint8)
        cv2.fillPoly(drawn, [np.round(np.asarray(outline)).astype(np.int32)], 1)
        region = self.ids == number
        both = int((region & (drawn > 0)).sum())
        return both / max(1, int(region.sum()) + int(drawn.sum()) - both)


def half_of(piece: str) -> str:
    return HALVES[zlib.crc32(piece.encode()) % 2]


def rendered_photos(folder: Path, half: str | None = None, *, every: int = 1) -> Iterator[RenderedPhoto]:
    """Rendered photos with their truth, of one half of the pieces; every `every`-th.

    Raises
    ------
    FileNotFoundError
        if the folder holds no truth.
    """
    paths = sorted(folder.glob("*.json"))
    if not paths:
        raise FileNotFoundError(f"{folder} holds no rendered photos")
    kept = []
    for path in paths:
        truth = json.loads(path.read_text(encoding="utf-8"))
        piece = str(truth.get("twin_group") or truth["piece"])
        if half is None or half_of(piece) == half:
            kept.append((path, truth, piece))
    for path, truth, piece in kept[::every]:
        picture = cv2.imread(str(path.with_suffix(".jpg")), cv2.IMREAD_COLOR)
        ids = cv2.imread(str(path.with_name(f"{path.stem}_id.png")), cv2.IMREAD_GRAYSCALE)
        if picture is None or ids is None:
            continue
        rgb = np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB), np.uint8)
        yield RenderedPhoto(path.with_suffix(".jpg"), path.stem, piece, rgb, np.asarray(ids, np.uint8), truth["panels"])


def enlarged(photo: RenderedPhoto, factor: float) -> RenderedPhoto:
    """The same photo at another size, as a closer or larger one would show it: thick narrow sides are rare otherwise."""
    h, w = photo.ids.shape
    size = round(w * factor), round(h * factor)
    fx, fy = size[0] / w, size[1] / h
    matrix = np.array([[1 / fx, 0, 0.5 / fx - 0.5], [0, 1 / fy, 0.5 / fy - 0.5]])
    ids = cv2.warpAffine(photo.ids, matrix, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)
    panels = [{**p, "outline": [[(x + 0.5) * fx - 0.5, (y + 0.5) * fy - 0.5] for x, y in p["outline"]],
               "area_px": p["area_px"] * fx * fy} for p in photo.panels]
    return replace(photo, pixels=resize(photo.pixels, *size), ids=np.asarray(ids, np.uint8), panels=panels)


def jittered(outline: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """Corners moved by 2 to 4 px in any direction, after leaving out those that only follow a ragged border."""
    plain = cv2.approxPolyDP(outline.astype(np.float32), 2.0, True).reshape(-1, 2).astype(np.float64)
    plain = plain if len(plain) >= 3 else outline
    angle, far = rng.uniform(0, 2 * np.pi, len(plain)), rng.uniform(2, 4, len(plain))
    return plain + far[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def outlines_of(photo: RenderedPhoto, way: str, seed: int = 0) -> Iterator[tuple[NDArray[np.float64], str | None]]:
    """(outline, part) of the panels of a photo taken in one of WAYS; the part is None for found panels."""
    rng = np.random.default_rng([seed, zlib.crc32(photo.name.encode())])
    if way == "found":
        from vision.intake import load_photo
        from vision.panels.find import find_panels

        for found in find_panels(load_photo(photo.path, photo.name)):
            yield np.asarray(found.outline, np.float64), None
        return
    for panel in photo.panels:
        outline = np.asarray(panel["outline"], np.float64)
        if panel["view"] != "face" or len(outline) < 3:
            continue
        if way == "round":
            rounded = _round(photo, panel)
            if rounded is not None:
                yield rounded, str(panel["part"])
        else:
            spoilt = {"jittered": jittered, "loose": loose}.get(way)
            yield (spoilt(outline, rng) if spoilt else outline), str(panel["part"])


def loose(outline: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """Drawn by hand: mostly a little too small, so that a band of face shows beside it, or too large."""
    plain = cv2.approxPolyDP(outline.astype(np.float32), 2.0, True).reshape(-1, 2).astype(np.float64)
    plain = plain if len(plain) >= 3 else outline
    middle, size = plain.mean(axis=0), np.sqrt(max(1.0, cv2.contourArea(plain.astype(np.float32))))
    angle, far = rng.uniform(0, 2 * np.pi, len(plain)), rng.uniform(0.005, 0.02, len(plain)) * size
    shifted = plain + far[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return np.asarray(middle + (shifted - middle) * rng.uniform(0.96, 1.02, 2))


def _round(photo: RenderedPhoto, panel: dict[str, Any]) -> NDArray[np.float64] | None:
    """Outline round a face and the largest narrow side of its part; None without one that touches."""
    others = [p for p in photo.panels if p["part"] == panel["part"] and p["view"] != "face" and p["area_px"] > 300]
    if not others:
        return None
    best = max(others, key=lambda p: p["area_px"])
    mask = np.isin(photo.ids, [panel["id"], best["id"]]).astype(np.uint8)
    closed = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    contours, _ = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    largest = max(contours, key=cv2.contourArea)
    if cv2.contourArea(largest) < 0.9 * (panel["area_px"] + best["area_px"]):
        return None
    return np.asarray(cv2.approxPolyDP(largest, 1.5, True).reshape(-1, 2), np.float64)


def bands_with_truth(photo: RenderedPhoto, ways: Sequence[str], seed: int = 0) -> Iterator[FaceBands]:
    """Candidates of every outline of a photo, judged by its instance map."""
    pictures = Shrunk(photo.pixels)
    for way in ways:
        for outline, part in outlines_of(photo, way, seed):
            sides = side_bands(pictures, photo.pixels.shape, outline)
            told = [judge_side(photo, s, part) for s in sides]
            yield FaceBands(photo.name, photo.piece, way, sides, [t[0] for t in told], [t[1] for t in told], [t[2] for t in told],
                            [t[3] for t in told])


def judge_side(photo: RenderedPhoto, side: SideBands,
               part: str | None) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.intp], NDArray[np.bool_]]:
    """`shared`, `own`, `which` and `judged` of a side's bands (see FaceBands), along the panel's side."""
    layout = side.layout
    matrix, n, rows, _, _ = grid_of(layout.a, layout.b, layout.way)
    laid = cv2.warpAffine(photo.ids, matrix, (n, rows), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP, borderValue=0)
    share = np.linspace(0.03, 0.97, 48)
    cols = np.clip(np.round((share + PAST) / (1 + 2 * PAST) * n - 0.5), 0, n - 1).astype(int)
    laid = laid[:, cols]
    best, own, which = np.zeros(len(side.bands)), np.zeros(len(side.bands), bool), np.zeros(len(side.bands), np.intp)
    i, j = side.bands[:, 0], side.bands[:, 1]
    upper = side.lines.row[i][:, None] + side.lines.tilt[i][:, None] * (share - 0.5)
    lower = side.lines.row[j][:, None] + side.lines.tilt[j][:, None] * (share - 0.5)
    first, last = (np.clip(np.round(v + 0.5), 0, rows).astype(int) for v in (upper, lower))
    size = (last - first).clip(0).sum(axis=1)
    k = np.arange(len(cols))

    def within(there: NDArray[np.bool_]) -> NDArray[np.intp]:
        sums = np.concatenate([np.zeros((1, len(cols)), np.intp), np.cumsum(there, axis=0)])
        return np.asarray((sums[last, k] - sums[np.minimum(first, last), k]).sum(axis=1))

    for panel in photo.panels:
        if panel["view"] == "face":
            continue
        there = laid == panel["id"]
        total = int(there.sum())
        if total < 20:
            continue
        both = within(there)
        shared = both / np.maximum(1, size + total - both)
        better = shared > best
        best, own, which = (np.where(better, new, old) for new, old in (
            (shared, best), (np.full(len(best), part == panel["part"]), own), (np.full(len(best), panel["id"]), which)))
    return best, own, which, (best >= RIGHT) | (within(laid == 0) < NOT_JUDGED * size)
