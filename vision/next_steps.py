"""What to photograph or check next: the expected information of each possible ask about each part.

The gain of an ask is the mutual information, in bits, between its outcome and the part's substrate under the verdict
held now: H(outcome) - H(outcome | substrate). It is high where the verdict is open and the outcome would settle it, and
zero where nothing is left to learn.

Photos: what a photo would show is common practice, no source (`vision.next_shown`); how the classifier reads it was learnt from
its answers on photos by authors it never saw (`vision.next_reading`), and so was how much of the foretold gain really came. Where
few or no such photos were at hand the table of common practice counts beside it, at the rate at which the classifier was found
to get out of photos what a person could see in them.

Hand checks: by tables of what a person finds, common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision import registry
from vision.assessment import NextStep, Part
from vision.next_gain import arrays, bits, entropy, gain, settles
from vision.next_reading import SUBSTRATES, Reading, Readings, shipped_readings
from vision.next_shown import ASKS, ROLE_WORDS, Ask

__all__ = ["ASKS", "MIN_BITS", "REPEAT_SHARE", "Ask", "Prospect", "asks_for", "entropy", "gain", "next_steps", "prospects"]

Array = NDArray[np.float64]
#: Asks worth less than this are not worth the user's time, bits.
MIN_BITS = 0.05
#: The same hand check again for a part that already shows the cue is worth this share: most of it was seen already. Common
#: practice, no source; for photos the share was measured (`Readings.again`).
REPEAT_SHARE = 0.25
#: Photo ask -> kind of photo that it is read as. An edge of a front or a door is an edge.
READ_AS: Mapping[str, str] = {
    "edge_close": "edge", "drawer_top_edge": "edge", "door_edge": "edge", "top_end": "end", "underside": "face", "macro": "face",
    "side_light": "face",
}
#: Asks that the learnt photos hardly show: how many of them did (close enough for pores: the panels tagged so; light from the
#: side: none). The kind they are read as stands in for them, and counts for no more than this.
CARRIED: Mapping[str, float] = {"macro": 4.0, "side_light": 0.0}
#: An underside is read like a face but is no second look at the face in view: a side of its own, it is worth what an edge is.
WORTH_AS: Mapping[str, str] = {"underside": "edge"}
#: What an underside shows -> substrate whose face is read there; `hidden` reads as anything.
UNDERSIDE: Mapping[str, str] = {
    "same_boards": "solid_lumber", "other_boards": "solid_lumber", "plies": "veneer_on_plywood",
    "particles": "bare_particle_board", "fibre": "bare_fibreboard", "backing_sheet": "print_on_fibreboard",
}
_FACES = tuple(registry.FACES)
_FACE_OF = {s: f for (f, _), s in registry.SUBSTRATE_OF.items()}
#: (substrates, faces) 1 where a substrate has the face.
_MEMBER: Array = np.array([[float(_FACE_OF[s] == f) for f in _FACES] for s in SUBSTRATES])


@dataclass(frozen=True)
class Prospect:
    """What one ask promises for one part. `bits`: expected information about the substrate; `settles`: chance that the leading
    face then reaches the level of the verdict's sets; `measured`: share of the figure that rests on photos that were learnt
    from, 0 where it is common practice alone."""

    ask: Ask
    bits: float
    settles: float
    measured: float


def read_rows(ask: Ask, readings: Readings) -> Array | None:
    """(substrates, outcomes) of what the classifier makes of the asked photo; None for a hand check."""
    kind = READ_AS.get(ask.key)
    if kind is None:
        return None
    reading = readings.kinds[kind]
    if ask.key == "underside":
        anything = reading.shown.mean(axis=0)
        return np.stack([
            np.sum([p * (reading.shown[SUBSTRATES.index(UNDERSIDE[o])] if o in UNDERSIDE else anything)
                    for o, p in ask.rows[s].items()], axis=0) for s in SUBSTRATES])
    if kind == "face":
        return reading.shown
    covered = np.array([[ask.rows[s].get("hidden", 0.0)] for s in SUBSTRATES])
    return np.asarray((1 - covered) * reading.shown + covered * reading.hidden)


def _measured_share(ask: Ask, reading: Reading, lean: float) -> float:
    carried = min(reading.specimens, CARRIED.get(ask.key, reading.specimens))
    return carried / (carried + lean) if carried > 0 else 0.0


def prospect(part: Part, ask: Ask, readings: Readings) -> Prospect:
    """What an ask promises.

    A photo is taken to tell something new with a chance (what foretold gains turned out to be worth, less where the same
    cue is in view already) and nothing otherwise, so that gain and chance to settle are both that share of a fresh look's.
    """
    belief = {s: part.verdict.substrate[s] for s in SUBSTRATES}
    p, hand = arrays(belief, ask.rows)
    level = part.verdict.level
    now = float((p @ _MEMBER).max() >= level)
    seen = ask.cue is not None and ask.cue in part.verdict.cues
    rows = read_rows(ask, readings)
    by_hand, by_hand_settles = bits(p, hand), settles(p, hand, _MEMBER, level)
    if rows is None:
        new = REPEAT_SHARE if seen else 1.0
        return Prospect(ask, new * by_hand, new * by_hand_settles + (1 - new) * now, 0.0)
    reading = readings.kinds[READ_AS[ask.key]]
    share = _measured_share(ask, reading, readings.lean)
    again = readings.again if seen else 1.0
    worth = readings.kinds[WORTH_AS.get(ask.key, READ_AS[ask.key])].worth
    learnt, common = again * share * worth, again * (1 - share) * readings.by_hand
    gained = learnt * bits(p, rows) + common * by_hand
    settled = learnt * settles(p, rows, _MEMBER, level) + common * by_hand_settles + (1 - learnt - common) * now
    return Prospect(ask, gained, settled, share)


def prospects(part: Part, readings: Readings | None = None) -> list[Prospect]:
    """What every ask that fits the part promises, best first."""
    known = shipped_readings() if readings is None else readings
    fitting = [a for a in ASKS if part.role in a.roles and (a.needs is None or a.needs in part.verdict.cues)]
    return sorted((prospect(part, a, known) for a in fitting), key=lambda found: -found.bits)


def asks_for(part: Part) -> list[NextStep]:
    """Every ask that fits the part, best first."""
    return [NextStep(f.ask.kind, part.id, f.ask.key, f.bits, f.ask.text.format(part=ROLE_WORDS[part.role]))
            for f in prospects(part)]


def next_steps(
    parts: Sequence[Part], *, per_part: int = 2, limit: int = 6, min_bits: float = MIN_BITS
) -> tuple[NextStep, ...]:
    """The asks worth most, sorted by gain: at most `per_part` for a part and `limit` in all.

    One ask is made once for parts of one role. For each part the best photo and the best hand check come first, so that
    someone who only has photos and someone who stands before the piece both get an answer. With no part at all the one
    step is a better photo of the whole piece; its gain is given as 0 because nothing is known to measure it by.
    """
    if not parts:
        text = "Photograph the whole piece again: fill the frame, hold still, and let daylight fall on it."
        return (NextStep("photo", None, "whole_piece", 0.0, text),)
    chosen: list[NextStep] = []
    for part in parts:
        ranked = [s for s in asks_for(part) if s.gain_bits >= min_bits]
        best = [next((s for s in ranked if s.kind == kind), None) for kind in ("photo", "check")]
        first = [s for s in best if s is not None]
        rest = [s for s in ranked if s not in first]
        chosen += sorted(first, key=lambda s: -s.gain_bits)[:per_part] + rest[: max(0, per_part - len(first))]
    roles = {p.id: p.role for p in parts}
    out: list[NextStep] = []
    for step in sorted(chosen, key=lambda s: -s.gain_bits):
        # One ask for one kind of part is enough to read: its neighbours are worth the same look.
        if not any(step.ask == s.ask and roles[step.part or ""] == roles[s.part or ""] for s in out):
            out.append(step)
    return tuple(out[:limit])
