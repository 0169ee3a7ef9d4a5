"""Whether the panel net's marked places matter to it: tested by deletion and insertion on labelled photos.

    python -m training.net_region_scores --photos DIR [--every N] [--net FILE] [--others 4] [--seconds S]
    python -m training.net_region_scores --renders DIR [--every N] [--net FILE]

A place is blurred away and the net asked again (see training/net_deletion.py). The figure is how much more its log odds between
the two faces it puts first fall than when places of the same shape and area elsewhere on the same panel are blurred away. This
tests whether the places are where the net looks, not whether it is right; the shipped net has seen the labelled photos.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.composites.statistics import group_bootstrap
from training.net_deletion import Change, Net, Trial, trial
from training.real_photos import Labelled, labelled_panels, open_panel
from vision.errors import GrainassayError
from vision.net_answer import NetAnswer
from vision.types import Photo, WorkingView

NET = Path(__file__).resolve().parent.parent / "vision/models/panel_net.onnx"
#: Why no spot was tried -> words.
KEPT_FROM = {"spread": "evidence spread", "beside": "strongest place beside the panel",
             "bias": "first face put there by the net's bias", "room": "no room for other places"}


@dataclass(frozen=True)
class NetFile:
    """A panel net in an ONNX file, asked as `training.panel_net` taught it to be."""

    path: Path

    @cached_property
    def _session(self) -> Any:
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.log_severity_level = 3
        return onnxruntime.InferenceSession(self.path.read_bytes(), options, providers=["CPUExecutionProvider"])

    def answer(self, photo: Photo, view: WorkingView) -> NetAnswer:
        """Logits and evidence of one panel."""
        from vision.panel_net import CROPS, crops

        read = ((crops(photo, view).astype(np.float32) - 127.0) / 128.0).transpose(0, 3, 1, 2)
        names = ("face", "core", "view", "face_map")
        found = self._session.run(list(names), {"crops": np.ascontiguousarray(read)})
        face, core, view_of, face_map = (np.asarray(f, dtype=np.float32) for f in found)
        return NetAnswer(face, core, view_of, face_map, tuple(CROPS))


def trials(rows: Sequence[Labelled], net: Net, *, others: int = 4, seconds: float = float("inf")) -> Iterator[Trial]:
    """One trial a row; each photo is decoded once. Rows whose outline cannot be used are left out; stops when time is up."""
    from vision.intake import load_photo

    begun, path, photo = time.monotonic(), None, None
    for number, row in enumerate(rows):
        if time.monotonic() - begun > seconds:
            return
        try:
            if row.path != path or photo is None:
                path, photo = row.path, load_photo(row.path, "photo")
            whole, panel = open_panel(row, photo)
            yield trial(net, whole, panel, row.author, np.random.default_rng(number), others=others)
        except GrainassayError:
            continue


def line(name: str, changes: Sequence[tuple[str, Change]], *, matched: bool = False) -> str:
    """Mean excess of the marked place over other places in nats, its interval over authors, and the share of panels above 0."""
    told = [(a, c.top, c.matched if matched else c.other) for a, c in changes]
    told = [(a, top, other) for a, top, other in told if np.isfinite(other)]
    if not told:
        return f"{name:46s} no panel"
    authors = [a for a, _, _ in told]
    top, other = (np.array(v) for v in zip(*((t, o) for _, t, o in told), strict=True))
    more = top - other

    def mean(k: NDArray[np.intp]) -> float:
        return float(more[k].mean())

    def share(k: NDArray[np.intp]) -> float:
        return float((more[k] > 0).mean())

    (low, high), (few, many) = group_bootstrap(authors, mean), group_bootstrap(authors, share)
    return (f"{name:46s} {len(told):4d}  {top.mean():+6.2f} {other.mean():+6.2f}  {more.mean():+6.2f} [{low:+.2f}, {high:+.2f}]"
            f"  {100 * (more > 0).mean():3.0f} % [{100 * few:.0f}, {100 * many:.0f}]")


def report(found: Sequence[Trial], unit: str = "authors") -> list[str]:
    """The printed lines."""
    spots, weaker = ([(t.author, t.spot) for t in found if t.spot is not None and t.marked is m] for m in (True, False))
    discs = [(t.author, t.disc) for t in found if t.disc is not None]
    shown = [(t.author, t.inserted) for t in found if t.inserted is not None and t.marked]
    tried = [t for t in found if t.spot is not None and t.marked]
    authors = len({t.author for t in found})
    lines = [f"{len(found)} panels of {authors} {unit}; this tests where the net looks, not if it is right",
             f"with a marked place on the panel: {len(tried)}"
             + (f" (median {100 * np.median([t.area for t in tried]):.0f} % of the panel)" if tried else "")]
    lines += [f"  a weaker place only, not marked: {len(weaker)}"] if weaker else []
    why = Counter(t.kept_from for t in found if t.kept_from)
    lines += [f"  {KEPT_FROM[k]}: {why[k]}" for k in KEPT_FROM if why[k]]
    as_much = "  others cover as much of the full-size tile"
    lines += [
        f"{'nats of log odds, first face against second':46s}    n   place others  difference           panels above 0",
        line("deleted: strongest marked place", spots), line(as_much, spots, matched=True),
        line("deleted: weaker place, which is not marked", weaker), line(as_much, weaker, matched=True),
        line("deleted: strongest disc of 10 % of the panel", discs), line(as_much, discs, matched=True),
        line("shown alone on a blurred panel: marked place", shown),
    ]
    if tried:
        said, fell = (float(np.mean(v)) for v in ([t.says for t in tried], [c.top for _, c in spots]))
        lines.append(f"the map puts {said:+.2f} nats into the marked place, without it the log odds fall by {fell:.2f} (means)")
    return lines


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--photos", type=Path, help="folder with img/ and panels.csv")
    where.add_argument("--renders", type=Path, help="folder of rendered pieces")
    parser.add_argument("--every", type=int, default=1, help="every so-manieth panel")
    parser.add_argument("--net", type=Path, default=NET)
    parser.add_argument("--others", type=int, default=4, help="other places of each sort a panel")
    parser.add_argument("--seconds", type=float, default=float("inf"))
    chosen = parser.parse_args()
    if chosen.photos is not None:
        rows = [r for r in labelled_panels(chosen.photos) if r.face is not None]
    else:
        from training.rendered import rendered_panels

        rows = [r for r in rendered_panels(chosen.renders) if r.face is not None]
    found = list(trials(rows[:: chosen.every], NetFile(chosen.net), others=chosen.others, seconds=chosen.seconds))
    print("\n".join(report(found, "authors" if chosen.photos is not None else "rendered pieces")))


if __name__ == "__main__":
    main()
