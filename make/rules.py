"""Print what the rules of the work hold as Markdown: python -m make.rules checks | files | routes."""

from __future__ import annotations

import sys
from collections import Counter
from importlib.resources import files

import numpy as np

from service.hand.belief import FACE_OF
from service.hand.checks import SUBSTRATES, rules
from service.plan.routes import refusal
from service.plan.types import GOALS, Subject
from service.rulebook import rulebook
from service.words import class_words
from vision import registry

WHAT = {
    "gate": "what to rule out before any money talk", "hand_checks": "checks by hand that may decide",
    "hand_hints": "hints by hand",
    "old_finish": "spot tests of an old finish", "pitfalls": "what goes wrong most often, with its test patch",
    "products": "kinds of products: coverage, waits, cans", "repairs": "repairs by damage", "routes": "what each face refuses",
    "safety": "cautions that hold everywhere", "safety_law": "cautions of one country", "sanding": "sanding depths and goals",
    "sell": "photos of an advert, carrying", "steps": "steps of every route", "wood": "weights, moisture, movement",
}


#: Between these the question lies.
ASKED = ("solid_wood", "veneer", "printed")


def checks() -> str:
    """Every hand check: its group, its strongest answer between two of the faces asked, whether it may decide alone."""
    rows = ["| check | answer that tells most of solid, veneer or print | it is worth | group | alone | source |",
            "|---|---|---|---|---|---|"]
    for check in rules().checks.values():
        best = (0.0, "", "", "")
        for k, answer in enumerate(check.answers):
            means = {f: float(np.mean([check.table[i, k] for i, s in enumerate(SUBSTRATES) if FACE_OF[s] == f])) for f in ASKED}
            up, down = max(means, key=lambda f: means[f]), min(means, key=lambda f: means[f])
            best = max(best, (means[up] / means[down], answer.words, class_words(up), class_words(down)))
        alone = "yes" if check.decisive else "no"
        worth = f"{best[0]:.1f} to 1 for {best[2]} against {best[3]}"
        rows.append(f"| {check.text} | {best[1]} | {worth} | {check.group} | {alone} | {check.source.status} |")
    return "\n".join(rows)


def rule_files() -> str:
    """Every file of rules with its sources counted by how far they can be trusted."""
    rows = ["| file | what it holds | sources, by how far they can be trusted |", "|---|---|---|"]
    for path in sorted(p.name for p in files("service").joinpath("rules").iterdir() if p.name.endswith(".toml")):
        name = path.removesuffix(".toml")
        counts = Counter(s.status for s in rulebook(name).sources.values())
        said = ", ".join(f"{n} {status}" for status, n in sorted(counts.items(), key=lambda kv: (-kv[1], kv[0])))
        rows.append(f"| `{path}` | {WHAT[name]} | {said} |")
    return "\n".join(rows)


def routes() -> str:
    """Which goals a sound part of each face allows; a veneer of our day beside one of unknown thickness."""
    rows = ["| face | " + " | ".join(GOALS) + " |", "|---|" + "---|" * len(GOALS)]
    for face in registry.FACES:
        kinds = {"veneer": (("modern", ", 0.5 to 0.7 mm"), ("unknown", ", thickness not known"))}.get(face, (("unknown", ""),))
        for kind, more in kinds:
            part = Subject("p", "Part", "top", (face,), tuple(registry.CORES), "confirmed", face_kind=kind)
            marks = ["no" if refusal(part, goal) is not None else "yes" for goal in GOALS]
            rows.append(f"| {class_words(face)}{more} | " + " | ".join(marks) + " |")
    return "\n".join(rows)


if __name__ == "__main__":
    print({"checks": checks, "files": rule_files, "routes": routes}[sys.argv[1]]())
