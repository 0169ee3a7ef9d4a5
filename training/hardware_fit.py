"""Command: `python -m training.hardware_fit [--photos DIR] [--renders DIR]`: fits what turns the net's maps into chances,
and writes models/hardware.json. It reads what the net never saw: drawn panels, rendered pieces and bare real faces of the part
'held_out'.

Weights are learned on two thirds (parted by piece and author), temperature and least chances on the rest. No kind is told with
a chance that nothing on real panels reached, but for a few. No panel of the part 'report' is read here.
"""

from __future__ import annotations

import argparse
import json
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training.hardware.by_eye import boxed, spotted
from training.hardware.grounds import drawn, real
from training.hardware.make import FIRST, HardwarePicture, make
from training.hardware.match import is_one, label_of, lies_on, matched
from training.hardware.rendered import faces
from training.joint_fit import Table, fit_net
from vision.hardware.gather import CLASSES, Candidate, candidates
from vision.hardware.kinds import SEEN
from vision.hardware.net import look
from vision.hardware.read import FILE, GRIPS, named, pair_among
from vision.joints.chances import Net, parse

#: Share of what is said that must be right; bounds of the least chances; own surfaces drawn.
PRECISION, FLOOR, MOST, SURFACES = 0.8, 0.55, 0.95, 24
#: Hidden units and decay of weights of the nets tried.
UNITS, DECAYS = (28, 40), (30.0, 45.0)
#: A least chance lies so far above what nothing on real panels reached, but for so many of each kind.
ABOVE, SPARED = 0.1, 3
#: Least chances where real panels showed plugs, knots and inlays named so below them, more than the few looked at can tell.
REAL_LEAST = {"screw": 0.9, "hinge": 0.85, "keyhole": 0.9, "glass": 0.9}
#: Most that two level holes can say of a missing pull: drawn panels hold fewer other pairs than real ones.
PAIR_MOST = 0.8


def grounds(part: str, photos: Path | None, surfaces: int = SURFACES) -> list[NDArray[np.uint8]]:
    """Faces to draw on: our own of a part, and real ones by authors of that part."""
    return drawn(part, surfaces) + ([] if photos is None else [g for _, g in real(photos, part)])


def pictures(part: str, count: int, faces: Sequence[NDArray[np.uint8]]) -> Iterator[HardwarePicture]:
    for seed in range(FIRST[part], FIRST[part] + count):
        yield make(seed, faces)


@dataclass(frozen=True, eq=False)
class Row:
    """A picture without its pixels and what may be seen on it; `labels` of the candidates as match.label_of gives them;
    `group`: piece or author that it is of."""

    picture: HardwarePicture
    found: list[Candidate]
    labels: list[int | None]
    group: str = ""


def measured(named_pictures: Iterable[tuple[str, HardwarePicture]]) -> list[Row]:
    """Rows of (group, picture)."""
    out = []
    for group, p in named_pictures:
        found = candidates(look(p.pixels), p.pixels)
        out.append(Row(replace(p, pixels=p.pixels[:1, :1]), found, [label_of(c, p) for c in found], group))
    return out


def rows(part: str, count: int, on: Sequence[NDArray[np.uint8]]) -> list[Row]:
    """The first `count` drawn pictures of a part, measured."""
    return measured((f"drawn {k}", p) for k, p in enumerate(pictures(part, count, on)))


def rendered_rows(folder: Path, part: str) -> list[Row]:
    """Faces of rendered pieces of a part."""
    return measured((name.split("_")[0], p) for name, p in faces(folder, part))


def bare_rows(photos: Path, part: str) -> list[Row]:
    """Real faces without hardware by authors of a part."""
    nothing = ((a, HardwarePicture(g, np.zeros(g.shape[:2], np.uint8), (), "real", None, 1.0, ())) for a, g in real(photos, part))
    return measured(nothing)


def eyed_rows(photos: Path) -> tuple[list[Row], list[Row]]:
    """(panels whose hardware is boxed, panels with single places looked at: those have no truth, only labels)."""
    nothing = HardwarePicture(np.zeros((1, 1, 3), np.uint8), np.zeros((1, 1), np.uint8), (), "real", None, 1.0, ())
    return measured(boxed(photos)), [Row(nothing, c, k, author) for author, c, k in spotted(photos)]


def parted(found: Sequence[Row]) -> tuple[list[Row], list[Row]]:
    """(two thirds, one third), each group on one side."""
    sides: tuple[list[Row], list[Row]] = ([], [])
    for r in found:
        sides[zlib.crc32(r.group.encode()) % 3 == 0].append(r)
    return sides


def table(found: Sequence[Row]) -> Table:
    pairs = [(dict(c.numbers), k) for r in found for c, k in zip(r.found, r.labels, strict=True) if k is not None]
    return Table([n for n, _ in pairs], np.array([k for _, k in pairs], np.int64))


def least_of(net: Net, found: Sequence[Row], bare: Sequence[Row] = ()) -> dict[str, float]:
    """Least chance of each kind from which PRECISION of what is said is right, above FLOOR and nearly all that nothing on `bare`
    panels reached.

    A grip counts as right where any grip is, and where it covers a part of one: that it is there is what is told.
    """
    said: dict[str, list[tuple[float, bool]]] = {k: [] for k in SEEN}
    for r in found:
        things = named(r.found, net)
        for t, place in zip(things, matched(things, r.picture)[0], strict=True):
            if place is None:
                continue
            grip = t.kind in GRIPS and any(k in GRIPS and (is_one(t.hull, h) or lies_on(t.hull, h)) for k, h in r.picture.truth)
            said[t.kind].append((t.sure, place >= 0 or grip))
    reached: dict[str, list[float]] = {k: [0.0] * (1 + SPARED) for k in SEEN}
    for r in bare:
        for t in named([c for c, k in zip(r.found, r.labels, strict=True) if k == 0], net):
            reached[t.kind].append(t.sure)
    floors = {k: max(FLOOR, REAL_LEAST.get(k, 0.0) if bare else 0.0, ABOVE + sorted(v)[-1 - SPARED]) for k, v in reached.items()}
    out: dict[str, float] = {}
    for kind in SEEN:
        ranked = sorted(said[kind], reverse=True)
        right = np.cumsum([t for _, t in ranked]) / (1 + np.arange(len(ranked)))
        good = [p for (p, _), r in zip(ranked, right, strict=True) if r >= PRECISION]
        out[kind] = round(min(MOST, max(floors[kind], min(good))), 3) if good else MOST
    return out


def pair_share(net: Net, least: dict[str, float], found: Sequence[Row]) -> float:
    """How often a pair of level holes, both holes there, is what a pull left: true pairs over pairs expected."""
    expected, right = 0.0, 0
    for r in found:
        pair = pair_among(named(r.found, net), {**least, "pair_share": 1.0}, r.picture.labels.shape)
        if pair is not None:
            expected += pair[1]
            right += r.picture.missing is not None
    return right / expected if expected > 5 else 0.5


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, default=None)
    parser.add_argument("--renders", type=Path, default=None)
    parser.add_argument("--count", type=int, default=1400, help="drawn pictures")
    chosen = parser.parse_args(arguments)
    found = rows("held_out", chosen.count, grounds("held_out", chosen.photos))
    shown = [] if chosen.renders is None else rendered_rows(chosen.renders, "held_out")
    bare = [] if chosen.photos is None else bare_rows(chosen.photos, "held_out")
    boxes, spots = ([], []) if chosen.photos is None else eyed_rows(chosen.photos)
    learn, rest = parted([*found, *shown, *bare, *boxes, *spots])
    raw, loss = fit_net(table(learn), table(rest), CLASSES, UNITS, DECAYS)
    net = parse(raw)
    least = least_of(net, [r for r in rest if r not in spots], [*bare, *spots])
    least |= {"pull_missing": FLOOR, "pair_share": round(min(PAIR_MOST, pair_share(net, least, found)), 3)}
    FILE.write_text(json.dumps({"net": raw, "least": least}, separators=(",", ":")) + "\n", encoding="utf-8")
    print(f"{len(found)} drawn, {len(shown)} rendered, {len(bare)} bare real faces, {len(boxes) + len(spots)} looked at; "
          f"held-out loss {loss:.4f} nats on "
          f"{len(table(rest).labels)} candidates; least chances {least}")


if __name__ == "__main__":
    main()
