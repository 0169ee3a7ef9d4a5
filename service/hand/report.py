"""A part after hand checks in words and as JSON types: what is left, what moved what, what to ask next."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from service.hand.belief import FACE_OF, FACES, Fused, Range, Weight
from service.hand.checks import CANNOT_SAY, SUBSTRATES, Check, Rules
from service.hand.state import Told
from service.hand.worth import Worth
from service.words import class_words, listing, odds, percent

ESTIMATES = ("The ranges rest on estimates of how often such parts give such answers; they have not been checked on confirmed "
             "pieces. Read them as a guide: an edge or a hole that you have seen yourself outranks them.")
#: Faces below this at their high end are not printed.
SHOWN = 0.02


def by_face(weight: Weight, fused: Fused) -> dict[str, float]:
    """Face -> natural log likelihood of one answer, over the substrates of that face as they stand before it."""
    p = np.array([fused.substrates[s] for s in SUBSTRATES]) * np.exp(-weight.logs)
    out = {}
    for face in FACES:
        rows = np.array([FACE_OF[s] == face for s in SUBSTRATES])
        mass = p[rows].sum()
        out[face] = float(np.log((p[rows] * np.exp(weight.logs[rows])).sum() / mass)) if mass > 0 else 0.0
    return out


def pull(weight: Weight, fused: Fused) -> tuple[str, str, float]:
    """(face supported most, face opposed most, decibans between them) of one answer, among faces in play."""
    logs = by_face(weight, fused)
    play = list(dict.fromkeys([*fused.faces_left, *sorted(FACES, key=lambda f: -fused.faces[f].middle)[:2]]))
    up, down = max(play, key=lambda f: logs[f]), min(play, key=lambda f: logs[f])
    return up, down, 10 * (logs[up] - logs[down]) / math.log(10)


def _range(r: Range) -> dict[str, float]:
    return {"low": round(r.low, 4), "middle": round(r.middle, 4), "high": round(r.high, 4)}


def _weight(w: Weight, fused: Fused) -> dict[str, Any]:
    up, down, decibans = pull(w, fused)
    change = fused.moved[w.check]
    return {"check": w.check, "answer": w.answer, "for": up, "against": down, "decibans": round(decibans, 2),
            "share": w.share, "why_not_whole": w.why, "moved": {f: round(v, 4) for f, v in change.items()}}


def document(part: str, told: Told, fused: Fused, following: Sequence[Worth], rules: Rules) -> dict[str, Any]:
    """JSON types. Ranges hold nine in ten when the estimates are doubted; `calibrated` is false and stays so until confirmed
    pieces have been counted."""
    face, core = told.confirmed
    return {
        "part": part, "role": told.role, "start": fused.start.words, "calibrated": False,
        "confirmed": {"face": face, "core": core},
        "face": face or fused.face, "core": core or fused.core,
        "faces_left": [face] if face else list(fused.faces_left), "cores_left": [core] if core else list(fused.cores_left),
        "faces": {f: _range(r) for f, r in fused.faces.items()}, "cores": {c: _range(r) for c, r in fused.cores.items()},
        "substrates": {s: round(v, 6) for s, v in fused.substrates.items()},
        "moved": [_weight(w, fused) for w in fused.weights],
        "next": [{"check": w.check.key, "text": w.check.text, "how": w.check.how, "bits": round(w.bits, 4),
                  "bits_a_minute": round(w.a_minute, 4), "seconds": w.check.seconds,
                  "answers": [{"key": a.key, "words": a.words} for a in w.check.answers]} for w in following],
        "sources": sources(fused, rules), "caution": ESTIMATES,
    }


def sources(fused: Fused, rules: Rules) -> list[dict[str, str]]:
    """What the answers given rest on."""
    used = [rules.checks[w.check].source for w in fused.weights if w.check in rules.checks]
    if fused.weights:
        used.append(rules.odds_source)
    return [{"title": s.title, "status": s.status} for s in dict.fromkeys(used)]


def _share(r: Range) -> str:
    low, high = percent(r.low), percent(r.high)
    return percent(r.middle) if low == high else f"{low} to {high}"


def call_line(told: Told, fused: Fused) -> str:
    """The one line that stands for the part."""
    face, core = told.confirmed
    if face is not None:
        return f"{class_words(face)}" + (f" on {class_words(core)}" if core and face != "solid_wood" else "") + ", seen by hand"
    if not fused.weights:
        return "no answers yet" + (f"; photos leave {listing([class_words(f) for f in fused.faces_left])}"
                                   if fused.start.cues else "")
    inside = core or fused.core
    if fused.face is not None:
        on = f" on {class_words(inside)}" if inside and fused.face in ("veneer", "printed", "opaque") else ""
        return f"{class_words(fused.face)}{on}, from photos and answers" if "photo verdict" in fused.start.words \
            or fused.start.cues else f"{class_words(fused.face)}{on}, from the answers"
    left = listing([class_words(f) for f in fused.faces_left])
    tail = f"; the core is {class_words(inside)}" if inside else ""
    return f"cannot tell: {left} are left{tail}" if len(fused.faces_left) > 1 else f"points to {left}, not settled{tail}"


def lines_of(name: str, told: Told, fused: Fused, following: Sequence[Worth], rules: Rules) -> list[str]:
    """What is printed of one part."""
    lines = [f"{name}: {call_line(told, fused)}"]
    began: Mapping[str, float] = {f: sum(v for s, v in fused.start.substrates.items() if FACE_OF[s] == f) for f in FACES}
    for f in sorted(FACES, key=lambda f: -fused.faces[f].middle) if fused.weights else ():
        r = fused.faces[f]
        if r.high >= SHOWN or began[f] >= SHOWN:
            lines.append(f"  {class_words(f):<22}{_share(r):<20} before: {percent(began[f])}")
    if fused.weights:
        cores = [f"{class_words(c)} {_share(fused.cores[c])}" for c in fused.cores_left]
        lines.append("  Inside: " + ", ".join(cores))
    lines.append(f"  Started from {fused.start.words}.")
    if fused.weights:
        lines.append("  What moved what:")
    for w in fused.weights:
        up, down, decibans = pull(w, fused)
        words = _answer_words(w, rules)
        if decibans < 0.5:
            lines.append(f"    {words}: tells these apart not at all")
            continue
        change = fused.moved[w.check][up]
        less = f"; counts in part, it {w.why}" if w.why.startswith("repeats") else f"; counts in part, {w.why}" if w.why else ""
        lines.append(f"    {words}: {odds(decibans)} for {class_words(up)} against {class_words(down)} "
                     f"({100 * change:+.0f} points){less}")
    if following:
        lines.append("  Next, most told for the time:")
        lines += _next(following[0].check)
    return lines


def _answer_words(w: Weight, rules: Rules) -> str:
    check = rules.checks.get(w.check)
    if check is None:
        return f"Weighed {w.answer}"
    return f"{check.text}: {next(a.words for a in check.answers if a.key == w.answer)}"


def _next(check: Check) -> list[str]:
    said = [f"      --say {check.key}={a.key:<18}{a.words}" for a in check.answers]
    return [f"    {check.text}.", f"    {check.how}", *said, f"      --say {check.key}={CANNOT_SAY:<18}cannot say"]
