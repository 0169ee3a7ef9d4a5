"""The advert: text that says of each part what is known and no more, and the photos that it needs.

"Solid" is said of a part only where its face was told from photos or seen by hand to be solid wood; "wood" only where print,
paint and raw board are ruled out.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from service.plan.routes import DAMAGE_WORDS
from service.plan.types import Damage, Subject
from service.rulebook import Source, rulebook
from service.units import length_words
from service.words import listing
from vision import registry
from vision.errors import UsageError

REAL_WOOD = {"solid_wood", "veneer"}
#: Faces that lie on something else.
COATS = {"veneer", "printed", "opaque"}
#: Words that no buyer can mistake: "solid" stands in an advert only for a solid face.
FACES = {**registry.FACE_WORDS, "opaque": "painted or plain-coloured"}
CORES = {**registry.CORE_WORDS, "lumber": "wood"}
#: Said in every advert: what photos and eyes could not settle is not promised.
NO_PROMISE = "What is marked as not settled was not opened up and is not promised."
ANCHOR = "Tall pieces can tip: please anchor it to the wall."
#: Said before it goes out, wherever the seller lives.
RECALLED = "Look it up among recalled goods: what was recalled or banned is not sold on."
#: After the name of a wood these make it a colour and no material.
COLOURS = {"finish", "finished", "stain", "stained", "colour", "coloured", "color", "colored", "look", "tone", "toned", "effect"}
LEAD = "Old paint or finish of unknown age: not tested for lead."


@dataclass(frozen=True)
class Facts:
    """What the seller says: `piece`: what it is ('chest of drawers'); sizes of the whole in mm; `price` in `currency`; `done`:
    work that was done; `smoke_free`, `pet_free`: None where the seller says nothing."""

    piece: str = "furniture"
    size_mm: tuple[float, float, float] | None = None
    price: float | None = None
    currency: str = ""
    done: tuple[str, ...] = ()
    smoke_free: bool | None = None
    pet_free: bool | None = None

    def __post_init__(self) -> None:
        if not self.piece.strip() or len(self.piece) > 80 or not self.piece.isprintable():
            raise UsageError("piece", f"{self.piece!r} is no name of a piece.", "Name it in a few words: chest of drawers.")
        if "solid" in self.piece.lower() or any("solid" in d.lower() for d in self.done):
            raise UsageError("piece", "calls the piece solid.",
                             "Leave the material to the program: it says solid where that is known.")
        if self.price is not None and not (math.isfinite(self.price) and self.price >= 0):
            raise UsageError("price", "is below zero or no number.", "Give what you ask.")
        if len(self.currency) > 20 or (self.currency and not self.currency.isprintable()) or "solid" in self.currency.lower():
            raise UsageError("currency", f"{self.currency!r} is no currency.", "Write it briefly: EUR.")


@dataclass(frozen=True)
class Picture:
    """A photo that the advert needs. `part`: name of the part it is of, or empty."""

    key: str
    title: str
    how: str
    why: str
    part: str
    source: Source


@dataclass(frozen=True)
class Advert:
    """`title`; `lines` of the text; `check`: what to look at before it goes out, not part of the text."""

    title: str
    lines: tuple[str, ...]
    check: tuple[str, ...]
    pictures: tuple[Picture, ...]


def material_line(subject: Subject) -> str:
    """What may be said of a part's material."""
    name, face, core = subject.name, subject.face, subject.core
    told = subject.basis in ("decided", "confirmed")
    if face is not None and told:
        if face == "solid_wood":
            return f"{name}: solid wood" + (f" ({subject.wood})" if subject.wood and subject.basis == "confirmed" else "") + "."
        on = ""
        if face in COATS:
            on = f" on {CORES[core]}" if core is not None else "; what lies under it is not settled"
        return f"{name}: {FACES[face]}{on}."
    if set(subject.faces) <= REAL_WOOD:
        return f"{name}: real wood at the surface; whether right through is not settled."
    words = [FACES[f] if f != "solid_wood" else "wood right through" for f in subject.faces]
    return f"{name}: material not settled" + (f" ({listing(words)})." if len(words) <= 3 else ".")


def woods_named(text: str) -> tuple[str, ...]:
    """Names of woods in a text that stand there as a material: 'oak chest', not 'oak finish' nor 'walnut-coloured'."""
    from service.wood.density import all_species

    names = {w for s in all_species() for w in s.name.lower().replace("-", " ").split()[-1:]}
    words = re.findall(r"[^\W\d_]+", text.lower())
    after = [*words[1:], ""]
    return tuple(dict.fromkeys(w for w, then in zip(words, after, strict=True) if w in names and then not in COLOURS))


def _claims_kept(subjects: Sequence[Subject], piece: str) -> None:
    """Refuse a name of the piece that says more than is known of its parts."""
    for wood in woods_named(piece):
        if not all(s.basis == "confirmed" and s.face == "solid_wood" and wood in (s.wood or "").lower().split()
                   for s in subjects):
            raise UsageError("piece", f"says {wood}, and not every part was confirmed by hand as solid wood of that kind.",
                             f"Leave it out, or write it as a colour: {wood}-coloured.")
    words = set(re.findall(r"[^\W\d_]+", piece.lower()))
    said = words & {"wood", "wooden", "veneer", "veneered", "hardwood", "softwood", "timber"}
    if said and not all(set(s.faces) <= REAL_WOOD for s in subjects):
        raise UsageError("piece", f"says {sorted(said)[0]}, and print, paint or board is not ruled out for every part.",
                         "Leave it out: the text says of each part what is known.")


def _flaw(name: str, damage: Damage) -> str:
    return f"{DAMAGE_WORDS[damage.kind]} ({name.lower()})."


def pictures(subjects: Sequence[Subject]) -> tuple[Picture, ...]:
    """Photos that the advert needs, flaws one by one."""
    book = rulebook("sell")
    roles = {s.role for s in subjects}
    out = []
    for row in book.tables["photos"]:
        if "roles" in row and not roles & set(row["roles"]):
            continue
        if row.get("damage"):
            for s in subjects:
                out += [Picture(row["key"], f"{row['title']}: {s.name}, {DAMAGE_WORDS[d.kind]}", row["how"], row["why"], s.name,
                                book.source(row)) for d in s.damage]
            continue
        out.append(Picture(row["key"], row["title"], row["how"], row["why"], "", book.source(row)))
    return tuple(out)


def _title(subjects: Sequence[Subject], facts: Facts) -> str:
    """The piece with what can be said of its top, or of all parts alike."""
    told = [s for s in subjects if s.face is not None and s.basis in ("decided", "confirmed")]
    name = facts.piece[:1].upper() + facts.piece[1:]
    if len(told) == len(subjects) and subjects and {s.face for s in told} == {"solid_wood"}:
        return f"{name}, solid wood"
    top = next((s for s in told if s.role == "top"), None)
    if top is None or top.face is None or top.face == "not_wood":
        return name
    return f"{name}, {FACES[top.face]} top" if top.face != "opaque" else f"{name}, painted top"


def advert(subjects: Sequence[Subject], facts: Facts, *, us: bool = False) -> Advert:
    """The advert of a piece from its parts as they are known.

    Raises
    ------
    UsageError
        where the name of the piece says more of its material than is known.
    """
    _claims_kept(subjects, facts.piece)
    lines = [material_line(s) for s in subjects]
    known = [(s, d) for s in subjects for d in s.damage if d.sure]
    lines += [f"Flaw: {_flaw(s.name, d)}" for s, d in known]
    if facts.size_mm is not None:
        lines.append("Size: " + " x ".join(length_words(v, us) for v in facts.size_mm) + ".")
    lines += [d.rstrip(".") + "." for d in facts.done]
    if facts.smoke_free is not None:
        lines.append("From a smoke-free home." if facts.smoke_free else "It was kept where people smoke.")
    if facts.pet_free is not None:
        lines.append("From a home without pets." if facts.pet_free else "It was kept where pets live.")
    if any(s.face is None or s.basis == "open" or (s.face in COATS and s.core is None) for s in subjects):
        lines.append(NO_PROMISE)
    if any("opaque" in s.faces and s.made_before_1978 is not False for s in subjects):
        lines.append(LEAD)
    if any(s.role in ("drawer_front", "drawer_side", "door", "shelf") for s in subjects):
        lines.append(ANCHOR)
    if facts.price is not None:
        lines.append(f"Price: {facts.price:g} {facts.currency}".rstrip() + ".")
    check = [RECALLED]
    check += [f"{wood.capitalize()} stands in what was done: keep it only if you know it." for d in facts.done
              for wood in woods_named(d)]
    check += [f"A photo points at it; look before you write: {_flaw(s.name, d)}" for s in subjects for d in s.damage
              if not d.sure]
    return Advert(_title(subjects, facts), tuple(lines), tuple(check), pictures(subjects))


def document(found: Advert) -> dict[str, Any]:
    """JSON types."""
    return {"schema": "grainassay.advert/1.0", "title": found.title, "text": list(found.lines), "check_first": list(found.check),
            "photos": [{"key": p.key, "title": p.title, "how": p.how, "why": p.why, "part": p.part} for p in found.pictures]}


def lines_of(found: Advert) -> list[str]:
    """What is printed."""
    lines = [found.title, "", *found.lines, ""]
    if found.check:
        lines += ["Before it goes out:", *(f"  {c}" for c in found.check), ""]
    lines.append("Photos for it:")
    lines += [f"  [ ] {p.title}. {p.how} {p.why}" for p in found.pictures]
    return lines
