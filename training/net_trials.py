"""Panel nets taught otherwise than the shipped one: what each says of authors it never saw, alone and within the classifier.

    python -m training.net_trials [--stacked]

Kept in training/tables/net_trials.npz: numbers of nets of the folds of authors, row by row of the real table. Whether rendered
panels help a net, and whether strips across the panel's sides do, is judged from what the nets say, by the same draws of authors.

    python -m training.net_trials --add NAME ANSWERS.npz --order ANSWERS_OF_THE_SHIPPED.npz        # keep one more trial
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.experts import Array, log_softmax
from training.figures import PRINTED, SOLID, VENEER, auc
from training.model_table_figures import Draws, mean
from training.tables import FOLDER, REAL, Table
from vision.panel_net import FEATURES, numbers

STORE = FOLDER / "net_trials.npz"
SHIPPED = "shipped"
#: What each trial is, in words; the shipped nets are the yardstick.
ABOUT = {
    SHIPPED: "four crops, taught on 7,500 rendered panels, then real ones",
    "strips": "and strips across the sides; 6,465 rendered panels",
    "strips_real": "the same five crops, real panels alone, 208 steps",
}
#: The folds that all trials were taught well in: in others a lesson was cut short by the time a machine was lent.
FOLDS = (2, 3, 4, 5, 6, 7)
FACES, ROUNDS = 6, 2000


def columns(table: Table) -> list[int]:
    """Where the net's numbers stand in a table."""
    names = [str(n) for n in table.names]
    return [names.index(f.name) for f in FEATURES]


def numbers_of(answers: Path) -> Array:
    """(n, numbers) of FEATURES from the held-out logits of `training.panel_net`."""
    with np.load(answers) as d:
        seen = d["held_core_visible"]
        rows = [numbers(d["held_face"][k], d["held_core"][k], d["held_view"][k], float(seen[k, 0] - seen[k, 1]))
                for k in range(len(seen))]
    return np.array([[r[f.name] for f in FEATURES] for r in rows])


def rows_of(table: Table, shipped: Array) -> NDArray[np.intp]:
    """Which row of an answers file each row of the table is, found by the numbers of the shipped nets.

    Raises
    ------
    ValueError
        if a row of the table is not among them.
    """
    apart = np.abs(table.values[:, None, columns(table)] - shipped[None]).max(axis=2)
    if apart.min(axis=1).max() > 1e-3:
        raise ValueError("the answers are not those that the table was made with")
    return np.asarray(apart.argmin(axis=1))


def add(name: str, answers: Path, order: Path) -> None:
    """Keep one more trial."""
    table = Table.load(REAL)
    kept: dict[str, Any] = dict(np.load(STORE)) if STORE.exists() else {}
    at = rows_of(table, numbers_of(order))
    with np.load(order) as d:
        kept["fold"] = d["fold"][at].astype(np.int8)
    kept["author"] = table.author
    kept[name] = numbers_of(answers)[at].astype(np.float16)
    np.savez_compressed(STORE, **kept)


def alone(table: Table, said: Array, use: NDArray[np.bool_], draws: Draws) -> dict[str, Array]:
    """Figures (draws + 1,) of the faces as the net alone puts them."""
    log_face = log_softmax(said[:, :FACES])
    weight, y = draws.weight(use), table.face.astype(np.intp)
    rows = np.arange(len(y))
    right = log_face.argmax(axis=1) == y
    recalls = [mean(right, draws.weight(use & (y == k))) for k in range(FACES)]
    wood = np.logaddexp(log_face[:, SOLID], log_face[:, VENEER]) - log_face[:, PRINTED]
    pairs = {"solid/veneer": (log_face[:, SOLID] - log_face[:, VENEER], (SOLID, VENEER), y == SOLID),
             "wood/print": (wood, (SOLID, VENEER, PRINTED), y != PRINTED)}
    found = {"log loss": -mean(np.where(use, log_face[rows, np.maximum(y, 0)], 0.0), weight),
             "balanced": np.nanmean(recalls, axis=0)}
    for name, (score, among, positive) in pairs.items():
        kept = use & np.isin(y, among)
        found[name] = np.array([auc(score[kept], positive[kept], w[kept]) for w in draws.weight(kept)])
    return found


def stacked_loss(table: Table, said: Array, use: NDArray[np.bool_], draws: Draws) -> Array:
    """(draws + 1,) log loss of faces by the classifier, authors left out, with these numbers in place of the net's."""
    from training import heldout
    from training.config_file import load_config

    values = table.values.copy()
    values[:, columns(table)] = said
    changed = replace(table, values=values)
    found = heldout.held_out(changed, None, {"all": load_config()})["all"][0].answers.face
    true = np.where(use, found[np.arange(len(table)), np.maximum(table.face, 0)], 1.0)
    return -mean(np.log(np.maximum(true, 1e-12)), draws.weight(use))


def report(stacked: bool) -> str:
    """The printed text."""
    table, draws_of = Table.load(REAL), Draws.of
    with np.load(STORE) as d:
        kept = {k: d[k] for k in d.files}
    if not np.array_equal(kept["author"], table.author):
        raise ValueError(f"{STORE.name} was made for another real table; add the trials anew")
    draws = draws_of(table.author, table.specimen, ROUNDS)
    use = table.headline & (table.face >= 0) & (table.view == 0) & np.isin(kept["fold"], FOLDS)
    found = {name: alone(table, kept[name].astype(np.float64), use, draws) for name in ABOUT}
    if stacked:
        every = table.headline & (table.face >= 0) & (table.view == 0)
        for name in ABOUT:
            said = np.where(np.isin(kept["fold"], FOLDS)[:, None], kept[name], kept[SHIPPED]).astype(np.float64)
            found[name]["stacked log loss"] = stacked_loss(table, said, every, draws)
    lines = [f"Faces of {int(use.sum())} real panels by {len(set(table.author[use]))} authors (folds {FOLDS[0]} to {FOLDS[-1]});",
             "in brackets the change against the shipped nets with its 95 % interval over authors.", ""]
    lines += [f"{name}: {about}" for name, about in ABOUT.items()]
    for figure in found[SHIPPED]:
        lines += ["", figure]
        for name in ABOUT:
            value = found[name][figure]
            change = value - found[SHIPPED][figure]
            low, high = np.nanquantile(change[1:], (0.025, 0.975))
            against = "" if name == SHIPPED else f"  ({change[0]:+.3f} [{low:+.3f}, {high:+.3f}])"
            lines.append(f"  {name:12s} {value[0]:.3f}{against}")
    if stacked:
        lines += ["", "Stacked: all real faces, taught without renders; in the other folds the shipped nets' numbers."]
    return "\n".join(lines)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--stacked", action="store_true", help="also within the classifier, half a minute a trial")
    parser.add_argument("--add", nargs=2, metavar=("NAME", "ANSWERS"))
    parser.add_argument("--order", type=Path)
    chosen = parser.parse_args()
    if chosen.add:
        add(chosen.add[0], Path(chosen.add[1]), chosen.order or Path(chosen.add[1]))
        return
    print(report(chosen.stacked))


if __name__ == "__main__":
    main()
