"""The steps of a route on one part, from service/rules/steps.toml: order, sanding, waits, minutes, signs to stop at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from service.plan.products import Products, products
from service.plan.routes import sanding
from service.plan.types import GOALS, HAZARDS, OLD_FINISHES, TOOLS, Step, Subject
from service.rulebook import BrokenRules, Rulebook, Source, rulebook
from service.sanding.rules import read as sanding_rules
from vision import registry

MEND = "Mend the file, or install the program again."
TOPCOATS = {"water": "water-based clear coat", "oil": "oil-based clear coat", "rubbed": "oil or wiped finish"}
#: Said of bare wood from which a finish came that is taken to hold lead.
STRIPPED = ("The old finish may have left lead in the pores: have it tested first, or sand by hand and damp, wipe up and bag "
            "what comes off.")
#: Mean width of the raw edge round a board, mm, where the thickness is not known.
EDGE_MM = 18.0
KNOWN = {
    "key", "goals", "faces", "cores", "not_finishes", "topcoat", "title", "how", "wet", "product", "coats", "tool", "grits",
    "sand", "minutes", "minutes_per_m2", "between_hours", "wait_hours", "test", "stop", "hazards", "source", "edges_only",
    "one_of",
}


@dataclass(frozen=True)
class Row:
    """One row of the file; waits are hours or the name of a wait of its product. `one_of`: of rows with the same word only the
    first that fits is taken."""

    key: str
    goals: tuple[str, ...]
    faces: tuple[str, ...]
    cores: tuple[str, ...]
    not_finishes: tuple[str, ...]
    topcoat: str
    title: str
    how: str
    wet: str
    product: str | None
    coats: int
    tool: str | None
    grits: tuple[int, ...]
    sand: str
    minutes: float
    minutes_per_m2: float
    between: float
    wait: float
    test: str
    stop: tuple[str, ...]
    hazards: tuple[str, ...]
    edges_only: bool
    one_of: str
    sources: tuple[Source, ...]

    def for_part(self, subject: Subject, goal: str, topcoat: str) -> bool:
        """Whether the route of this goal has this step on this part."""
        return (goal in self.goals and (not self.faces or bool(set(self.faces) & set(subject.faces)))
                and (not self.cores or bool(set(self.cores) & set(subject.cores)))
                and subject.old_finish not in self.not_finishes and self.topcoat in ("", topcoat))


def _wait(row: Mapping[str, Any], name: str, kinds: Products, book: Rulebook) -> float:
    value = row.get(name, 0)
    if isinstance(value, str):
        if row.get("product") not in kinds.kinds:
            raise BrokenRules(book.name, f"step {row['key']!r} waits for a product that is not there.", MEND)
        return kinds.kinds[row["product"]].wait(value)
    return float(value)


def _row(book: Rulebook, row: Mapping[str, Any], kinds: Products) -> Row:
    key = row["key"]
    sets = {"goals": GOALS, "faces": registry.FACES, "cores": registry.CORES, "hazards": HAZARDS, "not_finishes": OLD_FINISHES}
    for name, allowed in sets.items():
        if unknown := set(row.get(name, ())) - set(allowed):
            raise BrokenRules(book.name, f"step {key!r} names unknown {name}: {', '.join(sorted(unknown))}.", MEND)
    if extra := set(row) - KNOWN:
        raise BrokenRules(book.name, f"step {key!r} has unknown entries: {', '.join(sorted(extra))}.", MEND)
    if row.get("product") is not None and row["product"] not in kinds.kinds:
        raise BrokenRules(book.name, f"step {key!r} uses a product that is not listed: {row['product']}.", MEND)
    if row.get("tool") not in (None, *TOOLS) or row.get("topcoat", "") not in ("", *TOPCOATS):
        raise BrokenRules(book.name, f"step {key!r} has an unknown tool or topcoat.", MEND)
    return Row(
        key, tuple(row["goals"]), tuple(row.get("faces", ())), tuple(row.get("cores", ())), tuple(row.get("not_finishes", ())),
        row.get("topcoat", ""), row["title"], row["how"], row.get("wet", ""), row.get("product"), int(row.get("coats", 0)),
        row.get("tool"), tuple(row.get("grits", ())), row.get("sand", ""), float(row["minutes"]), float(row["minutes_per_m2"]),
        _wait(row, "between_hours", kinds, book), _wait(row, "wait_hours", kinds, book), row.get("test", ""),
        tuple(row.get("stop", ())), tuple(row.get("hazards", ())), bool(row.get("edges_only", False)), row.get("one_of", ""),
        (book.source(row), book.sources["minutes"]),
    )


def read(book: Rulebook | None = None, kinds: Products | None = None) -> tuple[Row, ...]:
    """The rules of a file, checked.

    Raises
    ------
    BrokenRules
        where something is missing or unknown.
    """
    book = rulebook("steps") if book is None else book
    try:
        return tuple(_row(book, r, kinds or products()) for r in book.tables["steps"])
    except (KeyError, TypeError, ValueError) as err:
        raise BrokenRules(book.name, f"something is missing or of the wrong kind ({type(err).__name__}: {err}).", MEND) from err


@lru_cache(maxsize=1)
def rows() -> tuple[Row, ...]:
    """The packaged rules."""
    return read()


def coated(subject: Subject) -> bool:
    """Whether an old coat may be there: not bare, no print's own skin."""
    return subject.old_finish != "none" and bool({"solid_wood", "veneer", "opaque"} & set(subject.faces))


def lead_presumed(subject: Subject) -> bool:
    """Whether a coat is there that is taken to hold lead: one that is not known to be of 1978 or later."""
    return coated(subject) and subject.made_before_1978 is not False


def area_of(subject: Subject, edges_only: bool = False) -> float | None:
    """Square metres worked on; with `edges_only` the strip round each piece."""
    if not edges_only or subject.length_mm is None or subject.width_mm is None:
        return subject.area_m2
    return 2 * (subject.length_mm + subject.width_mm) * EDGE_MM * subject.count / 1e6


def _sanded(row: Row, subject: Subject) -> tuple[tuple[int, ...], str | None, str, tuple[Source, ...]]:
    """(grits, tool, words on the budget, sources): from the sanding budget where the face may be veneer."""
    if row.sand not in sanding_rules().goals or "veneer" not in subject.faces:
        return row.grits, row.tool, "", ()
    found = sanding(subject, row.sand)
    if found is None:
        return (), None, "No grit is gentle enough for this face: dull it with a liquid deglosser or a fine pad, no paper.", ()
    tool = found.steps[0].tool
    rounds = ", ".join(f"P{s.grit} {s.rounds} round{'s' if s.rounds > 1 else ''}" for s in found.steps)
    chance = f"about {100 * found.worst:.1f} in 100" if found.worst >= 0.001 else "under 1 in 1000"
    words = (f" {rounds}, {'by hand on a block' if tool == 'hand' else 'by machine'}; the chance to go through somewhere, "
             f"corners first, is {chance} by an estimate of what each grit takes.")
    return tuple(s.grit for s in found.steps), tool, words, (rulebook("sanding").sources["removal"],)


def steps_of(subject: Subject, goal: str, topcoat: str = "water", book: tuple[Row, ...] | None = None) -> tuple[Step, ...]:
    """The steps of a route that is open to a part, in order. Routes that are refused are not known here: ask routes first."""
    out = []
    careful = lead_presumed(subject)
    taken: set[str] = set()
    for row in book or rows():
        if not row.for_part(subject, goal, topcoat) or row.one_of in taken:
            continue
        taken |= {row.one_of} - {""}
        grits, tool, budget, more = _sanded(row, subject)
        how = row.how + budget
        if row.wet and careful:
            how, grits, tool = row.wet, (), None
        elif careful and grits:
            how, tool = f"{how} {STRIPPED}", "hand"
            more = (*more, rulebook("steps").sources["lead"])
        area = area_of(subject, row.edges_only)
        times = max(1, row.coats)
        minutes = None if area is None else times * (row.minutes + row.minutes_per_m2 * area)
        hazards = tuple(h for h in row.hazards if h != "old_paint" or coated(subject))
        if careful and grits and "old_paint" not in hazards:
            hazards = (*hazards, "old_paint")
        if grits and {"particle_board", "fibreboard"} & set(subject.cores) and "board_resin" not in hazards:
            hazards = (*hazards, "board_resin")
        out.append(Step(row.key, subject.id, row.title, how, row.product, row.coats, tool, grits, minutes, row.between, row.wait,
                        row.test, row.stop, hazards, tuple(dict.fromkeys((*row.sources, *more)))))
    return tuple(out)
