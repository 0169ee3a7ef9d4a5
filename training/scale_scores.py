"""How true the millimetres are: made-up photos of a card, coin, ruler, marker sheet or two points, with exact truth.

    python -m training.scale_scores [card] [coin] [ruler] [sheet] [points] [others] [--count N] [--seed S] [--tilt DEGREES]
    python -m training.scale_scores real --photos FOLDER [--part K/N] [--asked card]

For each object and tilt: the share found, how far lengths on the surface are off (median and 95th percentile of the absolute
error, per cent) and how often the 95 % error bar holds the truth. `card` is what `--scale card` finds, `card_auto` what is
found unasked for by name, `card_tap` with a point on it. `others`: photos with rectangles that are no cards, how
often one is taken for a card; `real`: the same on photos from a folder that hold none. Shares carry exact intervals.
Seeds below 1000 were used while the numbers in vision/scale were set; report with others.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training import scale_objects as objects
from training.binomial import exact_interval
from training.scale_scenes import Camera, Layer, aim, photograph, wood
from vision.millimetres import Scale, mapped

Array = NDArray[np.float64]
SIZE = (1400, 1050)
TILTS = (0.0, 20.0, 40.0, 55.0)
#: Focal lengths of phones as shares of the longer side, and how common.
FOCALS, FOCAL_ODDS = (0.69, 0.75, 0.80, 1.5), (0.3, 0.35, 0.25, 0.1)
GROUNDS = 6
CACHE = Path("build") / "scale"
#: Lengths measured: mm from the object's middle to the first point, and from there on; several a photo.
FIRST_MM, NEXT_MM, LENGTHS = (0.0, 90.0), (15.0, 150.0), 6
COINS = (16.25, 19.05, 21.25, 23.25, 24.26, 25.75)
#: What is drawn for a row whose name is no object's.
DRAWN = {"card_tap": "card", "card_auto": "card", "coin_tap": "coin", "points": "card"}
#: A find counts as false when its middle lies farther than this from the object's, as a share of the object's size.
ELSEWHERE = 0.25


@dataclass(frozen=True, eq=False)
class Made:
    """A made photo. `middle`, `size_px`: where the object is seen; `focal`: what the file would state, or None."""

    pixels: NDArray[np.uint8]
    camera: Camera
    layer: Layer
    middle: Array
    size_px: float
    focal: float | None
    look: str


def board(seed: int, rng: np.random.Generator) -> NDArray[np.uint8]:
    """One of the boards of a block of a thousand seeds; kept under build/scale, since each takes seconds to grow."""
    n = int(seed // 1000 * 100 + rng.integers(GROUNDS))
    kept = CACHE / f"board-{n}.png"
    if kept.exists():
        return np.ascontiguousarray(np.asarray(cv2.imread(str(kept)), dtype=np.uint8)[..., ::-1])
    pixels = wood(n)
    CACHE.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(kept), pixels[..., ::-1])
    return pixels


def make(kind: str, tilt: float, seed: int) -> Made:
    """Photo of one object on a board."""
    rng = np.random.default_rng([seed, 4242, sum(map(ord, kind)), round(tilt)])
    ground = board(seed, rng)
    angle, look = float(rng.uniform(0, 2 * np.pi)), ""
    near, far = {"coin": (130.0, 330.0), "sheet": (400.0, 900.0), "ruler": (220.0, 420.0)}.get(kind, (200.0, 600.0))
    if kind == "card":
        look = objects.LOOKS[int(rng.integers(len(objects.LOOKS)))]
        layer = objects.card(rng, look, ground, (0.0, 0.0), angle)
    elif kind == "coin":
        layer = objects.coin(rng, float(rng.choice(COINS)), (0.0, 0.0))
    elif kind == "ruler":
        look = "mm" if rng.random() < 0.5 else "inch"
        layer = objects.ruler(rng, look, (0.0, 0.0), angle)
    else:
        layer = objects.sheet((0.0, 0.0), angle)
    camera = aim(rng, tilt, float(rng.uniform(near, far)), SIZE, float(rng.choice(FOCALS, p=FOCAL_ODDS)))
    layers = [layer]
    if rng.random() < 0.35 and kind in ("card", "sheet"):
        layers.append(objects.cover(rng, layer))
    pixels = photograph(
        ground, layers, camera, rng, quality=int(rng.integers(40, 91)), blur=float(rng.uniform(0.3, 1.3)),
        noise=float(rng.uniform(0.5, 4.5)), gradient=float(rng.uniform(0, 0.3)), shadow=float(rng.choice([0.0, 0.0, 0.45])),
    )
    to_photo = np.asarray(camera.to_photo(layer.thick) @ layer.to_plane, dtype=np.float64)
    middle = mapped(to_photo, np.zeros((1, 2)))[0]
    half = np.array(layer.mm, dtype=np.float64) / 2
    rim = np.asarray(np.array([[-1.0, -1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, 1.0]]) * half, dtype=np.float64)
    spots = mapped(to_photo, rim)
    focal = camera.focal if rng.random() < 0.5 else None
    return Made(pixels, camera, layer, middle, float(np.ptp(spots, axis=0).max()), focal, look)


def measure(kind: str, made: Made) -> Scale | None:
    """The scale as the program would find it."""
    from vision.scale.card import find_card
    from vision.scale.coin import find_coin
    from vision.scale.ruler import find_ruler
    from vision.scale.sheet import find_sheet

    tap = (float(made.middle[0]), float(made.middle[1]))
    if kind in ("card", "card_auto"):
        return find_card(made.pixels, focal_px=made.focal, named=kind == "card")
    if kind == "card_tap":
        return find_card(made.pixels, tap=tap, focal_px=made.focal)
    if kind in ("coin", "coin_tap"):
        return find_coin(made.pixels, made.layer.mm[0], tap=tap if kind == "coin_tap" else None, focal_px=made.focal)
    if kind == "ruler":
        return find_ruler(made.pixels, unit=made.look)
    return find_sheet(made.pixels, focal_px=made.focal)


def errors(scale: Scale, made: Made, rng: np.random.Generator) -> Iterator[tuple[float, float]]:
    """(error, error bar) as shares of true lengths on the surface, up to some 200 mm from the object."""
    h, w = made.pixels.shape[:2]
    for _ in range(200):
        if scale.plane is None:
            a, b = (np.array(p) for p in scale.outline[:2])
            u, v = np.sort(rng.uniform(0, 1, 2))
            ends = np.array([a + u * (b - a), a + v * (b - a)])
            true = mapped(np.asarray(np.linalg.inv(made.camera.to_photo(made.layer.thick)), dtype=np.float64), ends)
        else:
            first, way = rng.uniform(0, 2 * np.pi, 2)
            true = np.array([[np.cos(first), np.sin(first)]] * 2) * rng.uniform(*FIRST_MM)
            true[1] += np.array([np.cos(way), np.sin(way)]) * rng.uniform(*NEXT_MM)
            ends = mapped(made.camera.to_photo(), true)
        length = float(np.hypot(*(true[1] - true[0])))
        if not np.isfinite(ends).all() or (ends < 0).any() or (ends > [w, h]).any() or length < 10:
            continue
        done = scale.length_mm((float(ends[0, 0]), float(ends[0, 1])), (float(ends[1, 0]), float(ends[1, 1])))
        if done is not None:
            yield done[0] / length - 1, done[1] / length


def given_points(made: Made, rng: np.random.Generator) -> Scale:
    """Two points set by hand on a length of 60 to 300 mm, each off by about a pixel and a half."""
    from vision.scale.points import POINT_PX, scale_of_points

    while True:
        a, b = rng.uniform(-150, 150, (2, 2))
        ends = mapped(made.camera.to_photo(), np.array([a, b]))
        if np.hypot(*(b - a)) > 60 and np.isfinite(ends).all() and (ends > 0).all() and (ends < SIZE).all():
            break
    set_ = ends + rng.normal(0, POINT_PX, (2, 2))
    p, q = ((float(x), float(y)) for x, y in set_)
    return scale_of_points(p, q, float(np.hypot(*(b - a))), SIZE, focal_px=made.focal)


def table(kind: str, count: int, seed: int, tilts: Sequence[float] = TILTS) -> None:
    """Print one block of figures."""
    rng = np.random.default_rng([seed, 8])
    print(f"{kind}: {count} photos a tilt", flush=True)
    all_held: list[bool] = []
    for tilt in tilts:
        off, bars, first_held, found, false = [], [], [], 0, 0
        for n in range(count):
            made = make(DRAWN.get(kind, kind), tilt, seed + n)
            scale = given_points(made, rng) if kind == "points" else measure(kind, made)
            if scale is None:
                continue
            if kind not in ("points", "ruler") and np.hypot(*(np.array(scale.centre) - made.middle)) > ELSEWHERE * made.size_px:
                false += 1
                continue
            found += 1
            got = [e for _, e in zip(range(LENGTHS), errors(scale, made, rng), strict=False)]
            off += [abs(e) for e, _ in got]
            bars += [b for _, b in got]
            first_held += [abs(e) <= b for e, b in got[:1]]
            all_held += [abs(e) <= b for e, b in got]
        if off:
            low, high = exact_interval(sum(first_held), len(first_held))
            held = float(np.mean(np.array(off) <= np.array(bars)))
            print(f"  {tilt:4.0f} deg  found {found}/{count}, elsewhere {false}  off median {100 * np.median(off):.2f} %, 95th "
                  f"{100 * np.quantile(off, 0.95):.2f} %  bar median {100 * np.median(bars):.2f} %  holds {100 * held:.0f} % "
                  f"(one length a photo: {sum(first_held)}/{len(first_held)}, {100 * low:.0f} to {100 * high:.0f})", flush=True)
        else:
            print(f"  {tilt:4.0f} deg  found {found}/{count}, elsewhere {false}", flush=True)
    if all_held:
        print(f"  all tilts: the bar holds {100 * np.mean(all_held):.1f} % of {len(all_held)} lengths", flush=True)


def others(count: int, seed: int) -> None:
    """Print how often rectangles that are no cards are taken for one."""
    from vision.scale.card import find_card

    kinds, taken = sorted(objects.OTHERS), []
    for n in range(count):
        rng = np.random.default_rng([seed + n, 909])
        ground = board(seed + n, rng)
        spots = [(-70.0, -40.0), (90.0, 30.0)]
        layers = [objects.other(rng, str(rng.choice(kinds)), s, float(rng.uniform(0, 6.3))) for s in spots]
        camera = aim(rng, float(rng.uniform(0, 50)), float(rng.uniform(300, 700)), SIZE, float(rng.choice(FOCALS, p=FOCAL_ODDS)))
        pixels = photograph(ground, layers, camera, rng, quality=int(rng.integers(40, 91)), blur=float(rng.uniform(0.3, 1.3)))
        if find_card(pixels, named=True) is not None:
            taken.append(seed + n)
    low, high = exact_interval(len(taken), count)
    print(f"others: taken for a card on {len(taken)} of {count} photos ({100 * low:.1f} to {100 * high:.1f} %); seeds {taken}")


def real(folder: Path, part: str, asked: str) -> None:
    """Print on how many photos of a folder something is found when `asked` ('auto' or 'card'); only files that load count."""
    from vision.errors import GrainassayError
    from vision.intake import load_photo
    from vision.scale.find import ScaleAsked, find_scale

    k, n = (int(v) for v in part.split("/"))
    inner = folder / "img"  # the collection keeps its pictures there
    among = inner if inner.is_dir() else folder
    files = sorted(p for p in among.iterdir() if p.suffix.lower() in (".jpg", ".jpeg", ".png", ".webp"))[k::n]
    if not files:
        raise SystemExit(f"{folder}: no photos here. Name the folder that holds them, or the one above its img/.")
    found, seen = [], 0
    for file in files:
        try:
            photo = load_photo(file, "p1")
        except GrainassayError:
            continue
        seen += 1
        scale = find_scale(photo.pixels, ScaleAsked(asked))
        if scale is not None:
            found.append((file.name, scale.source, [tuple(round(v) for v in p) for p in scale.outline]))
            print("   ", found[-1], flush=True)
    low, high = exact_interval(len(found), seen)
    print(f"real: a card or sheet found on {len(found)} of {seen} photos ({100 * low:.1f} to {100 * high:.1f} %)", flush=True)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="How true the millimetres are.")
    kinds = ("card", "card_auto", "card_tap", "coin", "coin_tap", "ruler", "sheet", "points", "others", "real")
    parser.add_argument("what", nargs="*", default=["card", "coin", "ruler", "sheet", "points", "others"], metavar="WHAT")
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, default=5000)
    parser.add_argument("--tilt", type=float, help="only this tilt, degrees")
    parser.add_argument("--photos", type=Path)
    parser.add_argument("--part", default="0/1", help="K/N: every N-th file from the K-th")
    parser.add_argument("--asked", choices=("auto", "card"), default="auto", help="what `real` asks for")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    run: dict[str, Callable[[], None]] = {
        "others": lambda: others(given.count, given.seed), "real": lambda: real(given.photos, given.part, given.asked),
    }
    for what in given.what:
        if what not in kinds:
            parser.error(f"unknown: {what}")
        if what == "real" and given.photos is None:
            parser.error("real needs --photos FOLDER")
        if what in run:
            run[what]()
        else:
            table(what, given.count, given.seed, TILTS if given.tilt is None else (given.tilt,))


if __name__ == "__main__":
    main()
