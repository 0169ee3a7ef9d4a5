"""Real wood figure to build composites from: flat pieces of face, grain along x, split by who took the picture.

Nothing here is committed: pictures stay where they are, crops are kept in a cache folder that git ignores.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from vision.errors import UsageError
from vision.grain.field import grain_field
from vision.intake import load_photo
from vision.panels import panels_from_outlines, rectify
from vision.resize import fit_within, resize

#: Raised when the same pictures give other crops, so that an old cache is not used.
VERSION = 6
#: Longest side of a crop, and the least it may measure, pixels.
MAX_SIDE, MIN_LONG, MIN_SHORT = 1600, 240, 150
#: Least standard deviation (grey levels) of detail between 1.5 and 12 px at 400 px height: less shows no figure at all.
MIN_FIGURE = 1.6
#: `left_out`: pictures not used and why; `tiles`: (width, height) shares kept of pictures that hold one tile several times,
#: since the second would be a repeat that nobody made; `boards`: pictures of several boards. Found by eye and by matching
#: all figures with one another and with themselves: one figure under two names would make a false negative of a true
#: repeat, and could join the two parts.
EXCLUDED = Path(__file__).with_name("excluded.json")
CACHE = Path("build") / "composites"


@dataclass(frozen=True, eq=False)
class Figure:
    """One piece of real face. `pixels`: (h, w, 3) uint8 sRGB, grain along x. `group`: who took it (never shared between
    parts). `kind`: 'straight' (grain within 3 degrees of its mean), 'plain' or 'boards' (glued up of several)."""

    pixels: NDArray[np.uint8]
    group: str
    name: str
    kind: str


def part_of(group: str) -> str:
    """'tune' or 'report': fixed by a hash of the group's name; two fifths tune, three fifths report."""
    return "tune" if hashlib.sha256(f"composites 2 {group}".encode()).digest()[0] < 102 else "report"


def load(folder: Path, textures: Path | None, part: str, *, cache: Path | None = CACHE) -> list[Figure]:
    """Figures of one part, sorted by group and name.

    Parameters
    ----------
    folder : photo collection with panels.csv, photos.csv and img/.
    textures : folder with one unpacked package a subfolder and package_textures.csv beside them; None for none.
    part : 'tune' or 'report'.
    cache : folder for the crops (as PNG); None makes them anew.
    """
    if part not in ("tune", "report"):
        raise ValueError(f"part is 'tune' or 'report', not {part!r}")
    key = hashlib.sha256(f"{VERSION} {Path(folder).resolve()} {textures and Path(textures).resolve()} "
                         f"{EXCLUDED.read_text()}".encode()).hexdigest()[:12]
    store = None if cache is None else cache / f"figures-{key}-{part}"
    if store is not None and (store / "index.json").exists():
        rows = json.loads((store / "index.json").read_text())
        return [Figure(_read(store / r["file"]), r["group"], r["name"], r["kind"]) for r in rows]
    sources = (_outlined(folder, part), _figure_files(folder, part), _package_textures(textures, part))
    figures = [_one_tile(f) for source in sources for f in source]
    figures.sort(key=lambda f: (f.group, f.name))
    if store is not None:
        store.mkdir(parents=True, exist_ok=True)
        rows = []
        for k, f in enumerate(figures):
            Image.fromarray(f.pixels).save(store / f"{k:04d}.png")
            rows.append({"file": f"{k:04d}.png", "group": f.group, "name": f.name, "kind": f.kind})
        (store / "index.json").write_text(json.dumps(rows))
    return figures


def _read(file: Path) -> NDArray[np.uint8]:
    with Image.open(file) as image:
        return np.asarray(image.convert("RGB"))


def _excluded() -> set[str]:
    return set(json.loads(EXCLUDED.read_text())["left_out"])


def _one_tile(figure: Figure) -> Figure:
    """The figure without the second showing of its tile, and called boards where joints are seen that no label tells."""
    known = json.loads(EXCLUDED.read_text())
    if figure.name in known["boards"]:
        figure = Figure(figure.pixels, figure.group, figure.name, "boards")
    share = known["tiles"].get(figure.name)
    if share is None:
        return figure
    h, w = figure.pixels.shape[:2]
    pixels = np.ascontiguousarray(figure.pixels[: int(share[1] * h), : int(share[0] * w)])
    return Figure(pixels, figure.group, figure.name, figure.kind)


def _outlined(folder: Path, part: str) -> list[Figure]:
    """Faces of solid wood and veneer whose label does not rest on a look alone, undone of perspective."""
    with (folder / "panels.csv").open(newline="") as file:
        rows = [r for r in csv.DictReader(file) if r["view"] == "face" and r["face"] in ("solid_wood", "veneer")]
    skip = _excluded()
    rows = [r for r in rows if r["trust"] != "by_eye" and part_of(r["source"]) == part and r["id"] not in skip
            and r["layout"] in ("none", "boards", "", "unknown") and "atlas" not in r["notes"] + r["file"]]
    photos = {}
    out = []
    for r in rows:
        if r["file"] not in photos:
            photos = {r["file"]: load_photo(folder / "img" / r["file"], "p1")}
        photo = photos[r["file"]]
        points = [tuple(float(v) for v in p.split(":")) for p in r["polygon"].split()]
        try:
            panel = panels_from_outlines(photo, [(None, points)])[0]
        except UsageError:  # an outline the program refuses is no source of figure
            continue
        view = rectify(photo, panel, working_px=MAX_SIDE)
        x0, y0, x1, y1 = inner_box(view.mask)
        figure = prepare(view.pixels[y0:y1, x0:x1], r["source"], r["id"], boards=r["layout"] == "boards",
                         upright="line-scan" in r["notes"])
        if figure is not None:
            out.append(figure)
    return out


def _figure_files(folder: Path, part: str) -> list[Figure]:
    """Whole pictures marked as wood figure; black borders of the line scans are cut off."""
    with (folder / "photos.csv").open(newline="") as file:
        rows = [r for r in csv.DictReader(file) if r["use"] == "figure" and part_of(r["source"]) == part]
    skip = _excluded()
    out = []
    for r in rows:
        if r["file"] in skip or "synthetic" in r["notes"].lower():
            continue
        pixels = load_photo(folder / "img" / r["file"], "p1").pixels
        x0, y0, x1, y1 = inner_box(_lit(pixels))
        figure = prepare(pixels[y0:y1, x0:x1], r["source"], r["file"], upright="line-scan" in r["notes"])
        if figure is not None:
            out.append(figure)
    return out


def _lit(pixels: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """True where a picture is not black border (rows and columns judged as wholes, so dark knots stay in)."""
    grey = pixels.max(axis=2)
    cols, rows = np.percentile(grey, 40, axis=0) > 45, np.percentile(grey, 40, axis=1) > 45
    return np.asarray(rows[:, None] & cols[None, :])


def _package_textures(textures: Path | None, part: str) -> list[Figure]:
    """Wood faces that packages carry: `textures`/PACKAGE/PATH, where PATH may name a member of a zip as ZIP!MEMBER."""
    if textures is None:
        return []
    skip = _excluded()
    out = []
    with (textures / "package_textures.csv").open(newline="") as file:
        rows = [r for r in csv.DictReader(file) if r["label"] == "wood_face"]
    for r in rows:
        group = f"texture {r['group']}"
        name = r["path"].rsplit("/", 1)[-1]
        if part_of(group) != part or name in skip:
            continue
        outer, _, member = r["path"].partition("!")
        path = textures / r["package"] / outer
        if not path.exists():
            continue
        data = _member(path, member) if member else path.read_bytes()
        if data is None:
            continue
        with Image.open(io.BytesIO(data)) as image:
            pixels = np.asarray(image.convert("RGB"))
        figure = prepare(pixels, group, name)
        if figure is not None:
            out.append(figure)
    return out


def _member(archive: Path, name: str) -> bytes | None:
    """A file of a zip, named by its path with underscores for slashes in lower case; None when it is not there."""
    with zipfile.ZipFile(archive) as bundle:
        for member in bundle.namelist():
            if member.replace("/", "_").lower() == name:
                return bundle.read(member)
    return None


def inner_box(mask: NDArray[np.bool_]) -> tuple[int, int, int, int]:
    """Half-open box (x0, y0, x1, y1) inside a mask, close to the largest: borders are peeled while they miss the mask."""
    padded = np.pad(mask.astype(np.int64).cumsum(0).cumsum(1), ((1, 0), (1, 0)))
    x0, y0, x1, y1 = 0, 0, mask.shape[1], mask.shape[0]

    def share(a: int, b: int, c: int, d: int) -> float:
        return (padded[d, c] - padded[b, c] - padded[d, a] + padded[b, a]) / max(1, (c - a) * (d - b))

    while x1 - x0 > 2 and y1 - y0 > 2:
        strips = [share(x0, y0, x0 + 1, y1), share(x1 - 1, y0, x1, y1), share(x0, y0, x1, y0 + 1), share(x0, y1 - 1, x1, y1)]
        worst = int(np.argmin(strips))
        if strips[worst] > 0.995:
            break
        x0, x1, y0, y1 = x0 + (worst == 0), x1 - (worst == 1), y0 + (worst == 2), y1 - (worst == 3)
    return x0, y0, x1, y1


def prepare(pixels: NDArray[np.uint8], group: str, name: str, *, boards: bool = False, upright: bool = False) -> Figure | None:
    """A crop as figure: margin cut, grain turned along x, the camera's own noise softened; None when it shows too little.

    `upright`: the grain is known to run upright (line scans, whose saw marks would mislead the measure).

    The softening (Gaussian, 0.7 px) keeps two composites of one crop from sharing the sensor noise of their source.
    """
    h, w = pixels.shape[:2]
    margin = max(2, round(0.02 * min(h, w)))
    pixels = pixels[margin : h - margin, margin : w - margin]
    if min(pixels.shape[:2]) < MIN_SHORT or max(pixels.shape[:2]) < MIN_LONG:
        return None
    width, height = fit_within(pixels.shape[1], pixels.shape[0], max_side=MAX_SIDE)
    pixels = resize(pixels, width, height)
    angle, spread = grain_angle(pixels)
    if upright:
        angle, spread = 90.0, max(spread, 3.0)
    if 45 <= angle < 135:
        pixels = np.ascontiguousarray(np.rot90(pixels, -1))
        angle = (angle - 90) % 180
    off = angle if angle < 90 else angle - 180
    if abs(off) > 2.5 and spread < 15:
        pixels = _turn(pixels, off)
    if min(pixels.shape[:2]) < MIN_SHORT or figure_strength(pixels) < MIN_FIGURE:
        return None
    soft = cv2.GaussianBlur(pixels, (0, 0), 0.7)
    kind = "boards" if boards else "straight" if spread < 3.0 else "plain"
    return Figure(np.ascontiguousarray(soft), group, name, kind)


def grain_angle(pixels: NDArray[np.uint8]) -> tuple[float, float]:
    """(mean grain angle 0..180, spread) in degrees, weighted by coherence over the doubled angle."""
    field = grain_field(pixels)
    weight = field.coherence * field.valid
    doubled = np.exp(2j * np.deg2rad(field.angle))
    mean = (weight * doubled).sum() / max(float(weight.sum()), 1e-9)
    turned = np.angle(doubled * np.conj(mean)) / 2
    spread = np.rad2deg(np.sqrt((weight * turned**2).sum() / max(float(weight.sum()), 1e-9)))
    return float(np.rad2deg(np.angle(mean)) / 2 % 180), float(spread)


def _turn(pixels: NDArray[np.uint8], degrees: float) -> NDArray[np.uint8]:
    """Turned clockwise by `degrees` (grain at +degrees becomes level), then the largest box free of border."""
    h, w = pixels.shape[:2]
    matrix = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), -degrees, 1.0)
    turned = cv2.warpAffine(pixels, matrix, (w, h), flags=cv2.INTER_CUBIC)
    inside = cv2.warpAffine(np.full((h, w), 255, np.uint8), matrix, (w, h), flags=cv2.INTER_NEAREST) > 0
    x0, y0, x1, y1 = inner_box(inside)
    return np.asarray(turned[y0:y1, x0:x1], dtype=np.uint8)


def figure_strength(pixels: NDArray[np.uint8]) -> float:
    """Standard deviation (grey levels) of what lies between 1.5 and 12 px once the crop is 400 px high."""
    h, w = pixels.shape[:2]
    grey = cv2.cvtColor(resize(pixels, max(8, round(w * 400 / h)), 400), cv2.COLOR_RGB2GRAY).astype(np.float32)
    return float((cv2.GaussianBlur(grey, (0, 0), 1.5) - cv2.GaussianBlur(grey, (0, 0), 12)).std())
