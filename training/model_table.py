"""The model table: ways to turn a panel's numbers into probabilities, side by side on real panels, authors left out.

    python -m training.model_table

Everything is worked out from the committed tables. Compared are the shipped stack of experts, an additive model with a shape
function a feature, boosting with interactions and one logistic regression on everything, each with and without the looks of the
backbone and, where the table has features of a net (`net_...`), with and without those.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from training.config_file import load_config
from training.experts import Array
from training.model_table_candidates import load_settings
from training.model_table_figures import (
    BALANCED,
    BRIER,
    CORE,
    ECE,
    LOSS,
    PRINT,
    SHEET,
    SLOPE,
    WRONG,
    Draws,
    chance_error,
    figures,
    interval,
)
from training.model_table_folds import SHIPPED, Answered, held_out
from training.tables import Table
from training.teach import load_tables

#: Decibans by which contributions may miss their sum and still be called exact.
EXACT = 1e-6
Key = tuple[str, str]


@dataclass(frozen=True, eq=False)
class Row:
    """One model on one set of inputs: figures with their draws, and the median of what its contributions miss (decibans)."""

    key: Key
    figures: Mapping[str, Array]
    chance: float
    gap: float

    @property
    def exact(self) -> bool:
        """Whether contributions of groups add up."""
        return self.gap < EXACT

    @property
    def calibrated(self) -> bool:
        """Whether the interval of the reliability slope holds 1."""
        low, high = interval(self.figures[SLOPE])
        return low <= 1 <= high


def rows_of(table: Table, found: Mapping[Key, Answered], rounds: int) -> list[Row]:
    """Figures of all models on the panels that the headline figures count, in the order of `found`."""
    use = table.headline
    draws = Draws.of(table.author, table.specimen, rounds)
    is_face = use & (table.face >= 0) & (table.view == 0)
    return [Row(key, figures(table, a.face, a.core, use, draws), chance_error(a.face.max(axis=1), draws, is_face),
                float(np.median(a.gap[is_face]))) for key, a in found.items()]


def _cell(values: Array, digits: int = 2, sign: str = "") -> str:
    low, high = interval(values)
    form = f"{sign}.{digits}f"
    return f"{values[0]:{form}} [{low:{form}}, {high:{form}}]"


def difference(row: Row, other: Row) -> Array:
    """Log loss of a row less that of another, draw by draw."""
    return np.asarray(row.figures[LOSS] - other.figures[LOSS])


def verdict_of(values: Array) -> int:
    """-1 where a paired difference is below zero with its whole interval, 1 above, 0 where the interval holds zero."""
    low, high = interval(values)
    return -1 if high < 0 else 1 if low > 0 else 0


def choose(rows: list[Row]) -> tuple[Row, list[Row], Row]:
    """(least log loss, those not shown to be worse by the paired interval, the choice among those).

    The choice: contributions that add up exactly, a slope whose interval holds 1, then the least log loss. A wish that no row
    fulfils is passed over."""
    best = min(rows, key=lambda r: float(r.figures[LOSS][0]))
    tied = [r for r in rows if r is best or verdict_of(difference(r, best)) <= 0]
    left = [r for r in tied if r.exact] or tied
    left = [r for r in left if r.calibrated] or left
    return best, tied, min(left, key=lambda r: float(r.figures[LOSS][0]))


def _named(row: Row) -> str:
    return f"{row.key[0]} on {row.key[1]}"


def sentences(rows: list[Row], shipped: Row) -> Iterator[str]:
    """Two sentences: what held-out log loss says, and what calibration and honesty make of it."""
    best, tied, choice = choose(rows)
    said = {-1: "shown better than the shipped model by the paired interval", 0: "not told from the shipped model", 1: ""}
    worse = [r for r in rows if r not in tied]
    opaque = [r for r in rows if not r.exact]
    boosted = ", among them all whose contributions do not add up" if opaque and all(r in worse for r in opaque) else ""
    yield (f"Least held-out log loss: {_named(best)}, {best.figures[LOSS][0]:.3f}, "
           f"{'which is the shipped model' if best is shipped else said[verdict_of(difference(best, shipped))]}; "
           f"not told from it: {len(tied) - 1} more, shown worse: {len(worse)}{boosted}.")
    low, high = interval(choice.figures[SLOPE])
    kept = ("it stays" if choice is shipped else
            "it would replace the shipped model, which is shown worse" if verdict_of(difference(choice, shipped)) < 0 else
            "a change from the shipped model is not shown to gain anything")
    sums = "add up exactly" if choice.exact else "do not add up"
    yield (f"Of those, {_named(choice)} is the choice: contributions {sums}, slope "
           f"{choice.figures[SLOPE][0]:.2f} [{low:.2f}, {high:.2f}], least log loss of the ones with both; {kept}.")


def lines(table: Table, rows: list[Row]) -> Iterator[str]:
    """The table and two sentences of choice, as they stand in the document."""
    use = table.headline
    face, edge = use & (table.face >= 0) & (table.view == 0), use & (table.view > 0) & (table.core >= 0)
    shipped = next(r for r in rows if r.key[0] == SHIPPED)
    names = np.char.add(np.char.add(table.author, "/"), table.specimen)
    specimens = [len(np.unique(names[rows])) for rows in (face, edge)]
    yield (f"{int(face.sum())} faces of {specimens[0]} specimens by {len(np.unique(table.author[face]))} authors (core: "
           f"{int(edge.sum())} edges of {specimens[1]} specimens), authors left out; settings and temperature of each learnt on "
           "inner folds; means over specimens, 95 % bootstraps over authors; difference: paired, to the first row; slope: 1 is "
           "calibrated, less is too sure; ECE: in brackets behind it what luck alone gives so few specimens.")
    yield ""
    yield ("| model | reads | log loss | difference | Brier | balanced accuracy | AUC wood/print | AUC solid/veneer | slope "
           "| ECE (luck) | p >= 0.9 and wrong | core log loss | contributions add up |")
    yield "|---" * 13 + "|"
    for row in rows:
        f = row.figures
        gap = "-" if row is shipped else _cell(difference(row, shipped), 3, "+")
        adds = "exactly" if row.exact else f"no, {row.gap:.1f} dB off"
        cells = [_cell(f[LOSS], 3), gap, _cell(f[BRIER], 3), *(_cell(f[k]) for k in (BALANCED, PRINT, SHEET, SLOPE)),
                 f"{_cell(f[ECE])} ({row.chance:.2f})", _cell(f[WRONG], 3), _cell(f[CORE]), adds]
        yield "| " + " | ".join([*row.key, *cells]) + " |"
    yield ""
    yield from sentences(rows, shipped)


def main() -> None:
    """Print the table."""
    ap = argparse.ArgumentParser(description=__doc__)
    ap.add_argument("--workers", type=int, default=1, help="folds worked on at a time")
    args = ap.parse_args()
    warnings.filterwarnings("ignore", message="The least populated class")
    real, rendered, _ = load_tables()
    settings = load_settings()
    found = held_out(real, rendered, load_config(), settings, args.workers)
    sys.stdout.write("\n".join(lines(real, rows_of(real, found, settings.rounds))) + "\n")


if __name__ == "__main__":
    main()
