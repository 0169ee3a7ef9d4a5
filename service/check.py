"""`grainassay check`: answers of hand checks put together with the photo verdict, part by part."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from service.contract import Document
from service.files import CannotWrite
from service.hand.belief import Fused, fuse
from service.hand.checks import Rules, rules
from service.hand.report import ESTIMATES, document, lines_of
from service.hand.state import Answers, Told, part_of, read_answers, start_of, to_json
from service.hand.worth import Worth, next_checks
from service.units import quantity, sizes
from service.words import part_names
from vision import registry
from vision.errors import UsageError

SCHEMA = "grainassay.check/1.0"


def begun(path: Path | None) -> Answers:
    """Answers of a file, none where it does not exist yet or none is named."""
    return read_answers(path) if path is not None and path.exists() else Answers()


def role_of(doc: Document | None, part: str) -> str:
    """The role of a part: the assessment's, or without one the id itself up to its number ('top', 'drawer_front-2')."""
    if doc is not None:
        return str(part_of(doc, part).role)
    role = part.split("-", 1)[0]
    if role not in registry.ROLES:
        raise UsageError(part, "is no part of furniture.", "Use one of: " + ", ".join(registry.ROLES) + ", or give --assessment.")
    return role


def said(answers: Answers, doc: Document | None, part: str, says: Sequence[str], weighed: str | None,
         confirmed: str | None, size: str | None = None) -> Answers:
    """The answers with what the options say added."""
    role = role_of(doc, part)
    answers = replace(answers, parts={**answers.parts, part: answers.parts.get(part, Told(role))})
    for text in says:
        check, equals, answer = (t.strip() for t in text.partition("="))
        if not equals:
            raise UsageError("--say", f"{text!r} is not a check with its answer.", "Write it as in: --say hole=particles")
        answers = answers.with_answer(part, role, check, answer)
    told = answers.parts[part]
    if weighed is not None:
        told = replace(told, weighed=weighed_part(weighed))
    if confirmed is not None:
        face, _, core = confirmed.partition("/")
        told = replace(told, confirmed=(face or None, core or None))
    if size is not None:
        found = sorted(sizes(size, "size"), reverse=True)
        if len(found) < 2:
            raise UsageError("--size", f"{size!r} has one number.", "Give length x width, as in 1200x500mm.")
        told = replace(told, size=(found[0], found[1]))
    return replace(answers, parts={**answers.parts, part: told})


def weighed_part(text: str) -> dict[str, Any]:
    """Arguments of a weighed part from 'MASS, SIZE[, WOOD]'."""
    pieces = [p.strip() for p in text.split(",")]
    if len(pieces) not in (2, 3):
        raise UsageError("--weighed", f"{text!r} is no mass with sizes.",
                         "Write it as in: --weighed '5.9kg, 1000x500x18mm, pine'")
    found = sizes(pieces[1], "size")
    if len(found) != 3:
        raise UsageError("--weighed", f"{pieces[1]!r} has {len(found)} numbers.", "Give length x width x thickness.")
    length, width, thickness = sorted(found, reverse=True)
    out: dict[str, Any] = {"mass": quantity(pieces[0], "mass", "mass"), "length": length, "width": width, "thickness": thickness}
    return {**out, "wood": pieces[2]} if len(pieces) == 3 else out


def fused_part(doc: Document | None, part: str, told: Told, book: Rules) -> Fused:
    """Photo, answers and scale of one part put together."""
    from service.wood.weigh import weigh

    piece = told.part
    mass = None if piece is None else {e.core: e.likelihood for e in weigh(piece)}
    return fuse(start_of(doc, part), told.answers, book, mass=mass)


def fused_parts(doc: Document | None, answers: Answers, book: Rules) -> dict[str, Fused]:
    """Every part with answers, by id."""
    return {part: fused_part(doc, part, told, book) for part, told in answers.parts.items()}


def _following(fused: Fused, told: Told, book: Rules) -> tuple[Worth, ...]:
    if told.confirmed[0] is not None:
        return ()
    return next_checks(fused, told.role, book, answered=told.answers)


def report(doc: Document | None, answers: Answers, part: str | None = None) -> tuple[dict[str, Any], list[str]]:
    """(JSON types, lines) of one part or of all that have answers."""
    book = rules()
    names: Mapping[str, str] = part_names(doc) if doc is not None else {}
    chosen = {k: v for k, v in answers.parts.items() if part is None or k == part}
    rows, lines = [], []
    for key, told in chosen.items():
        fused = fused_part(doc, key, told, book)
        following = _following(fused, told, book)
        rows.append(document(key, told, fused, following, book))
        name = names.get(key, key.replace("_", " ").capitalize())
        lines += [*lines_of(name, told, fused, following, book), ""]
    return {"schema": SCHEMA, "parts": rows, "answers": to_json(answers)}, [*lines, ESTIMATES]


def write(path: Path, answers: Answers) -> None:
    """Keep the answers: a new file beside the old one, then put in its place, so that neither is ever half written."""
    beside = path.with_name(path.name + ".part")
    try:
        beside.write_text(json.dumps(to_json(answers), indent=2) + "\n", encoding="utf-8")
        beside.replace(path)
    except OSError as err:
        raise CannotWrite(str(path), f"the answers cannot be written ({err.strerror or err}).",
                          "Name a file in a folder that you may write to.") from err
