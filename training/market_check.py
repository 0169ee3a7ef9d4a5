"""How far an estimated market is off: the shift correction of `vision.inference.priors` on real panels, authors left out.

    python -m training.market_check

Labelled panels are weighted to be markets of other mixes; the estimate sees only what classifiers that never saw their authors
say of them. It is set beside keeping the usual base rates and beside the plain average of the probabilities.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from training import calibration
from training.config_file import load_config
from training.experts import Array
from training.heldout import held_out
from training.tables import Table
from training.teach import load_tables
from vision.inference import load_model
from vision.inference.joint import FACES
from vision.inference.priors import START_PANELS, likeliest_rates

#: Markets by how many times oftener than in the collection each face is met, in the order of FACES.
MARKETS: dict[str, tuple[float, ...]] = {
    "as collected": (1, 1, 1, 1, 1, 1), "little solid wood": (0.2, 1, 1, 1, 1, 1),
    "twice the veneer, hardly anything but furniture": (1, 2, 1, 1, 1, 0.1), "six times the prints": (0.3, 0.3, 6, 1, 1, 1),
}
#: A market counts as this many panels, whatever the weights of its rows.
PANELS = 300


def distance(a: Array, b: Array) -> float:
    """Total variation: share of panels that would have to change their face for one mix to be the other."""
    return float(np.abs(a - b).sum() / 2)


def misses(p: Array, labels: NDArray[np.int8], weight: Array, start: Array, panels: float = PANELS) -> tuple[float, float, float]:
    """(estimate, plain average, start kept): distances from the true mix of weighted rows. `p` (n, 6) was given under `start`."""
    w = weight / weight.sum() * panels
    true = np.bincount(labels, weights=w, minlength=len(start)) / panels
    return distance(likeliest_rates(p, start, w), true), distance(w @ p / panels, true), distance(start, true)


def lines(table: Table, faces: Array, start: Array, rounds: int) -> Iterator[str]:
    """A line a market: mean distances over draws of authors, and what the middle 95 % of draws span for the estimate."""
    use = table.headline & (table.view == 0) & (table.face >= 0)
    p, y, author = faces[use], table.face[use], table.author[use]
    each = calibration.specimen_weight(np.ones(len(table)), table.specimen, use)[use]
    names, at = np.unique(author, return_inverse=True)
    yield (f"{len(y)} faces by {len(names)} authors left out, {rounds} draws of authors, weighted to be {PANELS} panels of a "
           f"market; share of panels put under a wrong face (the usual base rates count as {START_PANELS:g} panels)")
    for title, times in MARKETS.items():
        rng = np.random.default_rng(0)
        market = each * np.asarray(times)[y]
        found = np.array([misses(p, y, market * drawn, start) for _ in range(rounds)
                          for drawn in [np.bincount(rng.integers(0, len(names), len(names)), minlength=len(names))[at]]])
        low, high = np.quantile(found[:, 0], [0.025, 0.975])
        gain = np.quantile(found[:, 2] - found[:, 0], [0.025, 0.975])
        estimated, plain, kept = found.mean(axis=0)
        yield (f"  {title:<48} estimated {estimated:.3f} [{low:.2f}, {high:.2f}]  plain average {plain:.3f}  usual rates kept "
               f"{kept:.3f}, gain [{gain[0]:+.2f}, {gain[1]:+.2f}]")


def main() -> None:
    """Print the check."""
    ap = argparse.ArgumentParser(description=__doc__)
    ap.add_argument("--workers", type=int, default=1, help="folds worked on at a time")
    ap.add_argument("--rounds", type=int, default=200, help="draws of authors")
    args = ap.parse_args()
    warnings.filterwarnings("ignore", message="The least populated class")
    real, rendered, _ = load_tables()
    ours, _ = held_out(real, rendered, {"all": load_config()}, args.workers)["all"]
    reference = load_model().info.prior_face
    start = np.array([reference[f] for f in FACES])
    for line in lines(real, ours.answers.face, start, args.rounds):
        sys.stdout.write(line + "\n")


if __name__ == "__main__":
    main()
