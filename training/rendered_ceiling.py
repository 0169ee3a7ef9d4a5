"""What our numbers hold at most about rendered faces: a boosted classifier taught on other pieces of the very same test.

    python -m training.rendered_ceiling --rows FILE.npz

Not the product and never shipped: it is taught on renders alone and judged on pieces left out, so it tells whether a missed
target on renders is a matter of teaching (this would reach it) or of what is measured (this would not either).
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training.figures import PRINTED, SOLID, VENEER, auc
from training.rendered_test_rows import RenderedRows, load
from training.rendered_test_truth import CUES
from vision.registry import FACES

NAMES = tuple(FACES)
FOLDS, DIMS, COVERAGES = 4, 128, (0.1, 0.3, 0.5, 0.7, 1.0)
Probabilities = NDArray[np.float64]


def inputs(rows: RenderedRows) -> NDArray[np.float32]:
    """(n, features + DIMS): all numbers and the leading directions of the looks (made without labels)."""
    from sklearn.decomposition import PCA
    from sklearn.preprocessing import StandardScaler

    looks = rows.looks.astype(np.float32).reshape(len(rows), -1)
    dims = min(DIMS, *looks.shape)
    leading = PCA(dims, random_state=0, svd_solver="randomized").fit_transform(StandardScaler().fit_transform(looks))
    return np.hstack([rows.values, leading]).astype(np.float32)


def left_out(x: NDArray[np.float32], y: NDArray[np.intp], group: NDArray[np.str_], rounds: int = 150) -> Probabilities:
    """(n, 6) probabilities of faces, each panel by a classifier that saw nothing of its group of pieces."""
    from sklearn.ensemble import HistGradientBoostingClassifier
    from sklearn.model_selection import StratifiedGroupKFold

    out = np.zeros((len(y), len(NAMES)))
    for taught, judged in StratifiedGroupKFold(FOLDS, shuffle=True, random_state=0).split(x, y, group):
        model = HistGradientBoostingClassifier(max_iter=rounds, learning_rate=0.07, max_leaf_nodes=15, min_samples_leaf=30,
                                               l2_regularization=1.0, random_state=0)
        model.fit(x[taught], y[taught])
        out[np.ix_(judged, model.classes_.astype(int))] = model.predict_proba(x[judged])
    return out


def report(rows: RenderedRows) -> str:
    """The printed text."""
    rows = rows.rows((rows.view == "face") & np.isin(rows.face, NAMES))
    y = np.array([NAMES.index(f) for f in rows.face])
    p = left_out(inputs(rows), y, rows.group)
    even = p / np.maximum(1, np.bincount(y, minlength=len(NAMES)))
    recalls = [float((even[y == k].argmax(axis=1) == k).mean()) for k in range(len(NAMES)) if (y == k).any()]
    lines = [f"{len(y)} rendered faces of {len(set(rows.group.tolist()))} groups of pieces; taught on {FOLDS - 1} parts of "
             f"{FOLDS}, judged on the other", f"forced, classes alike: balanced accuracy {np.mean(recalls):.3f}; "
             + ", ".join(f"{n} {v:.2f}" for n, v in zip(NAMES, recalls, strict=False)), "most certain first:"]
    order = np.argsort(-p.max(axis=1))
    for share in COVERAGES:
        kept = order[: int(share * len(order))]
        lines.append(f"  {share:.1f} answered: {(p[kept].argmax(axis=1) == y[kept]).mean():.3f} right")
    tiny = 1e-9
    wood = np.isin(y, (SOLID, VENEER, PRINTED))
    score = np.log(p[:, SOLID] + p[:, VENEER] + tiny) - np.log(p[:, PRINTED] + tiny)
    parts = {"all": wood, "no cue": wood & ~rows.cues.any(axis=1)}
    parts |= {f"cue {c}": wood & rows.cues[:, k] for k, c in enumerate(CUES)}
    parts |= {str(s): wood & (rows.facts["shot"] == s) for s in np.unique(rows.facts["shot"])}
    for name, use in parts.items():
        if min((y[use] == PRINTED).sum(), (y[use] != PRINTED).sum()) >= 10:
            area = auc(score[use], y[use] != PRINTED, np.ones(int(use.sum())))
            lines.append(f"wood/print AUC, {name}: {area:.3f} of {int(use.sum())}")
    both = np.isin(y, (SOLID, VENEER))
    sheet = np.log(p[both, SOLID] + tiny) - np.log(p[both, VENEER] + tiny)
    lines.append(f"solid/veneer AUC: {auc(sheet, y[both] == SOLID, np.ones(int(both.sum()))):.3f} of {int(both.sum())}")
    return "\n".join(lines)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=Path, required=True)
    print(report(load(parser.parse_args().rows)))


if __name__ == "__main__":
    main()
