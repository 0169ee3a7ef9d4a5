"""Which panels of several photos are put together into one part, against the truth of rendered pieces.

Outlines and views are the true ones and verdicts say nothing, so that joining rests on layout, colour and figure alone: the
hardest case, for with verdicts that say something unlike panels are kept apart more often.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Container, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from training.real_photos import Labelled, labelled_panels
from vision import registry
from vision.errors import GrainassayError
from vision.intake import load_photo
from vision.looks import mean_colour
from vision.panels import panels_from_outlines, rectify
from vision.panels.geometry import polygon_mask
from vision.parts import Sighting, find_parts, substrate_prior
from vision.repeats.find import find_repeats
from vision.repeats.sheet import Sheet, sheet_of
from vision.types import Panel, Photo, Verdict

Place = tuple[str, str]
Make = tuple[str, str | None]
FACE = dict.fromkeys(registry.FACES, 1 / len(registry.FACES))
CORE = dict.fromkeys(registry.CORES, 1 / len(registry.CORES))
#: Panels smaller than this on a side are not measured in use either, px.
LEAST_PX = 12.0
#: Sheets of one real specimen that are compared at most.
MOST_SHEETS = 12


@dataclass(frozen=True, eq=False)
class Piece:
    """One rendered piece: its photos' sizes, what is seen on them and the truth of each panel (a row of the truth files)."""

    name: str
    sizes: dict[str, tuple[int, int]]
    sightings: tuple[Sighting, ...]
    truth: dict[Place, dict[str, Any]]
    again: tuple[tuple[Place, Place], ...] = ()

    def make(self, place: Place) -> Make:
        """Face and core of a panel."""
        return str(self.truth[place]["face"]), self.truth[place]["core"]


def silent() -> Verdict:
    """A verdict that says nothing."""
    return Verdict(face=FACE, core=CORE, core_visible=0.5, substrate=substrate_prior(FACE, CORE),
                   face_set=tuple(registry.FACES), core_set=tuple(registry.CORES), substrate_set=tuple(registry.SUBSTRATES),
                   level=0.9, undecided=True, reason="weak_evidence", cues=("none",))


def _colour(pixels: Any, panel: Panel) -> tuple[float, float, float] | None:
    h, w = pixels.shape[:2]
    mask = polygon_mask(np.array(panel.outline), w, h)
    if not mask.any():
        return None
    mean = (mean_colour(pixels, mask) / 255).astype(np.float32)
    lab = cv2.cvtColor(mean.reshape(1, 1, 3), cv2.COLOR_RGB2Lab)[0, 0]
    return float(lab[0]), float(lab[1]), float(lab[2])


def load_piece(paths: Sequence[Path], cache: Path | None = None) -> Piece:
    """One piece from its truth files. With `cache`, figure seen on two of its photos is looked for and kept there."""
    sizes: dict[str, tuple[int, int]] = {}
    sightings: list[Sighting] = []
    truth: dict[Place, dict[str, Any]] = {}
    sheets: list[Sheet] = []
    found = cache / f"again.{_digest(paths)}.json" if cache is not None else None
    wanted = found is not None and not found.exists()
    name = ""
    for path in paths:
        row = json.loads(path.read_text(encoding="utf-8"))
        name = str(row["piece"])
        bgr = cv2.imread(str(path.with_suffix(".jpg")), cv2.IMREAD_COLOR)
        if bgr is None:
            raise FileNotFoundError(path.with_suffix(".jpg"))
        photo = Photo(path.stem, path.stem, "", np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), np.uint8))
        sizes[photo.id] = (photo.width, photo.height)
        for panel_row in row["panels"]:
            outline = [(float(x), float(y)) for x, y in panel_row["outline"]]
            try:
                (panel,) = panels_from_outlines(photo, [(f"x{panel_row['id']}", outline)])
            except GrainassayError:
                continue
            spans = np.ptp(np.array(panel.outline), axis=0)
            if float(spans.min()) < LEAST_PX:
                continue
            if wanted and panel_row["view"] == "face":
                sheets.append(sheet_of(rectify(photo, panel), sizes[photo.id]))
            panel = replace(panel, source="found")
            truth[photo.id, panel.id] = panel_row
            sightings.append(Sighting(photo.id, panel, panel_row["view"], silent(), _colour(photo.pixels, panel)))
    again = _seen_again(found, sheets, truth) if found is not None else ()
    return Piece(name, sizes, tuple(sightings), truth, again)


def specimens_in(folder: Path) -> list[list[Labelled]]:
    """Rows of each real specimen whose faces lie on at least two photos."""
    by: dict[str, list[Labelled]] = {}
    for row in labelled_panels(folder):
        if not row.line_scan and row.face is not None:
            by.setdefault(f"{row.author}/{row.specimen}", []).append(row)
    return [rows for rows in by.values() if len({r.path for r in rows if r.view == "face"}) > 1]


def load_specimen(rows: Sequence[Labelled], cache: Path) -> Piece:
    """One real specimen as a piece of which all faces of one make are one part; figure seen again is kept in `cache`."""
    sizes: dict[str, tuple[int, int]] = {}
    sightings: list[Sighting] = []
    truth: dict[Place, dict[str, Any]] = {}
    sheets: list[Sheet] = []
    found = cache / f"again.{_digest(sorted({r.path for r in rows}))}.json"
    photos: dict[Path, Photo] = {}
    for row in rows:
        try:
            if row.path not in photos:
                photos[row.path] = load_photo(row.path, row.path.stem)
            photo = photos[row.path]
            (panel,) = panels_from_outlines(photo, [(row.id, row.outline)])
            if not found.exists() and row.view == "face":
                sheets.append(sheet_of(rectify(photo, panel), (photo.width, photo.height)))
        except GrainassayError:
            continue
        sizes[photo.id] = (photo.width, photo.height)
        truth[photo.id, panel.id] = {"part": f"{row.face}/{row.core}", "side": "face", "view": row.view or "unknown",
                                     "face": row.face, "core": row.core, "role": "unknown"}
        sightings.append(Sighting(photo.id, replace(panel, source="found"), row.view or "unknown", silent(),
                                  _colour(photo.pixels, panel)))
    return Piece(rows[0].specimen, sizes, tuple(sightings), truth, _seen_again(found, sheets[:MOST_SHEETS], truth))


def _seen_again(found: Path, sheets: Sequence[Sheet], truth: Container[Place]) -> tuple[tuple[Place, Place], ...]:
    """Pairs of places on two photos that show one figure; kept in the file `found`."""
    if not found.exists():
        found.parent.mkdir(parents=True, exist_ok=True)
        places = [((sheets[r.a].photo, sheets[r.a].panel), (sheets[r.b].photo, sheets[r.b].panel))
                  for r in find_repeats(sheets) if r.same_surface and sheets[r.a].photo != sheets[r.b].photo]
        found.write_text(json.dumps(places), encoding="utf-8")
    pairs = [((a[0], a[1]), (b[0], b[1])) for a, b in json.loads(found.read_text(encoding="utf-8"))]
    return tuple((a, b) for a, b in pairs if a in truth and b in truth)


def _digest(paths: Sequence[Path]) -> str:
    text = "".join(p.name + str(p.stat().st_size) for p in paths)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def pieces_in(folder: Path) -> dict[str, list[Path]]:
    """Piece -> truth files, of pieces with at least two photos."""
    out: dict[str, list[Path]] = {}
    for path in sorted(folder.glob("*.json")):
        row = json.loads(path.read_text(encoding="utf-8"))
        if isinstance(row, dict) and "truth_schema" in row:
            out.setdefault(str(row["piece"]), []).append(path)
    return {k: v for k, v in out.items() if len(v) > 1}


def counts(piece: Piece, *, figure: bool = True) -> dict[str, tuple[int, int]]:
    """Figure name -> (hits, trials) of one piece. `figure`: whether what was seen again is told to `find_parts`."""
    more: dict[str, Any] = {"seen_again": piece.again} if figure else {}
    parts = find_parts(piece.sightings, piece.sizes, prior_face=FACE, prior_core=CORE, **more)
    owner = {place: part.id for part in parts for place in part.sightings}
    places = [p for p in piece.truth if p in owner]
    faces = [p for p in places if piece.truth[p]["view"] == "face"]
    out = dict.fromkeys(NAMES, (0, 0))

    def add(name: str, hit: bool) -> None:
        hits, trials = out[name]
        out[name] = (hits + int(hit), trials + 1)

    for n, a in enumerate(faces):
        for b in faces[n + 1:]:
            same = (piece.truth[a]["part"], piece.truth[a]["side"]) == (piece.truth[b]["part"], piece.truth[b]["side"])
            fused, two = owner[a] == owner[b], a[0] != b[0]
            if same and two:
                add(SAME, fused)
                add(f"{SAME}, {piece.truth[a]['role']}", fused)
            elif piece.make(a) == piece.make(b):
                add(LIKE, fused)
            else:
                add(UNLIKE_TWO if two else UNLIKE_ONE, fused)
    mixed = len({piece.make(p) for p in faces}) > 1
    for part in parts:
        if len(part.sightings) > 1:
            makes = {piece.make(p) for p in part.sightings}
            add(MIXED, len(makes) > 1)
            if mixed:
                add(MIXED_PIECE, len(makes) > 1)
    for edge in (p for p in places if piece.truth[p]["view"] != "face"):
        homes = [p for p in faces if owner[p] == owner[edge]]
        if homes:
            add(EDGE, any(piece.make(p) != piece.make(edge) for p in homes))
    return out


SAME = "one panel on two photos: fused"
LIKE = "other panels of the same make: fused (a run, or wrongly)"
UNLIKE_ONE = "panels of unlike make on one photo: fused, wrongly"
UNLIKE_TWO = "panels of unlike make on two photos: fused, wrongly"
MIXED = "parts of several panels that hold two makes"
MIXED_PIECE = "the same, on pieces of several makes"
EDGE = "edges joined to a face of another make"
ROLES = ("top", "drawer_front", "side", "door", "frame", "shelf")
NAMES = (SAME, *(f"{SAME}, {r}" for r in registry.ROLES), LIKE, UNLIKE_ONE, UNLIKE_TWO, MIXED, MIXED_PIECE, EDGE)


def shares(
    each: Sequence[dict[str, tuple[int, int]]], rounds: int = 1000, seed: int = 0
) -> dict[str, tuple[int, float, float, float]]:
    """Figure -> (trials, share, low, high): 95 % bootstrap over pieces; a figure without trials is left out."""
    rng = np.random.default_rng(seed)
    draws = rng.integers(0, len(each), (rounds, len(each)))
    out = {}
    for name in dict.fromkeys(k for c in each for k in c):
        table = np.array([c.get(name, (0, 0)) for c in each], dtype=np.float64)
        hits, trials = table.sum(axis=0)
        if trials == 0:
            continue
        sums = table[draws].sum(axis=1)
        spread = sums[sums[:, 1] > 0]
        low, high = np.quantile(spread[:, 0] / spread[:, 1], [0.025, 0.975])
        out[name] = (int(trials), float(hits / trials), float(low), float(high))
    return out
