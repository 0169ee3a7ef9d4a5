"""Layouts read on panels that are no composites: rendered scenes, whose truth is known, and labelled panels of real photos.

    python -m training.layout_panels --photos DIR [--renders DIR] [--json FILE] [--most N]

Every panel is read by its given outline. Rendered panels are of made-up logs like those the net is partly taught on; their
scenes, light and cameras are not. Labels of real panels name what whoever collected them saw; they are few, so nothing but
the table is printed.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from training.layout_scores import as_line, count_axes, merged
from training.panel_photos import outline_of
from vision.errors import UsageError
from vision.grain import grain_field
from vision.intake import load_photo
from vision.layouts import Layout, read_layout
from vision.panels import panels_from_outlines, rectify
from vision.types import Photo, WorkingView

#: What a rendered face is called by the reader; layouts without a name of their own are only counted.
RENDERED = {"book": "book", "slip": "slip", "random": "random", "boards": "boards", "single": "single", "plank": "single",
            "print": "print", "rotary": "rotary", "running": "running"}
#: Labels of real panels by the reader's names.
LABELLED = {"parquet": "basket", "none": "single"}
#: Shortest side a panel must show, photo px.
LEAST_PX = 90

Row = dict[str, Any]


def mapped(points: NDArray[np.float64], matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 2) points through a 3x3 matrix."""
    p = np.c_[points, np.ones(len(points))] @ matrix.T
    return np.asarray(p[:, :2] / p[:, 2:])


def read_outline(photo: Photo, outline: Sequence[tuple[float, float]]) -> tuple[WorkingView, Layout] | None:
    """View and reading of one outline; None for an outline that the program refuses."""
    try:
        panel = panels_from_outlines(photo, [(None, list(outline))])[0]
    except UsageError:
        return None
    view = rectify(photo, panel)
    return view, read_layout(view, grain_field(view.pixels, mask=view.mask))


def summary_of(reading: Layout) -> Row:
    """Name said, the most probable one and its probability, axes."""
    probable = max(reading.probabilities, key=lambda n: reading.probabilities[n])
    return {"said": reading.name, "probable": probable, "stated": reading.probabilities[probable], "axes": len(reading.axes),
            "points_to": reading.points_to}


# -- rendered scenes -------------------------------------------------------------------------------------------------
def rendered_faces(folder: Path, most: int) -> Iterator[tuple[Path, Row]]:
    """(photo, panel) of faces seen whole enough, at most `most` of each layout, pieces by turns."""
    taken: dict[str, int] = {}
    files = sorted(folder.glob("p*.json"))
    for k in np.random.default_rng(3).permutation(len(files)):
        truth = json.loads(files[k].read_text())
        for panel in truth["panels"]:
            name = panel.get("layout")
            if panel["view"] != "face" or name not in RENDERED or taken.get(name, 0) >= most:
                continue
            quad = quad_of(panel)
            sides = np.hypot(*(np.roll(quad, -1, 0) - quad).T)
            inside = (quad > -2).all() and (quad < [truth["width"] + 1, truth["height"] + 1]).all()
            box = float(cv2.contourArea(quad.astype(np.float32)))
            if not inside or sides.min() < LEAST_PX or panel["area_px"] < 0.85 * box:
                continue
            taken[name] = taken.get(name, 0) + 1
            yield files[k].with_suffix(".jpg"), {**panel, "piece": truth["piece"]}


def quad_of(panel: Row) -> NDArray[np.float64]:
    """Corners (4, 2) px of what is seen of a rendered face."""
    u0, u1, v0, v1 = panel["window_mm"]
    return mapped(np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]], float), np.array(panel["to_photo"]))


def true_axes(panel: Row) -> NDArray[np.float64]:
    """(n, 2, 2) px: joints of a rendered book match that lie in view."""
    if panel["layout"] != "book":
        return np.zeros((0, 2, 2))
    u0, u1, v0, v1 = panel["window_mm"]
    margin = 0.04 * (v1 - v0)
    rows = [leaf[1] + panel["size_mm"][1] / 2 for leaf in panel["leaves"][:-1]]
    lines = [np.array([[u0, v], [u1, v]]) for v in rows if v0 + margin < v < v1 - margin]
    return np.array([mapped(v, np.array(panel["to_photo"])) for v in lines]).reshape(-1, 2, 2)


def rendered_rows(folder: Path, most: int) -> list[Row]:
    """Readings of rendered faces."""
    out = []
    for path, panel in rendered_faces(folder, most):
        photo = load_photo(path, "p1")
        corners = np.clip(quad_of(panel), [0, 0], [photo.width - 1, photo.height - 1])
        read = read_outline(photo, [(float(x), float(y)) for x, y in corners])
        if read is None:
            continue
        view, reading = read
        back = np.asarray(np.linalg.inv(view.to_photo), np.float64)
        width = float(min(view.mask.shape))
        true = merged([as_line(*mapped(a, back)) for a in true_axes(panel)], width)
        found = merged([as_line(np.array(a.p0), np.array(a.p1)) for a in reading.axes], width)
        out.append({"name": RENDERED[panel["layout"]], "piece": panel["piece"], **summary_of(reading),
                    "counts": count_axes(true, found, width)})
    return out


# -- real panels -----------------------------------------------------------------------------------------------------
def real_rows(folder: Path, plain: int) -> list[Row]:
    """Readings of labelled real faces: all that carry a layout, and up to `plain` of boards and of one piece, authors by
    turns."""
    with (folder / "panels.csv").open(newline="") as file:
        rows = [r for r in csv.DictReader(file) if r["view"] in ("face", "end") and "line-scan" not in r["notes"]]
    chosen = [r for r in rows if r["layout"] not in ("", "none", "unknown", "boards")]
    for label in ("boards", "none"):
        by_author: dict[str, list[dict[str, str]]] = {}
        for r in rows:
            wood = r["face"] in ("solid_wood", "veneer") and r["view"] == "face"
            if r["layout"] == label and wood:
                by_author.setdefault(r["source"], []).append(r)
        turns = [mine[k] for k in range(3) for mine in by_author.values() if k < len(mine)]
        chosen += turns[:plain]
    out = []
    photos: dict[str, Photo] = {}
    for r in chosen:
        if r["file"] not in photos:
            photos = {r["file"]: load_photo(folder / "img" / r["file"], "p1")}
        read = read_outline(photos[r["file"]], [(float(x), float(y)) for x, y in outline_of(r)])
        if read is not None:
            out.append({"name": LABELLED.get(r["layout"], r["layout"]), "id": r["id"], "author": r["source"], "face": r["face"],
                        **summary_of(read[1])})
    return out


def table(rows: list[Row], key: str) -> list[str]:
    """Lines of a confusion table; `key`: column of who or what a panel comes from, counted beside it."""
    lines = []
    for name in sorted({r["name"] for r in rows}):
        mine = [r for r in rows if r["name"] == name]
        said = sorted({r["said"] for r in mine}, key=lambda s: -sum(r["said"] == s for r in mine))
        lines.append(f"  {name:16s} n {len(mine):3d} of {len({r[key] for r in mine}):3d}: "
                     + ", ".join(f"{s} {sum(r['said'] == s for r in mine)}" for s in said)
                     + f"; axes a panel {np.mean([r['axes'] for r in mine]):.2f}")
    return lines


def text(rendered: list[Row], real: list[Row]) -> str:
    """All tables."""
    lines = []
    if rendered:
        lines.append("Rendered faces, made -> said (pieces counted)")
        lines += table(rendered, "piece")
        hits, found, true = np.array([r["counts"] for r in rendered if r["name"] == "book"], float).reshape(-1, 3).sum(0)
        lines.append(f"  axes of book matches: F1 {2 * hits / max(found + true, 1):.3f}, precision {hits / max(found, 1):.3f}, "
                     f"recall {hits / max(true, 1):.3f} ({int(true)} axes)")
        named = [r for r in rendered if r["name"] in ("book", "slip", "random", "boards", "single")]
        shares = [np.mean([r["said"] == n for r in named if r["name"] == n]) for n in sorted({r["name"] for r in named})]
        lines.append(f"  names, balanced over those five: {np.mean(shares):.3f}")
    lines.append("Real labelled faces, label -> said (authors counted)")
    lines += table(real, "author")
    lines += [f"  {r['id']} {r['name']} ({r['face']}): said {r['said']}, nearest {r['probable']} {r['stated']:.2f}, "
              f"{r['axes']} axes" for r in real if r["name"] not in ("single", "boards")]
    return "\n".join(lines)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--renders", type=Path)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--most", type=int, default=40, help="rendered faces of each layout, and plain real ones of each kind")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    rendered = rendered_rows(args.renders, args.most) if args.renders else []
    real = real_rows(args.photos, args.most)
    if args.json:
        args.json.parent.mkdir(parents=True, exist_ok=True)
        args.json.write_text(json.dumps({"rendered": rendered, "real": real}, default=float))
    print(text(rendered, real))


if __name__ == "__main__":
    main()
