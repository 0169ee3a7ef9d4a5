"""Choose the damage net's threshold, the weights behind a region's probability and the least probability shown.

    python -m training.damage_fit --photos DIR [--textures DIR] [--panels 1000] [--net FOLDER] [--out FOLDER]

Uses panels of part 'fit' only: photographers, made-up trees and seeds that the net was not taught on, and that no report
uses. Probabilities are checked by leaving groups of surfaces out; the weights written are fitted on all of them.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.damage.kept import panels
from training.damage.make import NAMES
from training.damage.match import Truth, f1, pair, truth_of
from vision.damage.kinds import UNDER_WORDS
from vision.damage.net import DamageMaps, DamageNet
from vision.damage.regions import EVIDENCE, RawRegion, evidence, find_regions

THRESHOLDS = (0.4, 0.5, 0.6, 0.7)
LEAST = tuple(float(v) for v in np.arange(0.1, 0.71, 0.05))
#: Rules before anything is fitted: they let every region through.
BLANK_RULES: dict[str, Any] = {
    "version": 1,
    "kinds": list(NAMES),
    "under": list(UNDER_WORDS),
    "threshold": 0.4,
    "least_probability": 0.0,
    "least": {},
    "under_least": 0.7,
    "probability": {"offset": 0.0, "kinds": dict.fromkeys(NAMES, 0.0), "weights": dict.fromkeys(EVIDENCE, 0.0)},
}
#: False regions a sound panel that are put up with.
MOST_FALSE = 0.04
#: What shows beneath is said when it was right at least this often on panels held out.
UNDER_RIGHT = 0.9


@dataclass(frozen=True, eq=False)
class Seen:
    """A panel's truth and what the net answers on it."""

    truth: Truth
    maps: DamageMaps


def look(part: str, count: int, photos: Path, textures: Path | None, net: DamageNet) -> list[Seen]:
    """The net's answers on the first panels of a part."""
    return [Seen(truth_of(p), net.look(p.pixels, np.ones(p.labels.shape, bool))) for p in panels(part, count, photos, textures)]


@dataclass(frozen=True, eq=False)
class Judged:
    """A found region: its panel, kind, evidence, whether it is right in place, and in kind too."""

    panel: int
    group: str
    region: RawRegion
    place: bool
    kind: bool


def judge(seen: Sequence[Seen], threshold: float) -> tuple[list[Judged], int]:
    """All regions found at a threshold that count, and the number of true regions."""
    out, true = [], 0
    for number, one in enumerate(seen):
        found = find_regions(one.maps, threshold)
        mate, counts = pair(found, one.truth)
        true += len(one.truth.regions)
        for region, m, c in zip(found, mate, counts, strict=True):
            if c:
                out.append(
                    Judged(
                        number, one.truth.group, region, m is not None, m is not None and one.truth.regions[m].kind == region.kind
                    )
                )
    return out, true


def design(regions: Sequence[RawRegion]) -> NDArray[np.float64]:
    """(n, evidence + kinds): evidence, then one column a kind."""
    kinds = np.array([[float(r.kind == name) for name in NAMES] for r in regions]).reshape(len(regions), len(NAMES))
    return np.hstack([np.array([evidence(r) for r in regions]).reshape(len(regions), len(EVIDENCE)), kinds])


def logistic(x: NDArray[np.float64], y: NDArray[np.bool_]) -> tuple[NDArray[np.float64], float]:
    """(weights, offset) of a logistic regression with a mild penalty."""
    from sklearn.linear_model import LogisticRegression

    if y.all() or not y.any():
        return np.zeros(x.shape[1]), float(np.log((y.sum() + 0.5) / ((~y).sum() + 0.5)))
    fitted = LogisticRegression(C=0.3, max_iter=2000).fit(x, y)
    return np.asarray(fitted.coef_[0], np.float64), float(fitted.intercept_[0])


def held_out(judged: Sequence[Judged], folds: int = 5) -> NDArray[np.float64]:
    """Probabilities of each found region by weights fitted without the surfaces of its fold."""
    x, y = design([j.region for j in judged]), np.array([j.kind for j in judged])
    names = sorted({j.group for j in judged})
    fold = np.array([names.index(j.group) % folds for j in judged])
    out = np.full(len(judged), float(y.mean()))
    for k in range(folds):
        rest = fold != k
        if y[rest].any() and not y[rest].all():
            w, b = logistic(x[rest], y[rest])
            out[fold == k] = 1 / (1 + np.exp(-(x[fold == k] @ w + b)))
    return out


def fit(seen: Sequence[Seen]) -> tuple[dict[str, Any], dict[str, Any]]:
    """(rules, record): the threshold and least probability with the best held-out F1 of regions right in place and kind among
    those that leave few false regions on sound panels; without any such, those that leave fewest."""
    rules = json.loads(json.dumps(BLANK_RULES))
    sound = np.array([not s.truth.regions and not s.truth.unknown.any() for s in seen])
    options: list[tuple[bool, float, float, float, float]] = []
    for threshold in THRESHOLDS:
        judged, true = judge(seen, threshold)
        if not judged:
            continue
        chance, right = held_out(judged), np.array([j.kind for j in judged])
        on_sound = np.array([bool(sound[j.panel]) for j in judged])
        for least in LEAST:
            kept = chance >= least
            false = float((kept & on_sound).sum() / max(1, sound.sum()))
            score = f1(float(right[kept].sum()), float(kept.sum()), true)
            options.append((false <= MOST_FALSE, score if false <= MOST_FALSE else -false, threshold, least, false))
    best = max(options, key=lambda o: o[:2])
    _, score, threshold, least, false = best
    judged, true = judge(seen, threshold)
    chance, right = held_out(judged), np.array([j.kind for j in judged])
    w, b = logistic(design([j.region for j in judged]), right)
    rules.update(threshold=threshold, least_probability=least, under_least=_under_least(seen, judged))
    rules["probability"] = {
        "offset": b,
        "weights": dict(zip(EVIDENCE, w[: len(EVIDENCE)].tolist(), strict=True)),
        "kinds": dict(zip(NAMES, w[len(EVIDENCE) :].tolist(), strict=True)),
    }
    record = {
        "f1": score,
        "false_a_sound_panel": false,
        "found": len(judged),
        "true": true,
        "brier": float(np.mean((chance - right) ** 2)),
        "brier_of_mean": float(np.var(right)),
        "calibration_error": calibration_error(chance, right),
    }
    return rules, record


def _under_least(seen: Sequence[Seen], judged: Sequence[Judged]) -> float:
    """Least share from which what shows beneath was right often enough; above 1 (never said) when it never was."""
    said = []
    for one in judged:
        truth = seen[one.panel].truth
        mates = [t for t in truth.regions if t.shows and (t.cells & one.region.cells).any() and t.kind == one.region.kind]
        if mates and one.kind:
            k = int(np.argmax(one.region.under))
            said.append((one.region.under[k], list(UNDER_WORDS)[k] == mates[0].shows))
    for least in np.arange(0.4, 1.0, 0.05):
        chosen = [right for share, right in said if share >= least]
        if len(chosen) >= 20 and np.mean(chosen) >= UNDER_RIGHT:
            return float(round(least, 2))
    return 1.01


def calibration_error(chance: NDArray[np.float64], right: NDArray[np.bool_], bins: int = 8) -> float:
    """Mean gap between stated and true share over bins of equal count."""
    order = np.argsort(chance, kind="stable")
    parts = [p for p in np.array_split(order, bins) if len(p)]
    return float(sum(len(p) * abs(chance[p].mean() - right[p].mean()) for p in parts) / len(order))


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=Path, required=True)
    parser.add_argument("--textures", type=Path, default=Path("build/textures"))
    parser.add_argument("--panels", type=int, default=1000)
    parser.add_argument("--net", type=Path, default=Path("vision/models"))
    parser.add_argument("--out", type=Path, default=Path("vision/models"))
    args = parser.parse_args()
    rules_file = args.net / "damage.json"
    if not rules_file.exists():
        rules_file.write_text(json.dumps(BLANK_RULES))
    rules, record = fit(look("fit", args.panels, args.photos, args.textures, DamageNet.load(args.net)))
    (args.out / "damage.json").write_text(json.dumps(rules, indent=1) + "\n")
    print(
        json.dumps(
            {
                **record,
                "threshold": rules["threshold"],
                "least_probability": rules["least_probability"],
                "under_least": rules["under_least"],
            },
            indent=1,
        )
    )


if __name__ == "__main__":
    main()
