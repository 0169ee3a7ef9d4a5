"""Command: `python -m training.hardware_fit [--photos DIR]`: fits what turns the net's maps into chances, on drawn panels of the
part 'held_out', which the net never saw, and writes models/hardware.json.

Weights are learned on the first panels, temperature and least chances on the rest; no panel of the part 'report' is read here.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training.hardware.grounds import drawn, real
from training.hardware.make import FIRST, HardwarePicture, make
from training.hardware.match import label_of, matched
from training.joint_fit import Table, fit_net
from vision.hardware.gather import CLASSES, Candidate, candidates
from vision.hardware.kinds import SEEN
from vision.hardware.net import look
from vision.hardware.read import FILE, named, pair_among
from vision.joints.chances import Net, parse

#: Share of what is said that must be right; bounds of the least chances; own surfaces drawn.
PRECISION, FLOOR, MOST, SURFACES = 0.86, 0.55, 0.9, 24
#: Least chances by what 114 real panels showed (plugs, knots and inlays were named below these): drawn panels flatter.
REAL_LEAST = {"screw": 0.9, "hinge": 0.85, "pull": 0.8, "keyhole": 0.9, "glass": 0.9}
#: Most that two level holes can say of a missing pull: drawn panels hold fewer other pairs than real ones.
PAIR_MOST = 0.8


def grounds(part: str, photos: Path | None, surfaces: int = SURFACES) -> list[NDArray[np.uint8]]:
    """Faces to draw on: our own of a part, and real ones ('report' of authors that nothing was learned from)."""
    own = drawn(part, surfaces)
    return own + ([] if photos is None else [g for _, g in real(photos, "report" if part == "report" else "tune")])


def pictures(part: str, count: int, faces: Sequence[NDArray[np.uint8]]) -> Iterator[HardwarePicture]:
    for seed in range(FIRST[part], FIRST[part] + count):
        yield make(seed, faces)


@dataclass(frozen=True, eq=False)
class Row:
    """A picture without its pixels and what may be seen on it; `labels` of the candidates as match.label_of gives them."""

    picture: HardwarePicture
    found: list[Candidate]
    labels: list[int | None]


def rows(part: str, count: int, faces: Sequence[NDArray[np.uint8]]) -> list[Row]:
    """The first `count` pictures of a part, measured."""
    out = []
    for p in pictures(part, count, faces):
        found = candidates(look(p.pixels), p.pixels)
        out.append(Row(replace(p, pixels=p.pixels[:1, :1]), found, [label_of(c, p) for c in found]))
    return out


def table(found: Sequence[Row]) -> Table:
    pairs = [(dict(c.numbers), k) for r in found for c, k in zip(r.found, r.labels, strict=True) if k is not None]
    return Table([n for n, _ in pairs], np.array([k for _, k in pairs], np.int64))


def least_of(net: Net, found: Sequence[Row]) -> dict[str, float]:
    """Least chance of each kind from which PRECISION of what is said is right, never under FLOOR."""
    said: dict[str, list[tuple[float, bool]]] = {k: [] for k in SEEN}
    for r in found:
        things = named(r.found, net)
        for t, place in zip(things, matched(things, r.picture)[0], strict=True):
            if place is not None:
                said[t.kind].append((t.chance, place >= 0))
    out: dict[str, float] = {}
    for kind in SEEN:
        ranked = sorted(said[kind], reverse=True)
        right = np.cumsum([t for _, t in ranked]) / (1 + np.arange(len(ranked)))
        good = [p for (p, _), r in zip(ranked, right, strict=True) if r >= PRECISION]
        out[kind] = round(max(FLOOR, REAL_LEAST.get(kind, 0.0), min(MOST, min(good))), 3) if good else MOST
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
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, default=None)
    parser.add_argument("--count", nargs=2, type=int, default=[420, 220], metavar=("LEARN", "SET"))
    chosen = parser.parse_args(arguments)
    found = rows("held_out", sum(chosen.count), grounds("held_out", chosen.photos))
    learn, rest = found[: chosen.count[0]], found[chosen.count[0] :]
    raw, loss = fit_net(table(learn), table(rest), CLASSES)
    net = parse(raw)
    least = least_of(net, rest)
    least |= {"pull_missing": FLOOR, "pair_share": round(min(PAIR_MOST, pair_share(net, least, found)), 3)}
    FILE.write_text(json.dumps({"net": raw, "least": least}, separators=(",", ":")) + "\n", encoding="utf-8")
    print(f"held-out loss {loss:.4f} nats on {len(table(rest).labels)} candidates; least chances {least}")


if __name__ == "__main__":
    main()
