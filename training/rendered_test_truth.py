"""What the truth of rendered photographs tells of each panel beside its labels: where it sits, how it was shot and sent, and
which cues it truly shows.

A cue counts as visible only where the truth says that it is there and the pixels say that it can be made out:

- repeat: the same spot of a printed design twice in the panel or also on another printed face of the photo; or neighbouring
  leaves of one flitch, laid in order, both in view. The shared part is at least `REPEAT_PX` wide and long.
- edge, end: the panel is a narrow side with its core bare, or such a side of the same part is on the photo.
- gloss_pair: a shiny coat, and the same side on another photo of the piece taken at least `PAIR_DEG` further round.
- wear: a damaged region at least `WEAR_PX` across within the part in view.
- macro: at most `MACRO_MM` mm a pixel, so that a pore of a ring-porous wood (about 0.3 mm: common practice, no source) spans more
  than one pixel.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

CUES = ("repeat", "edge", "end", "gloss_pair", "wear", "macro")
REPEAT_PX, WEAR_PX, SIDE_PX = 48.0, 6.0, 6.0
PAIR_DEG = 10.0
MACRO_MM = 0.2
SHINY = ("gloss_polyester", "varnish", "satin_lacquer")
#: Layouts whose neighbouring leaves follow each other in the flitch.
IN_ORDER = ("book", "slip", "running")
PATTERNED = ("four_way", "diamond", "reverse_diamond", "boxed", "radial", "chevrons", "squares")
#: A printed sheet's under side is cut elsewhere from the web (mm along, across), see training/figure/slabs.py.
UNDER = (377.0, 211.0)
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Facts:
    """One panel's facts. `style` as ordered for the piece; `twin`: '' or what this one of three alike is made of; `shot`: whole,
    part or close; `faces`, `panels`: labelled faces of furniture and labelled panels on the photo; `width_px`: narrowest width;
    `mm_per_px` 0 for backgrounds; `cues`: keys of CUES."""

    role: str
    part: str
    side: str
    layout: str
    edging: str
    coat: str
    core_shown: bool
    kind: str
    style: str
    twin: str
    piece: str
    shot: str
    delivery: str
    camera: str
    faces: int
    panels: int
    photo_width: int
    photo_height: int
    width_px: float
    area_px: float
    mm_per_px: float
    cues: tuple[str, ...]


def photo_facts(path: Path) -> dict[int, Facts]:
    """Facts of all panels and backgrounds of one photo's truth file, by number; other photos of the piece lie beside it."""
    truth = json.loads(path.read_text(encoding="utf-8"))
    piece = str(truth["piece"])
    beside = [p for p in sorted(path.parent.glob(f"{piece}_*.json")) if p != path]
    return facts_of(truth, [json.loads(p.read_text(encoding="utf-8")) for p in beside])


def facts_of(truth: Mapping[str, Any], others: Sequence[Mapping[str, Any]]) -> dict[int, Facts]:
    """The same from loaded truths; `others`: those of further photos of the piece."""
    panels = truth["panels"]
    cues = visible_cues(panels, _seen_from_elsewhere(truth, others))
    faces = sum(p["view"] == "face" for p in panels)
    out = {}
    for row in [*panels, *truth.get("background", [])]:
        ground = "material" in row and "view" not in row
        out[int(row["id"])] = Facts(
            role="background" if ground else str(row["role"]), part="" if ground else str(row["part"]),
            side="" if ground else str(row["side"]), layout=str(row["material"] if ground else row.get("layout") or "none"),
            edging="" if ground else str(row["edging"]), coat=str(row.get("coat") or ""), core_shown=bool(row.get("core_shown")),
            kind=str(truth["kind"]), style=str(truth["style"]), twin=str(truth["style"]) if truth.get("twin_group") else "",
            piece=str(truth["piece"]), shot=str(truth["view"]), delivery=str(truth["phone"].get("delivery", "camera")),
            camera=str(truth["phone"].get("camera", "plain")), faces=faces, panels=len(panels), photo_width=int(truth["width"]),
            photo_height=int(truth["height"]), width_px=float(row.get("width_px", 0.0)), area_px=float(row["area_px"]),
            mm_per_px=float(row.get("mm_per_px", 0.0)), cues=() if ground else cues[int(row["id"])],
        )
    return out


def visible_cues(panels: Sequence[Mapping[str, Any]], pairs: set[tuple[str, str]]) -> dict[int, tuple[str, ...]]:
    """Cues of the panels of one photo by number; `pairs`: (part, side) seen on another photo from far enough round."""
    bare: dict[str, set[str]] = {}
    for p in panels:
        if p.get("core_shown") and p["width_px"] >= SIDE_PX:
            bare.setdefault(str(p["part"]), set()).add("end" if p["view"] == "end" else "edge")
    printed = [(p, web_box(p)) for p in panels if p["view"] == "face" and "print_repeat_mm" in p]
    out = {}
    for p in panels:
        found = set()
        if p["view"] == "face":
            found |= bare.get(str(p["part"]), set())
            if _leaves_recur(p) or _print_recurs(p, printed):
                found.add("repeat")
            if p.get("coat") in SHINY and (str(p["part"]), str(p["side"])) in pairs:
                found.add("gloss_pair")
            if _worn(p):
                found.add("wear")
        elif p.get("core_shown"):
            found.add("end" if p["view"] == "end" else "edge")
        if p["mm_per_px"] <= MACRO_MM:
            found.add("macro")
        out[int(p["id"])] = tuple(c for c in CUES if c in found)
    return out


def web_box(panel: Mapping[str, Any]) -> Box:
    """(low, high, low, high) mm along and across the printed web of what is in view of a printed face."""
    a0, b0 = panel["print_origin_mm"]
    if panel["side"] == "under":
        a0, b0 = a0 + UNDER[0], b0 + UNDER[1]
    u0, u1, v0, v1 = panel["window_mm"]
    return a0 + u0, a0 + u1, b0 + v0, b0 + v1


def _shared(low: float, high: float, low2: float, high2: float, period: float, turns: range) -> list[tuple[int, float]]:
    """(turn, mm) shared by one stretch and another moved by whole periods."""
    return [(k, min(high, high2 + k * period) - max(low, low2 + k * period)) for k in turns]


def recurs(one: Box, two: Box, period: tuple[float, float], least: float, *, same: bool) -> bool:
    """Whether stretches of a web that comes back after `period` mm along and across share a spot at least `least` mm both
    ways; `same`: they are one panel, which trivially shares itself without a turn."""
    turns = [range(*_reach(one[2 * k : 2 * k + 2], two[2 * k : 2 * k + 2], period[k])) for k in (0, 1)]
    along = _shared(one[0], one[1], two[0], two[1], period[0], turns[0])
    across = _shared(one[2], one[3], two[2], two[3], period[1], turns[1])
    return any(a >= least and b >= least and not (same and i == j == 0) for i, a in along for j, b in across)


def _reach(one: tuple[float, ...], two: tuple[float, ...], period: float) -> tuple[int, int]:
    """Turns that can bring the second stretch onto the first."""
    return math.floor((one[0] - two[1]) / period), math.ceil((one[1] - two[0]) / period) + 1


def _print_recurs(panel: Mapping[str, Any], printed: Sequence[tuple[Mapping[str, Any], Box]]) -> bool:
    if "print_repeat_mm" not in panel:
        return False
    own, period = web_box(panel), (float(panel["print_repeat_mm"]), float(panel["print_width_mm"]))
    for other, box in printed:
        if (other["print_repeat_mm"], other["print_width_mm"]) != (panel["print_repeat_mm"], panel["print_width_mm"]):
            continue
        least = REPEAT_PX * max(panel["mm_per_px"], other["mm_per_px"])
        if recurs(own, box, period, least, same=other is panel):
            return True
    return False


def _leaves_recur(panel: Mapping[str, Any]) -> bool:
    if panel["face"] != "veneer":
        return False
    u0, u1, v0, v1 = panel["window_mm"]
    least = REPEAT_PX * panel["mm_per_px"]
    if panel.get("layout") in PATTERNED:
        return min(u1 - u0, v1 - v0) >= 2 * least
    if panel.get("layout") not in IN_ORDER or u1 - u0 < least:
        return False
    half = panel["size_mm"][1] / 2
    seen = [min(leaf[1] + half, v1) - max(leaf[0] + half, v0) >= least for leaf in panel.get("leaves", [])]
    return any(a and b for a, b in pairwise(seen))


def _worn(panel: Mapping[str, Any]) -> bool:
    u0, u1, v0, v1 = panel["window_mm"]
    half = [s / 2 for s in panel["size_mm"]]
    for region in panel.get("damage") or []:
        xs, ys = ([p[k] + half[k] for p in region["outline_mm"]] for k in (0, 1))
        inside = min(max(xs), u1) - max(min(xs), u0), min(max(ys), v1) - max(min(ys), v0)
        if min(inside) > 0 and max(inside) >= WEAR_PX * panel["mm_per_px"]:
            return True
    return False


def _seen_from_elsewhere(truth: Mapping[str, Any], others: Sequence[Mapping[str, Any]]) -> set[tuple[str, str]]:
    """(part, side) of faces that another photo shows from at least PAIR_DEG further round."""
    out: set[tuple[str, str]] = set()
    for other in others:
        turn = sum(a * b for a, b in zip(truth["camera"]["forward"], other["camera"]["forward"], strict=True))
        if math.degrees(math.acos(max(-1.0, min(1.0, turn)))) >= PAIR_DEG:
            out |= {(str(p["part"]), str(p["side"])) for p in other["panels"] if p["view"] == "face"}
    return out
