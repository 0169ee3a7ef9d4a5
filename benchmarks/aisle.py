"""How soon hand checks settle a part, by the order they are put in: python -m benchmarks.aisle

Parts are drawn from even chances; a part answers as the rules' estimates say, or as estimates that are off say (each answer's
odds drawn anew). Checks of one group repeat each other: with the share that the rules leave them they answer afresh, else they
say what fits the first of the group best. It shows what the order is worth and what wrong estimates do; it is no proof on real
furniture.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from service.hand.belief import FACE_OF, FACES, fuse
from service.hand.checks import SUBSTRATES, Check, rules
from service.hand.state import start_of
from service.hand.worth import OVERHEAD, next_checks, settled

BOOK, EVEN = rules(), start_of(None, "top")
PARTS, ROLE, MINUTES = 300, "top", 3.0
FIGURED = ("solid_wood", "veneer", "printed")
Order = Callable[[Mapping[str, str], np.random.Generator], Check | None]


def open_checks(said: Mapping[str, str]) -> list[Check]:
    """Checks that a top still allows."""
    return [c for c in BOOK.checks.values() if ROLE in c.roles and c.key not in said]


def chosen(said: Mapping[str, str], rng: np.random.Generator) -> Check | None:
    """The program's order."""
    found = next_checks(fuse(EVEN, said, BOOK), ROLE, BOOK, answered=said)
    return found[0].check if found else None


def at_random(said: Mapping[str, str], rng: np.random.Generator) -> Check | None:
    """Any order."""
    left = open_checks(said)
    return left[rng.integers(len(left))] if left and not settled(fuse(EVEN, said, BOOK)) else None


def quickest(said: Mapping[str, str], rng: np.random.Generator) -> Check | None:
    """The quickest first."""
    left = sorted(open_checks(said), key=lambda c: c.seconds)
    return left[0] if left and not settled(fuse(EVEN, said, BOOK)) else None


def answer(check: Check, truth: int, wrong: float, groups: dict[str, str], rng: np.random.Generator) -> str:
    """What a part says. `wrong`: standard deviation of the logarithm of its odds about the rules' own."""
    p = check.table[truth].copy()
    if check.group in groups and rng.random() > BOOK.within_group:
        # It repeats what its group has said: the answer that the face believed so far gives most.
        rows = [k for k, s in enumerate(SUBSTRATES) if FACE_OF[s] == groups[check.group]]
        p = check.table[rows].mean(axis=0)
    p = p * np.exp(wrong * rng.standard_normal(len(p)))
    key = check.answers[rng.choice(len(p), p=p / p.sum())].key
    column = check.table[:, [a.key for a in check.answers].index(key)]
    means = {f: float(np.mean([column[k] for k, s in enumerate(SUBSTRATES) if FACE_OF[s] == f])) for f in FACES}
    groups.setdefault(check.group, max(means, key=lambda f: means[f]))
    return key


def run(order: Order, wrong: float, seed: int = 7) -> tuple[float, float, float, float, float]:
    """(share named within the time, share of those that are right, the same two of parts that show a figure, median seconds of
    the named)."""
    rng = np.random.default_rng(seed)
    truths = rng.choice(len(SUBSTRATES), PARTS, p=EVEN.vector)
    rows, seconds = [], []
    for truth in truths:
        said: dict[str, str] = {}
        groups: dict[str, str] = {}
        spent = 0.0
        while (check := order(said, rng)) is not None and spent + check.seconds + OVERHEAD <= MINUTES * 60:
            said[check.key] = answer(check, int(truth), wrong, groups, rng)
            spent += check.seconds + OVERHEAD
            if fuse(EVEN, said, BOOK).face is not None:
                break
        face, true = fuse(EVEN, said, BOOK).face, FACE_OF[SUBSTRATES[truth]]
        rows.append((true in FIGURED, face is not None, face == true))
        if face is not None:
            seconds.append(spent)
    table = np.array(rows)
    figured = table[table[:, 0]]
    shares = [(float(t[:, 1].mean()), float(t[t[:, 1], 2].mean())) for t in (table, figured)]
    return (*shares[0], *shares[1], float(np.median(seconds)))


def main() -> None:
    """Print the table."""
    print("| estimates | order | named | right of those | figured: named | right | median seconds |")
    print("|---|---|---|---|---|---|---|")
    for words, wrong in (("as they stand", 0.0), ("off by 1.6 times", 0.5), ("off by 2.7 times", 1.0)):
        for name, order in (("most told for its time", chosen), ("quickest first", quickest), ("at random", at_random)):
            named, right, named_f, right_f, median = run(order, wrong)
            print(f"| {words} | {name} | {named:.2f} | {right:.2f} | {named_f:.2f} | {right_f:.2f} | {median:.0f} |")
    print(f"\n{PARTS} made-up tops, {MINUTES:g} minutes, gate not counted; figured: solid wood, veneer and print only.")


if __name__ == "__main__":
    main()
