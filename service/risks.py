"""What could cost the user most, worst first, and the cautions that the work ahead calls for.

Risks are read from the verdicts: how likely a costly material is, times how bad a mistake would be. The cost weights
are editorial (common practice, no source); they order the lines and appear nowhere as numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.contract import Document, Part
from service.details import damage_kinds
from service.words import CORE_SEEN, edge_only, part_names, percent, probabilities, reason_words, some

#: A material below this probability is not brought up, unless the set keeps it and it is above FAINT.
LIKELY, FAINT = 0.25, 0.1
#: From this probability of paint on, the note on lead is given: it costs little to read.
LEAD = 0.15
#: A mistake on the part everyone looks at costs more.
EXPOSURE = {"top": 1.5, "drawer_front": 1.2, "door": 1.2}


@dataclass(frozen=True)
class Risk:
    """One line of risk: `parts` it concerns, `title` in words, `text` what it would cost. `weight` orders the lines."""

    key: str
    parts: tuple[str, ...]
    title: str
    text: str
    weight: float


@dataclass(frozen=True)
class Caution:
    """A safety note: where work can hurt someone."""

    key: str
    title: str
    text: str


_COST = {"printed": 5.0, "veneer": 3.0, "opaque": 2.0, "open_top": 3.5, "board": 2.0}
_TITLE = {
    "printed": "May be a print", "veneer": "May be veneer", "opaque": "Paint or solid colour",
    "open_top": "Cannot be told yet", "board": "Chip or fibre board inside",
}
_TEXT = {
    "printed": "A print cannot be stripped, sanded or restained: the picture goes, and what is under it was never meant to show.",
    "veneer": "Veneer can be about half a millimetre thin. Sanding through it, most easily at corners, cannot be undone.",
    "opaque": "What lies under paint is not visible. Look inside, underneath or at a chip before buying for the wood.",
    "open_top": "It is the part that decides the work. Do not sand or strip it before the check below.",
    "board": "Chip and fibre board swell when wet and hold screws badly: no water strippers, no soaking.",
}


def _part_risks(part: Part, narrow: bool) -> dict[str, float]:
    """Probability behind each risk of one part. With `narrow` (edge only) nothing is said of the face."""
    face, core = probabilities(part), probabilities(part, "core")
    out: dict[str, float] = {}
    for key in () if narrow else ("printed", "veneer", "opaque"):
        p = face[key]
        if p >= LIKELY or (key in part.face_set and p >= FAINT):
            out[key] = p
    if part.undecided and part.role == "top" and not narrow:
        out["open_top"] = 1.0
    board = core["particle_board"] + core["fibreboard"]
    if part.core_visible >= CORE_SEEN and board >= LIKELY:
        out["board"] = board
    return out


def risks(doc: Document) -> list[Risk]:
    """Risk lines, worst first, each naming its parts with the probability."""
    names = part_names(doc)
    grouped: dict[str, list[tuple[Part, float]]] = {}
    for part in doc.parts:
        for key, p in _part_risks(part, edge_only(doc, part)).items():
            grouped.setdefault(key, []).append((part, p))
    out = []
    for key, rows in grouped.items():
        rows.sort(key=lambda r: -r[1] * EXPOSURE.get(r[0].role, 1.0))
        weight = _COST[key] * max(p * EXPOSURE.get(part.role, 1.0) for part, p in rows)
        who = some([names[p.id] + ("" if key == "open_top" else f" ({percent(q)})") for p, q in rows])
        text = _TEXT[key]
        if key == "open_top":
            text = f"{reason_words(rows[0][0])} {text}"
        out.append(Risk(key, tuple(p.id for p, _ in rows), f"{_TITLE[key]}: {who}", text, weight))
    return sorted(out, key=lambda r: -r.weight)


def cautions(doc: Document) -> list[Caution]:
    """Safety notes that this piece calls for; none when no part was found."""
    if not doc.parts:
        return []
    out = []
    faces = [probabilities(p) for p in doc.parts if not edge_only(doc, p)]
    if any(f["opaque"] >= LEAD for f in faces):
        out.append(Caution(
            "lead", "Old paint",
            "Old paint may hold lead. Until it is tested, do not dry sand, scrape or burn it, and keep children away; a quick "
            "test that shows nothing does not clear it. Follow local rules, and use a licensed person where they ask for one.",
        ))
    out.append(Caution(
        "dust", "Dust", "Dust of wood, board and old finish harms the lungs: extract it, and wear a well-fitting particle mask.",
    ))
    if any(f["solid_wood"] + f["veneer"] + f["bare_board"] >= LIKELY for f in faces):
        out.append(Caution(
            "rags", "Oily rags",
            "Rags wet with oil finish can catch fire by themselves. Never pile them: spread them flat outdoors until dry, then "
            "keep them under water in a closed metal can.",
        ))
    damaged = damage_kinds(doc)
    if "mould" in damaged:
        out.append(Caution(
            "mould", "Possible mould", "Specks like mould are marked. Check by hand, in gloves and a mask, outdoors or with the "
            "window open; keep the piece out of living rooms until it is clean and dry. With asthma or a weak defence, leave it "
            "to others.",
        ))
    if "insect_holes" in damaged:
        out.append(Caution(
            "insects", "Possible wood-boring insects", "Small round holes are marked. Look for fresh powder under the piece and "
            "keep it apart from other wood until a few warm weeks show none. Treatment is for licensed persons where local rules "
            "say so.",
        ))
    if any(p.role in ("drawer_front", "drawer_side") for p in doc.parts):
        out.append(Caution("tip", "Tipping", "A chest with open drawers can tip over. Anchor it to the wall before use or sale."))
    return out
