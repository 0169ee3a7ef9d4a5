"""What pages of checks by hand show, from the documents of the routine: pure functions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from service.gate.drawings import DRAWINGS
from service.hand.checks import Check, Rules
from service.hand.state import Told
from service.hand.worth import Worth
from service.words import class_words, odds, percent

MEASURE = ("Before you leave: measure length, width and thickness of what you would work on, and the whole piece for the car. "
           "Sizes go into the plan and onto the page for carrying.")
#: Faces below this at their high end are not drawn, and at most so many are.
SHOWN, MOST = 0.05, 4
#: Below this an answer tells the faces in play not apart.
LEAST_DECIBANS = 0.5


def part_lines(parts: Sequence[Mapping[str, Any]], rules: Rules) -> list[dict[str, Any]]:
    """Every part of the routine with what is left of it, in ranges, and what moved it."""
    out = []
    for p in parts:
        rows = sorted(p["faces"].items(), key=lambda kv: -kv[1]["middle"])
        shown = [{"words": class_words(f), "low": percent(r["low"]), "high": percent(r["high"]), "middle": r["middle"]}
                 for f, r in rows if r["high"] >= SHOWN][:MOST]
        left = [class_words(f) for f in p["faces_left"]]
        call = class_words(p["face"]) if p["face"] else "cannot tell: " + ", ".join(left)
        inside = f" on {class_words(p['core'])}" if p["face"] in ("veneer", "printed", "opaque") and p["core"] else ""
        out.append({"id": p["part"], "name": p["name"], "call": call + inside, "open": p["face"] is None, "rows": shown,
                    "moved": moved(p["moved"], rules), "asked": bool(p["moved"])})  # fmt: skip
    return out


def moved(weights: Sequence[Mapping[str, Any]], rules: Rules) -> list[dict[str, str]]:
    """What moved what: check, answer, odds, and why not in full."""
    return [{"key": m["check"], "check": _check_words(rules, m["check"]), "answer": _answer_words(rules, m["check"], m["answer"]),
             "words": f"{odds(m['decibans'])} for {class_words(m['for'])} against {class_words(m['against'])}",
             "why": m["why_not_whole"]} for m in weights if m["decibans"] >= LEAST_DECIBANS]  # fmt: skip


def _check_words(rules: Rules, key: str) -> str:
    return rules.checks[key].text if key in rules.checks else "Weighed"


def _answer_words(rules: Rules, key: str, answer: str) -> str:
    return next((a.words for a in rules.checks[key].answers if a.key == answer), answer) if key in rules.checks else answer


def after(found: Mapping[str, Any], parts: Sequence[Mapping[str, Any]], key: str | None) -> list[str]:
    """What the answer given last did, said at once: the odds of a check, or what a question of the gate led to."""
    subject, _, question = (key or "").partition("/")
    if subject == "gate":
        reason = next((r for r in found["gate"]["reasons"] if r["question"] == question), None)
        return [] if reason is None else [f"{reason['words'].capitalize()}. {reason['reason']}", reason["do"]]
    part = next((p for p in parts if p["id"] == subject), None)
    if part is None:
        return []
    did = next((m for m in part["moved"] if m["key"] == question), None)
    less = f" (in part: {did['why']})" if did is not None and did["why"] else ""
    lines = [f"{did['words']}{less}"] if did is not None else ["That tells what is left not apart."]
    return [*lines, f"{part['name']}: {part['call']}"]


def check_rows(
    told: Told, following: Sequence[Worth], rules: Rules, did: Sequence[Mapping[str, str]]
) -> list[dict[str, Any]]:
    """All checks that can be made on a part: those that would tell most first, then the rest, then those answered."""
    first = [w.check for w in following]
    known = [c for c in rules.checks.values() if c.key in told.answers]
    rest = [c for c in rules.checks.values() if told.role in c.roles and c not in first and c not in known]
    worth = {w.check.key: w.bits for w in following}
    spoke = {m["key"]: m for m in did}
    return [_check_row(c, told.answers.get(c.key), worth.get(c.key), spoke.get(c.key)) for c in (*first, *rest, *known)]


def _check_row(check: Check, said: str | None, bits: float | None, did: Mapping[str, str] | None) -> dict[str, Any]:
    return {
        "key": check.key, "text": check.text, "how": check.how, "seconds": round(check.seconds), "said": said,
        "drawing": check.key if check.key in DRAWINGS else "", "worth": "" if bits is None else f"about {bits:.1f} bits",
        "answers": [{"key": a.key, "words": a.words} for a in check.answers], "did": did, "source": check.source.words,
    }  # fmt: skip
