"""`grainassay sand`: how much sanding a thin face stands, and the gentlest way to a goal."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from service.rulebook import Rulebook, parse
from service.sanding.budget import TOO_RISKY, Outlook, Step
from service.sanding.rules import Face, Rules
from service.units import quantity
from vision.errors import UsageError

ESTIMATE = ("Removal depths are estimates of this program's makers, not measurements: nobody has published a table. A rules "
            "file of your own (--rules) changes them.")
STOPS = ("Draw pencil lines over the face and stop when they are gone; stop at once where the colour changes, glue shines or the "
         "figure turns. Break no edge: keep the last centimetre for a hand block.")
SAFE = ("Before sanding an old finish: paint from before 1978 or of unknown age is presumed to hold lead and is not dry-sanded; "
        "wear a mask that fits and extract the dust. Local codes and licensed practice come first.")
_STEP = re.compile(r"^P?(\d+)(?:x(\d))?([hm]?)$", re.IGNORECASE)


def own_rules(path: Path) -> Rulebook:
    """A rules file of the user's own.

    Raises
    ------
    UsageError
        if it cannot be read.
    """
    try:
        return parse(path.name, path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as err:
        raise UsageError(str(path), f"cannot be read ({err}).", "Name a text file like service/rules/sanding.toml.") from err


def face_of(text: str, rules: Rules, error: str | None) -> Face:
    """A kind of the rules ('modern'), a thickness ('0.6mm') or a range ('0.5-0.7mm')."""
    if text in rules.faces:
        return rules.faces[text]
    parts = [p for p in re.split(r"\s*(?:-|to)\s*", text) if p]
    if not any(c.isdigit() for c in text) or len(parts) > 2:
        raise UsageError("face", f"{text!r} is neither a thickness nor a kind of face.",
                         "Give millimetres, as in 0.6mm or 0.5-0.7mm, or one of: " + ", ".join(rules.faces) + ".")
    unit = re.sub(r"^[\d.,/\s]+", "", parts[-1])
    low, high = (quantity(p if re.search("[a-z\"]", p) else p + unit, "length", "face") for p in (parts[0], parts[-1]))
    spare = quantity(error, "length", "face error") if error else 0.0
    return Face("measured", max(0.01, low - spare), high + spare)


def way_of(text: str) -> tuple[Step, ...]:
    """'120m,150x2h,180': grits in order, x2 for two rounds, h by hand (usual) or m by machine."""
    steps = []
    for part in filter(None, (p.strip() for p in text.split(","))):
        match = _STEP.match(part)
        if match is None:
            raise UsageError("way", f"{part!r} is no step.", "Write 150x2h,180h: grit, rounds, h by hand or m by machine.")
        steps.append(Step(int(match[1]), "machine" if match[3].lower() == "m" else "hand", int(match[2] or 1)))
    if not steps:
        raise UsageError("way", "no step was given.", "Write steps like 150x2h,180h.")
    return tuple(steps)


def step_words(s: Step) -> str:
    """'P150 by hand, twice over'."""
    return f"P{s.grit} by {s.tool}" + ("" if s.rounds == 1 else f", {['', 'twice', 'three times'][s.rounds - 1]} over")


def document(face: Face, found: Outlook | None, goal: str | None) -> dict[str, Any]:
    """JSON types: mm, micrometres, chances 0..1; `way` null where every way is refused."""
    way = None if found is None else {
        "steps": [{"grit": f"P{s.grit}", "tool": s.tool, "rounds": s.rounds} for s in found.steps],
        "through": {k: round(v, 4) for k, v in found.through.items()}, "through_error": round(found.error, 4),
        "reached": round(found.reached, 3),
        "removed_um": dict(zip(("middle", "low", "high"), map(round, found.removed_um), strict=True)),
    }
    return {"schema": "grainassay.sand/1.0", "face": {"about": face.words, "from_mm": face.low, "to_mm": face.high}, "goal": goal,
            "way": way, "limit": TOO_RISKY, "cautions": [ESTIMATE, STOPS, SAFE]}


def lines_of(face: Face, found: Outlook | None, rules: Rules, goal: str | None) -> list[str]:
    """What is printed."""
    span = f"{face.low:g} mm" if face.low == face.high else f"{face.low:g} to {face.high:g} mm"
    lines = [f"Face: {face.words}, {span}."]
    if goal is not None:
        lines.append(f"Goal: {goal}, {rules.goals[goal].words}.")
    lines.append("")
    if found is None:
        lines += [f"Do not sand for this: every way that would reach it has more than {TOO_RISKY:.0%} chance to go through the",
                  "face somewhere. Without sanding: clean and refresh the finish, tone over it, or paint after a scuff",
                  "(--goal scuff tells whether the face stands that)."]
    else:
        lines += [f"  {n}. {step_words(s)}" for n, s in enumerate(found.steps, 1)]
        middle, low, high = found.removed_um
        lines += ["", f"Takes about {middle:.0f} micrometres from the open field (nine in ten: {low:.0f} to {high:.0f}).",
                  "Chance to go through the face: " + ", ".join(f"{_place(k)} {v:.1%}" for k, v in found.through.items()) + "."]
        if found.worst > TOO_RISKY:
            lines.append(f"That is more than {TOO_RISKY:.0%}: not a way to take.")
    return [*lines, STOPS, ESTIMATE, SAFE]


def _place(key: str) -> str:
    return {"field": "in the open field", "arris": "at arrises and corners", "patch": "at old patches"}[key]
