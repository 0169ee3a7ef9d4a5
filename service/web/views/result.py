"""What the result page shows, from the contract document: unresolved risk first, then parts, why, where, what would settle it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service import words
from service.contract import Document, Finding, Part
from service.details import BASIS, detail_lines
from service.gate.drawings import DRAWINGS
from service.risks import cautions, risks
from service.summary import headline
from vision import registry

#: Switches over the photo: key -> (words, kinds of findings).
LAYERS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "grain": ("grain and boards", ("grain_flow", "board_strips", "direction_seam", "leaf_layout", "knot")),
    "edges": ("edges and ends", ("edge_layers", "edge_particles", "end_rings", "edge_make")),
    "repeats": ("same figure twice", ("figure_repeat",)),
    "surface": ("surface", ("overall_look", "colour", "fine_texture", "print_clues", "gloss", "paint_clues", "eye_cues",
                            "net_region", "gloss_change", "shape")),
    "besides": ("joints, fittings, damage", words.BESIDES),
}
#: What a photo is asked for -> drawing of how to take it or where to look.
ASKED = {
    "edge_close": "end_of_part", "top_end": "end_of_part", "underside": "back_and_underside",
    "drawer_top_edge": "drawer_top_edge",
    "door_edge": "seam_felt", "macro": "knots_felt", "hole": "hole", "arris": "seam_felt", "worn_spot": "lifted_spot",
    "spot_seen": "lifted_spot", "knot_through": "knot_through", "weigh": "tap",
}
BAR_FLOOR = 0.02


@dataclass(frozen=True)
class Picture:
    """A stored photo as the page shows it. `key`: its id in documents; `url`: of its picture."""

    id: str
    key: str
    url: str
    width: int
    height: int


def layer_of(kind: str) -> str:
    """The switch that a kind of finding belongs to."""
    return next((k for k, (_, kinds) in LAYERS.items() if kind in kinds), "surface")


def _area(points: Sequence[Sequence[float]]) -> float:
    """Of a polygon, by the shoelace formula."""
    pairs = zip(points, [*points[1:], points[0]], strict=True)
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)) / 2


def _middle(points: Sequence[Sequence[float]]) -> tuple[float, float]:
    """Middle of the frame around points."""
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


def _points(points: Sequence[Sequence[float]]) -> str:
    return " ".join(f"{x:.0f},{y:.0f}" for x, y in points)


def _bars(part: Part, kind: str) -> list[dict[str, Any]]:
    kept = {str(k) for k in getattr(part, f"{kind}_set")}
    return [{"label": words.class_words(k), "share": round(p, 4), "percent": words.percent(p), "open": k in kept}
            for k, p in words.probabilities(part, kind).items() if p >= BAR_FLOOR or k in kept]


def _finding(f: Finding, number: int) -> dict[str, Any]:
    weighed = f.kind not in (*words.BESIDES, "gloss_change")
    return {"id": f.id, "number": number, "text": f.text, "points": words.points_to(f) if weighed else "shown, not weighed",
            "layer": layer_of(str(f.kind))}


def part_view(doc: Document, part: Part, name: str, numbers: Mapping[str, int]) -> dict[str, Any]:
    """One part: its call in words, how sure, what is not ruled out, why, what is open."""
    narrow = words.edge_only(doc, part)
    return {
        "id": part.id, "name": name, "role": str(part.role), "call": words.call_words(part, narrow), "open": part.undecided,
        "core": "" if narrow else words.core_words(part), "sure": words.sure_line(part, narrow),
        "set": words.set_line(part, narrow),
        "reason": words.reason_words(part), "bars": _bars(part, "core" if narrow else "face"),
        "cores": [] if narrow or part.core_visible < words.CORE_SEEN else _bars(part, "core"),
        "why": [_finding(f, numbers[f.id]) for f in words.why(doc, part, 12)],
        "seen": words.seen_words(doc, part), "panels": [{"photo": s.photo, "panel": s.panel} for s in part.sightings],
    }


def _marks(doc: Document, photo: str, numbers: Mapping[str, int], unit: float) -> list[dict[str, Any]]:
    """Places of findings on a photo. Numbers stand in the middle of their place; those that would lie on others move
    to the right. `unit`: a hundredth of the photo."""
    out, taken = [], set()
    for f in doc.findings:
        for n, w in enumerate(f.where):
            if w.photo != photo:
                continue
            at_x, at_y = _middle(w.points)
            while (cell := (round(at_x / unit / 3), round(at_y / unit / 3))) in taken:
                at_x += 3 * unit
            taken.add(cell)
            out.append({"finding": f.id, "number": numbers[f.id], "layer": layer_of(str(f.kind)), "type": w.type,
                        "key": f"{f.id}-{n}", "points": _points(w.points), "x": round(w.points[0][0]),
                        "y": round(w.points[0][1]), "text": f.text, "at_x": round(at_x), "at_y": round(at_y)})
    return out


def photo_view(doc: Document, picture: Picture, numbers: Mapping[str, int], names: Mapping[str, str]) -> dict[str, Any] | None:
    """One photo with its panels and marks, in pixels of the upright photo; None where the document does not use it."""
    found = next((p for p in doc.photos if p.id == picture.key), None)
    if found is None:
        return None
    part_of = {(s.photo, s.panel): p for p in doc.parts for s in p.sightings}
    unit = max(found.width, found.height) / 100
    panels = []
    # Larger panels first, so that smaller ones lie on top and can be tapped.
    for q in sorted(found.panels, key=lambda q: -_area(q.outline)):
        part = part_of.get((found.id, q.id))
        name = names[part.id] if part is not None else f"Panel {words.panel_name(q.id)}"
        panels.append({"id": q.id, "short": words.panel_name(q.id), "points": _points(q.outline), "open": q.undecided,
                       "part": part.id if part is not None else "",
                       "label": f"{name}: {words.call_words(q, q.view in words.NARROW)}"})
    return {"id": picture.id, "key": picture.key, "url": picture.url, "width": found.width, "height": found.height,
            "file": found.file, "panels": panels, "marks": _marks(doc, found.id, numbers, unit),
            "problems": [p.text for p in found.problems], "unit": unit}


def next_view(doc: Document, names: Mapping[str, str]) -> list[dict[str, Any]]:
    """What would settle it, most telling first; what is asked of several parts stands together, with the drawing of it."""
    out: dict[tuple[str, str], dict[str, Any]] = {}
    for step in doc.next:
        key = ASKED.get(str(step.ask), "")
        row = out.setdefault((str(step.kind), str(step.ask)), {
            "kind": str(step.kind), "drawing": key if key in DRAWINGS else "", "text": step.text, "at": []})  # fmt: skip
        row["at"].append({"part": names.get(step.part or "", "the whole piece"),
                          "bits": f"{step.gain_bits:.2f} bits" if step.gain_bits else ""})  # fmt: skip
    return list(out.values())


def result_view(doc: Document, pictures: Sequence[Picture]) -> dict[str, Any]:
    """All that the page shows of an assessment."""
    names, numbers = words.part_names(doc), words.finding_numbers(doc)
    parts = [part_view(doc, p, names[p.id], numbers) for p in doc.parts]
    photos = [v for p in pictures if (v := photo_view(doc, p, numbers, names)) is not None]
    used = {str(f.kind) for f in doc.findings}
    return {
        "headline": headline(doc), "basis": words.basis_sentence(doc), "prior": words.prior_sentence(doc), "model": doc.model.id,
        "risks": [{"title": r.title, "text": r.text} for r in risks(doc)],
        "parts": parts, "named": [p for p in parts if p["role"] != "unknown"],
        "others": [p for p in parts if p["role"] == "unknown"], "photos": photos, "next": next_view(doc, names),
        "layers": [{"key": k, "words": w} for k, (w, kinds) in LAYERS.items() if used & set(kinds)],
        "details": [{"head": d.head, "text": d.text, "meaning": d.meaning, "file": d.file} for d in detail_lines(doc)],
        "details_basis": BASIS,
        "refused": [{"file": r.file, "cause": r.cause, "remedy": r.remedy} for r in doc.refused],
        "cautions": [{"title": c.title, "text": c.text} for c in cautions(doc)],
        "roles": [{"key": k, "words": k.replace("_", " ")} for k in registry.ROLES if k != "unknown"],
        "faces": [{"key": k, "words": words.class_words(k)} for k in registry.FACES],
        "cores": [{"key": k, "words": words.class_words(k)} for k in registry.CORES],
    }
