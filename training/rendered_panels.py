"""How well panels are found on rendered scenes, where every pixel's panel is known.

    python -m training.rendered_panels --renders DIR [--nets DIR] [--most 120]

`DIR` holds NAME.jpg, NAME.json and NAME_id.png as the scene renderer writes them. A true panel counts when it covers at
least 1 % of the photo; it is found when one found panel overlaps it by at least half (intersection over union).
With --nets (the boundary nets by fold, see training/boundary_net.py) no piece is judged by a net that has seen it; without,
the shipped net is used, which has seen them all.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.panels import cells
from vision.panels.find import panels_of
from vision.panels.geometry import polygon_mask
from vision.panels.partition import PhotoSurfaces, partition
from vision.panels.surface import shipped_head
from vision.types import Photo

LEAST_SHARE = 0.01
#: Ids from here on are things that are no furniture board; 0 is nothing at all.
FIRST_BACKGROUND = 200


@dataclass(frozen=True, eq=False)
class Render:
    """One rendered photo with its instance map (h, w) uint8 and truth."""

    name: str
    photo: Photo
    ids: NDArray[np.uint8]
    truth: dict

    @property
    def wood_like_background(self) -> set[int]:
        """Ids of background that shows wood (a wooden floor): no furniture, but easily taken for it."""
        return {b["id"] for b in self.truth["background"] if b["wood_like"]}


def load(path: Path) -> Render:
    """Render of a .json path."""
    bgr = cv2.imread(str(path.with_suffix(".jpg")), cv2.IMREAD_COLOR)
    ids = cv2.imread(str(path.with_name(path.stem + "_id.png")), cv2.IMREAD_UNCHANGED)
    if bgr is None or ids is None:
        raise FileNotFoundError(path)
    pixels = np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), np.uint8)
    return Render(path.stem, Photo(id="photo", file=path.stem, sha256="", pixels=pixels), np.asarray(ids, np.uint8),
                  json.loads(path.read_text()))


def scores(render: Render, surfaces: PhotoSurfaces) -> dict[str, list[float]]:
    """Per true panel: best overlap, split by face and narrow side and, for faces, by role (`role:NAME`); per photo: number of
    panels and of those mostly on plain background and on a floor that shows wood."""
    h, w = render.ids.shape
    masks = [polygon_mask(np.array(p.outline), w, h) for p in panels_of(surfaces, "photo", (w, h))]
    out: dict[str, list[float]] = {"face": [], "narrow": [], "background": [], "floor": [], "panels": [float(len(masks))],
                                   "pure": []}
    for panel in render.truth["panels"]:
        mine = render.ids == panel["id"]
        if mine.sum() < LEAST_SHARE * mine.size:
            continue
        best = max((float((mine & m).sum() / (mine | m).sum()) for m in masks), default=0.0)
        out["face" if panel["view"] == "face" else "narrow"].append(best)
        if panel["view"] == "face":
            out.setdefault(f"role:{panel['role']}", []).append(best)
    plain = [b["id"] for b in render.truth["background"] if not b["wood_like"]]
    other = np.isin(render.ids, plain) | (render.ids == 0)
    out["background"].append(float(sum((m & other).sum() > 0.5 * m.sum() for m in masks)))
    floor = np.isin(render.ids, list(render.wood_like_background))
    out["floor"].append(float(sum((m & floor).sum() > 0.5 * m.sum() for m in masks)))
    for m in masks:
        inside = np.bincount(render.ids[m], minlength=256)
        if inside[1:FIRST_BACKGROUND].sum() > 0.5 * m.sum():
            out["pure"].append(float(inside[1:FIRST_BACKGROUND].max() / max(1, inside.sum())))
    return out


def figures(all_scores: Sequence[dict[str, list[float]]]) -> dict[str, float]:
    """Figures over photos."""
    names = sorted({k for s in all_scores for k in s})
    joined = {k: np.array([v for s in all_scores for v in s.get(k, [])]) for k in names}
    roles = {f"found among faces of {k[5:]}s": float((joined[k] > 0.5).mean()) for k in names if k.startswith("role:")}
    return {
        "faces found (overlap over 0.5)": float((joined["face"] > 0.5).mean()),
        "faces: mean best overlap": float(joined["face"].mean()),
        "narrow sides found": float((joined["narrow"] > 0.5).mean()) if len(joined["narrow"]) else float("nan"),
        "share of a panel on its main surface": float(joined["pure"].mean()),
        "panels on plain background per photo": float(joined["background"].mean()),
        "panels on wooden floors per photo": float(joined["floor"].mean()),
        "panels per photo": float(joined["panels"].mean()),
        **roles,
    }


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--renders", type=Path, required=True)
    parser.add_argument("--nets", type=Path, help="folder of the boundary nets by fold")
    parser.add_argument("--most", type=int, default=120)
    args = parser.parse_args()
    from training.held_out_nets import HeldOutNets, pieces_of

    found = []
    paths = sorted(args.renders.glob("p*.json"))
    nets = HeldOutNets(args.nets, pieces=pieces_of(paths))
    for path in paths[:: max(1, len(paths) // args.most)][: args.most]:
        render = load(path)
        h, w = render.ids.shape
        net = nets.of(str(render.truth["piece"]))
        found.append(scores(render, partition(cells.look(render.photo), (w, h), shipped_head(), net)))
    print(f"{len(found)} rendered photos")
    for name, value in figures(found).items():
        print(f"{name:42s} {value:.3f}")


if __name__ == "__main__":
    main()
