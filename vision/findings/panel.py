"""Findings of one panel: every group of measurements that weighs something, and every mark that was located."""

from __future__ import annotations

from vision.findings.base import Draft, PanelContext
from vision.findings.observe import OBSERVERS
from vision.findings.place import place
from vision.registry import CORE_WORDS, CORES, FACE_WORDS

#: Evidence below this is not worth a line unless a mark was located: half a deciban moves even odds by 1.2 to 1.
LEAST_DECIBANS = 0.5
#: Which question each kind speaks to: a face is judged by its surface, a core by what an edge or end shows.
EDGE_KINDS = ("edge_layers", "edge_particles", "end_rings")


def words(key: str) -> str:
    """Plain words of a face or core class."""
    return FACE_WORDS[key] if key in FACE_WORDS else CORE_WORDS[key]


def kinds_for(view: str, core_visible: float) -> tuple[str, ...]:
    """Finding kinds that make sense for a panel seen as `view`; layers and rings only where the thickness shows."""
    faces = tuple(k for k in OBSERVERS if k not in EDGE_KINDS)
    if view in ("edge", "end"):
        return (*EDGE_KINDS, *faces)
    return (*faces, *EDGE_KINDS) if core_visible >= 0.5 else faces


def panel_drafts(ctx: PanelContext, kinds: tuple[str, ...]) -> list[Draft]:
    """Findings of one panel, heaviest first; marks that weigh nothing are kept, for they were seen."""
    drafts = []
    for kind in kinds:
        weight = ctx.weights.get(kind)
        if weight is None:
            continue
        where, located = place(kind, ctx)
        if weight.decibans < LEAST_DECIBANS and not located:
            continue
        text = f"{OBSERVERS[kind](ctx)} {tail(weight.supports, weight.against, weight.decibans)}"
        drafts.append(Draft(kind, where, weight, text))
    return sorted(drafts, key=lambda d: -d.weight.decibans)


def tail(supports: str, against: str, decibans: float) -> str:
    """What the observation is worth, in words."""
    if decibans < LEAST_DECIBANS:
        return f"By itself that settles nothing between {words(supports)} and {words(against)}."
    strength = "A slight" if decibans < 2 else "A moderate" if decibans < 5 else "A clear" if decibans < 10 else "A strong"
    noun = "core" if supports in CORES else "surface"
    return f"{strength} pointer to {words(supports)} rather than {words(against)} as the {noun}."
