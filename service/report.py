"""The report: one self-contained HTML page with the evidence pictures inside it. No scripts, nothing fetched."""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from service import words
from service.contract import Document, Finding, Part, Photo
from service.details import BASIS, detail_lines
from service.risks import cautions, risks
from service.section import section_svg
from service.summary import headline
from vision import registry

if TYPE_CHECKING:
    from jinja2 import Template

#: Classes below this probability are left out of the bars, unless the set keeps them.
BAR_FLOOR = 0.02
#: Kinds of findings that point nowhere.
NOT_WEIGHED = (*words.BESIDES, "gloss_change")


@lru_cache(maxsize=1)
def _template() -> Template:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    env = Environment(
        loader=PackageLoader("service", "templates"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )
    return env.get_template("report.html.j2")


def _bars(part: Part, kind: str) -> list[dict[str, Any]]:
    kept = {str(k) for k in getattr(part, f"{kind}_set")}
    return [
        {"label": words.class_words(k), "share": p, "percent": words.percent(p), "open": k in kept}
        for k, p in words.probabilities(part, kind).items() if p >= BAR_FLOOR or k in kept
    ]


def _finding(doc: Document, f: Finding, number: int) -> dict[str, Any]:
    files = {p.id: p.file for p in doc.photos}
    places: dict[str, list[str]] = {}
    for w in f.where:
        places.setdefault(w.photo, []).append(w.panel)
    lists = {p: words.listing([words.panel_name(i) for i in dict.fromkeys(q)], "and") for p, q in places.items()}
    where = "; ".join(f"{files[p]}, panel {names}" for p, names in lists.items())
    return {
        "number": number, "text": f.text, "points": words.points_to(f), "where": where, "kind": registry.FINDING_KINDS[f.kind],
        "photos": set(places), "decibans": f.decibans, "weighed": f.kind not in NOT_WEIGHED,
    }


def _part(doc: Document, part: Part, name: str, numbers: Mapping[str, int]) -> dict[str, Any]:
    narrow = words.edge_only(doc, part)
    return {
        "name": name, "open": part.undecided, "call": words.call_words(part, narrow),
        "core": None if narrow else words.core_words(part), "section": section_svg(part, narrow),
        "reason": words.reason_words(part), "faces": [] if narrow else _bars(part, "face"),
        "cores": _bars(part, "core") if narrow or part.core_visible >= words.CORE_SEEN else [],
        "level": words.percent(part.level), "seen": words.seen_words(doc, part), "sightings": len(part.sightings),
        "why": [{"number": numbers[f.id], "text": f.text, "points": words.odds(f.decibans)} for f in words.why(doc, part, 4)],
        "cues": [registry.CUES[c] for c in part.cues],
    }


def _photo(photo: Photo, picture: bytes | None, findings: Sequence[dict[str, Any]]) -> dict[str, Any]:
    told = sum(not q.undecided for q in photo.panels)
    return {
        "id": photo.id, "file": photo.file, "width": photo.width, "height": photo.height, "panels": len(photo.panels),
        "told": told, "problems": [p.text for p in photo.problems],
        "findings": [f for f in findings if photo.id in f["photos"]],
        "picture": "data:image/jpeg;base64," + base64.b64encode(picture).decode("ascii") if picture else None,
        "rows": [
            {"id": words.panel_name(q.id), "view": q.view, "call": words.call_words(q, q.view in words.NARROW),
             "sure": words.sure_line(q, q.view in words.NARROW)} for q in photo.panels
        ],
    }


def report_html(doc: Document, pictures: Mapping[str, bytes], notes: Sequence[str] = ()) -> str:
    """The report of a document. `pictures`: JPEG bytes by photo id; `notes`: plain sentences on what was left out."""
    names, numbers = words.part_names(doc), words.finding_numbers(doc)
    findings = [_finding(doc, f, numbers[f.id]) for f in doc.findings]
    page = _template().render(
        details=detail_lines(doc), details_basis=BASIS,
        headline=headline(doc), basis=words.basis_words(doc), basis_sentence=words.basis_sentence(doc), notes=notes,
        risks=risks(doc), cautions=cautions(doc), refused=doc.refused, findings=findings,
        parts=[_part(doc, p, names[p.id], numbers) for p in doc.parts],
        photos=[_photo(p, pictures.get(p.id), findings) for p in doc.photos],
        steps=[{"who": names[s.part] if s.part else "The whole piece", "kind": s.kind, "text": s.text, "bits": s.gain_bits}
               for s in doc.next],
        prior=[(words.class_words(k), words.percent(v)) for k, v in doc.prior.face.model_dump().items()],
        prior_name=doc.prior.name, prior_text=doc.prior.text, program=doc.program, model=doc.model,
    )
    # A number never parts from its per cent sign at the end of a line.
    return re.sub(r"(?<=\d) %", "\N{NO-BREAK SPACE}%", page)
