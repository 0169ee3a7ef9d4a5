"""What a find says and does not say, in plain sentences. Cautious by rule: a joint speaks for the parts it joins."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from vision.joints.finds import Find, Gap, Pair, Relief, RoundThing, Row, Strokes, Tails

#: 'weak', 'moderate': how much a find says of the thing it speaks for.
STRENGTHS: Final = ("nothing", "weak", "moderate")


#: What this room cannot tell, whatever the photo: for next steps and limits.
OUT_OF_REACH: Final = (
    "Whether a drawer bottom or a back is hardboard, plywood or boards does not show on its plain face: photograph its raw edge.",
    "Joints that do not come through to a surface (mortises, dowels, half-blind dovetails from the front) do not show.",
    "A rabbet looks like any other seam from outside: only the staples or nails in it show.",
    "Carved, fluted or turned work is called possible at most: a moulded composite or a print can shade the same way.",
)


@dataclass(frozen=True)
class Saying:
    """`seen`: the find in words with its numbers; `means`: what it supports; `limits`: what it does not; `speaks_for`: the part
    meant; `cores`: keys of registry.CORES it leans towards (none: says nothing of the core); `strength` of STRENGTHS."""

    seen: str
    means: str
    limits: str
    speaks_for: str
    cores: tuple[str, ...]
    strength: str

    def __post_init__(self) -> None:
        if self.strength not in STRENGTHS:
            raise ValueError(f"unknown strength {self.strength!r}")


def _pm(value: float, error: float, unit: str, digits: int = 1) -> str:
    if not (math.isfinite(value) and math.isfinite(error)):
        return f"unknown {unit}"
    return f"{value:.{digits}f} ± {error:.{digits}f} {unit}"


def _measured(px: float, error: float, mm: float | None) -> str:
    return _pm(px, error, "px") if mm is None else f"{mm:.1f} mm ({_pm(px, error, 'px')})"


def _tails(t: Tails) -> Saying:
    what = {"dovetail": "Dovetails", "fingers": "Square fingers", "cannot_tell": "Fingers, square or dovetailed,"}[t.name]
    count = f"{t.fingers} whole tails" if t.name == "dovetail" else f"{t.fingers} whole fingers"
    seen = f"{what} along the {t.end} side: {count}, {_measured(t.pitch, t.pitch_error, t.pitch_mm)} apart"
    if t.name == "dovetail":
        seen += f", sides at {_pm(t.angle, t.angle_error, 'degrees')}"
    made = {"hand": "Uneven as hand work is.", "machine": "Even as machine work is.",
            "cannot_tell": "Too few or too unclear to say whether cut by hand or by machine."}[t.made]
    if t.name == "fingers":
        made += " The pin side of dovetails looks the same from here."
    return Saying(f"{seen}. {made}",
                  "The two parts that meet here are boards or plywood: end grain shows between long grain.",
                  "Dovetails and fingers speak only for the drawer side they are cut in, not for its front, its bottom or the "
                  "rest of the piece; dovetailed plywood and fibreboard drawers exist. A joint printed or inlaid as decoration "
                  "can look the same.",
                  "the joined parts, mostly a drawer side", ("lumber", "plywood"), "moderate")


_ROUND_WORDS: Final = {
    "hole": "hole", "cam": "housing of a cam fitting", "cap": "cover cap", "screw": "screw head", "dowel": "dowel end",
    "nail": "nail head", "knob": "knob",
}


def _round(r: RoundThing) -> Saying:
    size = f"{2 * r.radius:.1f} ± {2 * r.radius_error:.1f} px wide" if r.mm is None else f"{r.mm:.1f} mm wide"
    seen = f"A {_ROUND_WORDS[r.name]}, {size}."
    if r.name in ("cam", "cap"):
        return Saying(seen, "Knock-down fittings: most carcases put together with them are of board.",
                      "Solid wood is also sold to be put together this way; a cap can cover a plain screw.", "the carcase",
                      ("particle_board", "fibreboard"), "weak")
    if r.name == "screw":
        return Saying(seen, "An exposed screw: near an edge, with a hexagon socket in a wide flat head, it is likely a connector "
                      "screw (confirmat) for board.", "Repairs and solid wood are screwed too.", "the carcase", (), "weak")
    if r.name == "dowel":
        return Saying(seen, "The joint is pegged or dowelled.", "Boards, plywood and particle board are all dowelled.",
                      "the joint", (), "nothing")
    if r.name == "nail":
        return Saying(seen, "Nailed here.", "Backs, bottoms and repairs of every kind are nailed.",
                      "the nailed part", (), "nothing")
    if r.name == "knob":
        return Saying(seen, "A knob in place.", "Says nothing of the material; knobs are often replaced.",
                      "the hardware", (), "nothing")
    return Saying(seen, "A hole: a close look into it shows the core.",
                  "The hole itself says nothing of the material; it can be a knot fallen out or an insect's.",
                  "the panel", (), "nothing")


def _row(r: Row) -> Saying:
    size = _measured(r.pitch, r.pitch_error, r.mm)
    if r.name == "grid":
        return Saying(f"{len(r.holes)} holes in a grid, {size} apart.", "A perforated panel, as hardboard backs are.",
                      "A back says nothing of the front, top or sides.", "the back panel", ("fibreboard",), "moderate")
    near = abs(math.log(r.ratio / 6.4)) < 0.25 if r.mm is None else abs(r.mm - 32) < 1.5
    means = ("Spaced as rows for shelf pins and fittings are drilled in cabinet making by the panel (32 mm)." if near
             else "Evenly drilled holes.")
    return Saying(f"{len(r.holes)} holes in a row, {size} apart, {r.ratio:.1f} hole widths.", means,
                  "Board, plywood and solid sides are all drilled this way.", "the drilled side",
                  ("particle_board", "fibreboard", "plywood") if near else (), "weak" if near else "nothing")


def _pair(p: Pair) -> Saying:
    size = f"{p.spacing:.1f} px" if p.mm is None else f"{p.mm:.0f} mm"
    fits = f", as pulls of {p.nearest:.0f} mm are drilled" if p.nearest is not None else ""
    return Saying(f"Two like holes level with each other, {size} apart{fits}.",
                  "A pull is probably missing; a new one must span this.",
                  "Any two holes may lie level; filled holes of an earlier pull may hide beside them.",
                  "the hardware", (), "nothing")


def _strokes(s: Strokes) -> Saying:
    return Saying(f"{len(s.lines)} strokes of {s.length:.0f} px in a row along an edge, as staples are set.",
                  "Stapled: a factory-made back or bottom, or a later repair.", "Says nothing of the front.",
                  "the stapled panel", (), "weak")


def _gap(g: Gap) -> Saying:
    size = f"{g.narrow:.1f} to {g.wide:.1f} ± {g.width_error:.1f} px" if g.mm is None else f"to {g.mm:.1f} mm"
    return Saying(f"A dark wedge along a straight line, {size} wide.",
                  "A joint that may have opened: try by hand whether it moves.",
                  "A shadow, an uneven reveal or a door left ajar looks the same.", "the joint", (), "nothing")


def _relief(r: Relief) -> Saying:
    return Saying("Shading that repeats without a change of colour, as on carved, fluted or turned work.",
                  "Possibly relief: if grain runs through it, that part is cut from the solid.",
                  "Moulded composites, prints and slatted shadows look the same: feel it by hand.", "that part", (), "weak")


def saying(find: Find) -> Saying:
    """Words for one find."""
    if isinstance(find, Tails):
        return _tails(find)
    if isinstance(find, RoundThing):
        return _round(find)
    if isinstance(find, Row):
        return _row(find)
    if isinstance(find, Pair):
        return _pair(find)
    if isinstance(find, Strokes):
        return _strokes(find)
    if isinstance(find, Gap):
        return _gap(find)
    return _relief(find)
