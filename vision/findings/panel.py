"""Findings of one panel: every group of measurements that weighs something, and every mark that was located."""

from __future__ import annotations

from vision.findings.base import Draft, PanelContext
from vision.findings.details import NOT_WEIGHED
from vision.findings.net import NET_KIND, net_place
from vision.findings.observe import OBSERVERS, ON_FACES
from vision.findings.place import place
from vision.findings.weigh import Weight
from vision.registry import CORE_WORDS, CORES, FACE_WORDS

#: Evidence below this is not worth a line unless a mark was located: half a deciban moves even odds by 1.2 to 1.
LEAST_DECIBANS = 0.5
#: Marks of these are many and small, so they are shown only where they weigh something.
IF_WEIGHING = ("eye_cues",)
EDGE_KINDS = ("edge_layers", "edge_particles", "end_rings", "edge_make")


def words(key: str) -> str:
    """Plain words of a face or core class."""
    return FACE_WORDS[key] if key in FACE_WORDS else CORE_WORDS[key]


def shows_edge(view: str, core_visible: float) -> bool:
    """Whether layers, particles and rings on this panel are those of a section through the board."""
    return view in ("edge", "end") or core_visible >= 0.5


def panel_drafts(ctx: PanelContext, edge: bool) -> list[Draft]:
    """Findings of one panel, heaviest first: every kind that weighs something, and marks that weigh nothing but were seen.

    `edge`: whether a section through the board is in view (`shows_edge`); else nothing is marked as layer or ring.
    """
    drafts = []
    for kind, observe in (OBSERVERS if edge else ON_FACES).items():
        weight = ctx.weights.get(kind)
        if weight is None:
            continue
        where, located = place(kind, ctx)
        if kind in EDGE_KINDS and not edge:
            where, located = (ctx.outline_region(),), False
        if weight.decibans < LEAST_DECIBANS and (not located or kind in IF_WEIGHING):
            continue
        text = f"{observe(ctx)} {tail(weight.supports, weight.against, weight.decibans)}"
        drafts.append(Draft(kind, where, weight, text))
    return sorted([*drafts, *_of_the_net(ctx)], key=lambda d: -d.weight.decibans)


def _of_the_net(ctx: PanelContext) -> list[Draft]:
    """What the panel net saw, where it was asked: weighed by the classifier where that reads it, else only shown."""
    seen = net_place(ctx)
    if seen is None:
        return []
    weight = ctx.weights.get(NET_KIND)
    if weight is None:
        return [Draft(NET_KIND, seen.where, Weight(*seen.pair, 0.0), f"{seen.text} {NOT_WEIGHED}")] if seen.located else []
    if weight.decibans < LEAST_DECIBANS and not seen.located:
        return []
    return [Draft(NET_KIND, seen.where, weight, f"{seen.text} {tail(weight.supports, weight.against, weight.decibans)}")]


def tail(supports: str, against: str, decibans: float) -> str:
    """What the observation is worth, in words."""
    if decibans < LEAST_DECIBANS:
        return f"By itself that settles nothing between {words(supports)} and {words(against)}."
    strength = "A slight" if decibans < 2 else "A moderate" if decibans < 5 else "A clear" if decibans < 10 else "A strong"
    noun = "core" if supports in CORES else "surface"
    return f"{strength} pointer to {words(supports)} rather than {words(against)} as the {noun}."
