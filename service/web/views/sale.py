"""What the pages of money show, and what their forms say: pure functions. All figures are the user's."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from service.deal.inputs import Three
from service.words import class_words
from vision.errors import UsageError

#: Faces that a row of the deal's form stands for, with its name.
ROWS = (("solid", ("solid_wood",)), ("veneer", ("veneer",)), ("print", ("printed",)), ("other", ("opaque", "bare_board")))
ROW_WORDS = {"solid": "solid wood", "veneer": "wood veneer", "print": "printed surface", "other": "painted, or raw board"}
#: Fields of the deal's form: name in the deal -> (label, unit or hint).
SUMS = (
    ("asked", "Asked", "60"), ("rate", "An hour of yours is worth", "18"), ("travel", "Fetching it costs", "12"),
    ("travel_hours", "Hours to fetch it", "1"), ("delivery", "Delivery you pay", "0"),
    ("fees_percent", "Fees, % of the sale", "8"), ("returns_percent", "Come back, %", "2"),
    ("unsold_percent", "Never sold, %", "15"), ("unsold_value", "Unsold it still brings", "20"),
    ("holding_a_day", "A day in store costs", "0.3"),
)  # fmt: skip
KINDS = (
    ("asked", "asked for it"), ("paid", "paid"), ("worked", "worked, hours"), ("spent", "spent on materials"),
    ("sold", "sold for"), ("returned", "given back to the buyer"), ("note", "a note"),
)  # fmt: skip
OWN = "All of this follows from your figures; none of them is known, and the program guesses none."
RANGE = "Write it as in: 3-7, or 3-4-7 with the likeliest."


def number(text: str, what: str) -> float:
    """A number of a form; a comma is taken for a full stop. Raises UsageError."""
    try:
        found = float(text.strip().replace(",", "."))
    except ValueError:
        found = math.nan
    if not math.isfinite(found):
        raise UsageError(what, f"{text.strip()[:40]!r} is no number.", "Write it as in: 120")
    return found


def three(text: str, what: str) -> Three:
    """'3', '3-5' or '3-4-7' as least, likeliest, most. Raises UsageError."""
    found = [number(t, what) for t in re.split(r"\s*(?:-|to|\.\.)\s*", text.strip())]
    if not 1 <= len(found) <= 3 or found != sorted(found):
        raise UsageError(what, f"{text.strip()[:40]!r} is not least and most.", RANGE)
    return found[0], found[1] if len(found) == 3 else (found[0] + found[-1]) / 2, found[-1]


def deal_from(given: Mapping[str, str]) -> dict[str, Any]:
    """A deal as `money.deal_of` takes it, from a form: `asked` ..., `ROW|chance`, `ROW|hours`, `ROW|materials`, `ROW|sale`; rows
    without a sale price are left out. With `part` the chances are those of that part. Raises UsageError."""
    deal: dict[str, Any] = {"currency": given.get("currency", "")[:12]}
    for key, label, _ in SUMS:
        if given.get(key):
            deal[key] = number(given[key], label)
    deal.setdefault("asked", 0.0)
    deal.setdefault("rate", 0.0)
    if given.get("days_held"):
        deal["days_held"] = list(three(given["days_held"], "Days until it is sold"))
    part = given.get("part") or None
    rows = [(name, faces) for name, faces in ROWS if given.get(f"{name}|sale")]
    if not rows:
        raise UsageError("Buy or leave", "No price of a sale is given.",
                         "Say what it sells for, should it be solid, veneer, a print.")  # fmt: skip
    outcomes = []
    for name, faces in rows:
        row: dict[str, Any] = {"name": ROW_WORDS[name], "faces": list(faces)}
        for what in ("hours", "materials", "sale"):
            row[what] = list(three(given.get(f"{name}|{what}") or "0", f"{ROW_WORDS[name]}: {what}"))
        row["chance"] = 1 / len(rows) if part else number(given.get(f"{name}|chance") or "0", f"{ROW_WORDS[name]}: chance") / 100
        outcomes.append(row)
    total = sum(o["chance"] for o in outcomes)
    if total <= 0:
        raise UsageError("Buy or leave", "No chance is given.", "Choose a part, or say how likely each is.")
    if abs(total - 1) > 0.02:
        raise UsageError("Buy or leave", f"The chances add up to {100 * total:.0f} %, not 100.", "Correct them.")
    for o in outcomes:
        o["chance"] /= total
    return {"deal": {**deal, "outcomes": outcomes}, "part": part}


def deal_fields(asked: Mapping[str, Any] | None) -> dict[str, str]:
    """What stands in the form: the deal kept, as it was written."""
    if asked is None:
        return {}
    deal = asked["deal"]
    out = {k: f"{deal[k]:g}" for k, _, _ in SUMS if k in deal}
    out["currency"], out["part"] = str(deal.get("currency", "")), str(asked.get("part") or "")
    if "days_held" in deal:
        out["days_held"] = _span(deal["days_held"])
    names = {words: name for name, words in ROW_WORDS.items()}
    for o in deal["outcomes"]:
        name = names.get(o["name"])
        if name is not None:
            out |= {f"{name}|{w}": _span(o[w]) for w in ("hours", "materials", "sale")}
            out[f"{name}|chance"] = "" if out["part"] else f"{100 * o['chance']:.0f}"
    return out


def _span(value: Any) -> str:
    if not isinstance(value, list):
        return f"{value:g}"
    low, middle, high = (value[0], value[1], value[-1]) if len(value) == 3 else (value[0], sum(value) / 2, value[-1])
    if low == high:
        return f"{low:g}"
    return f"{low:g}-{high:g}" if abs(middle - (low + high) / 2) < 1e-9 else f"{low:g}-{middle:g}-{high:g}"


def deal_view(found: Mapping[str, Any]) -> dict[str, Any]:
    """A judged deal in lines: what it says first, then how it comes about."""
    unit = f" {found['currency']}" if found["currency"] else ""

    def span(s: Mapping[str, float]) -> str:
        return f"{s['mean']:.0f}{unit}, nine in ten {s['low']:.0f} to {s['high']:.0f}"

    buys = found["after_labour"]["mean"] > 0
    offer, cautious = found["break_even_offer"], found["cautious_offer"]
    if offer <= 0:
        say = ["Not even as a gift, on average."]
    else:
        say = [f"Nothing is gained on average above {offer:.0f}{unit}."]
        risk = f"the chance of a loss at {100 * found['cautious_loss']:.0f} % or less"
        say.append(f"To keep {risk}, offer at most {cautious:.0f}{unit}." if cautious else
                   f"No price keeps {risk}: look closer or leave it.")
    return {
        "verdict": f"At {found['asked']:g}{unit}: " + ("worth it on average." if buys else "leave it, on average."), "buys": buys,
        "say": say, "sums": [("Left after costs", span(found["profit"])), ("An hour of yours", span(found["per_hour"])),
                             ("After your hours", span(found["after_labour"])),
                             ("Chance of a loss after your hours", f"{100 * found['chance_of_loss']:.0f} %")],
        "by": [(name, f"{value:+.0f}{unit}") for name, value in found["after_labour_by_outcome"].items()],
        "checks": [(c["name"], f"worth {c['worth']:.0f}{unit}") for c in found["checks"] if c["worth"] >= 0.5][:4],
        "chances": [(name, f"{100 * v:.0f} %") for name, v in found.get("chances", {}).items()], "caution": OWN,
    }  # fmt: skip


def haul_view(found: Mapping[str, Any]) -> dict[str, Any]:
    """What carrying takes, in lines; None answers are left out."""
    mass, people = found["mass_kg"], found["people"]
    if mass is None:
        weight = "not known: weigh it, name its boards, or say that it is a closed case"
    else:
        weight = f"{mass[0]:.0f} kg" if round(mass[0]) == round(mass[1]) else f"{mass[0]:.0f} to {mass[1]:.0f} kg"
    how = {"scale": "by your scale", "boards": "from its boards", "case": "a rough estimate from its outer size", None: ""}
    sums = [("Mass", weight + (f", {how[found['mass_from']]}" if how[found["mass_from"]] else ""))]
    if people is not None:
        sums.append(("People to carry it", f"{people}, by an estimate of what one carries"))
    ways = (("fits_vehicle", "Into the car"), ("fits_door", "Through the door"), ("goes_round_corner", "Round the corner"))
    for key, words in ways:
        if found[key] is not None:
            tilted = key == "fits_door" and not found[key] and found.get("fits_door_tilted")
            not_so = "only tilted as it goes through" if tilted else "it does not fit along its sides"
            sums.append((words, "it fits" if found[key] else not_so))
    return {"sums": sums, "apart": found["apart"], "caution": found["caution"]}


def ledger_view(mine: Mapping[str, Any], whole: Mapping[str, Any]) -> dict[str, Any]:
    """One piece's ledger, and how good the estimates are over all pieces."""
    def show(v: float | None) -> str:
        return "-" if v is None else f"{v:g}"

    sums: list[tuple[str, str]] = []
    for p in mine["pieces"]:
        pairs = (("Hours", "hours", p["hours"]), ("Materials", "materials", p["materials"]), ("Sale", "sale", p["sold"]),
                 ("Days until sold", "days", p["days"]))
        sums += [("Asked", show(p["asked"])), ("Paid", show(p["paid"]))]
        for words, key, true in pairs:
            if key in p["planned"]:
                sums.append((words, f"{show(true)} (foreseen {show(p['planned'][key])})"))
            elif true is not None:
                sums.append((words, show(true)))
        if p["profit"] is not None:
            before = f" (foreseen {show(p['profit_foreseen'])})" if p["profit_foreseen"] is not None else ""
            sums.append(("Left", show(p["profit"]) + before))
            if p["profit_an_hour"] is not None:
                sums.append(("An hour", show(p["profit_an_hour"])))
    kinds = dict(KINDS) | {"planned": "foreseen", "revealed": "shown by the work"}
    events = [{"id": e["id"], "at": e["at"][:16].replace("T", " "), "words": kinds.get(e["kind"], e["kind"]), "what": _what(e)}
              for e in reversed(mine["events"])]
    named = {"hours": "hours", "materials": "materials", "sale": "sale price", "days": "days until sold"}
    skill = [f"{named[s['what']].capitalize()}: in truth {s['true_over_foreseen']:.2f} times what was foreseen "
             f"({s['nine_in_ten'][0]:.2f} to {s['nine_in_ten'][1]:.2f}), over {s['pieces']} pieces." for s in whole["skill"]]
    gap = whole["profit_gap"]
    if gap is not None:
        skill.append(f"Profit: {gap['true_less_foreseen']:+g} against what was foreseen ({gap['nine_in_ten'][0]:+g} to "
                     f"{gap['nine_in_ten'][1]:+g}), over {gap['pieces']} pieces.")
    return {"sums": [pair for pair in sums if pair[1] != "-"], "events": events, "skill": skill, "least": whole["least_pieces"],
            "kinds": KINDS}  # fmt: skip


def _what(e: Mapping[str, Any]) -> str:
    numbers = e.get("numbers", {})
    bits = [f"{v:g}" for v in numbers.values()] if len(numbers) == 1 else [f"{k} {v:g}" for k, v in numbers.items()]
    if e["kind"] == "revealed":
        bits.append(f"{e['part'].replace('_', ' ')}: " + " on ".join(class_words(e[k]) for k in ("face", "core") if e.get(k)))
    return ", ".join([*bits, *([e["text"]] if e.get("text") else [])])
