"""The finding "the same figure twice": where, how it lies, what is left after laying one on the other, what that means."""

from __future__ import annotations

import numpy as np

from vision.findings.base import Draft, PanelContext
from vision.findings.panel import tail
from vision.findings.weigh import Weight
from vision.repeats.repeat import HYPOTHESES, Repeat

_LIES = {"shift": "moved along", "half_turn": "turned by half a turn", "mirror": "mirrored"}
#: What each explanation looks like, and what makes it so.
_MEANS = {
    "exact_copy": "It agrees as copies do. Prints recur like that, and so does veneer made up from dyed blocks.",
    "slip": "It drifts from one to the other, as neighbouring leaves of one log do when laid side by side without turning.",
    "book": "One is the other opened like a book, with the drift of neighbouring leaves of one log.",
    "rotary": "It recurs at a shrinking distance, as the turns of one peeled log do.",
}
#: What the weight rests on: it was not counted on furniture.
RESTS_ON = "This weight comes from made-up pairs and from assumed shares of faces that recur."
#: Above this share of all explanations other than chance, the leading one is named alone.
CLEAR = 0.9


def explanations(repeat: Repeat) -> list[tuple[str, float]]:
    """Explanations other than coincidence with their shares of the likelihood, largest first; shares sum to 1."""
    names = [h for h in HYPOTHESES if h != "coincidence"]
    nats = np.array([repeat.log_likelihoods[h] for h in names])
    shares = np.exp(nats - nats.max())
    shares /= shares.sum()
    return sorted(zip(names, shares.tolist(), strict=True), key=lambda pair: -pair[1])


def repeat_text(repeat: Repeat) -> str:
    """What was seen, in words, without its weight."""
    where = "twice on this panel" if repeat.within else "on two panels"
    text = f"The same figure {where}, {_LIES[repeat.motion]}: {repeat.votes} small features agree on how it lies"
    if repeat.period is not None:
        text += ", and it recurs at one spacing"
    first, second = explanations(repeat)[:2]
    if first[1] >= CLEAR:
        return f"{text}. {_MEANS[first[0]]}"
    other = _MEANS[second[0]]
    return f"{text}. {_MEANS[first[0]]} Not settled; the other way to read it: {other[0].lower()}{other[1:]}"


def repeat_draft(repeat: Repeat, a: PanelContext, b: PanelContext, weight: Weight | None) -> Draft:
    """Draft for a repeat between panels `a` and `b` (one and the same within a panel)."""
    where = (a.region("polygon", np.array(repeat.region_a)), b.region("polygon", np.array(repeat.region_b)))
    settled = Weight("veneer", "printed", 0.0) if weight is None else weight
    return Draft("figure_repeat", where, settled,
                 f"{repeat_text(repeat)} {tail(settled.supports, settled.against, settled.decibans)} {RESTS_ON}")
