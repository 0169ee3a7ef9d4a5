"""The parts of a piece as they are planned for: photo verdict, hand checks and what the user knows, put together."""

from __future__ import annotations

import math
from collections.abc import Mapping

from service.contract import Document, Part
from service.hand.belief import Fused
from service.hand.checks import rules
from service.hand.state import Answers, Told
from service.plan.request import Request, Wish
from service.plan.types import Damage, Subject
from service.safety.choose import age_that_counts
from service.words import CORE_SEEN, edge_only, part_names, probabilities
from vision import registry
from vision.errors import UsageError

ALL_CORES = tuple(registry.CORES)


def seen_damage(doc: Document, part: Part) -> tuple[Damage, ...]:
    """Damage pointed out on the photos of a part, worst level of each kind; to be checked by hand."""
    rank = list(registry.LEVELS)
    worst: dict[str, str] = {}
    panels = {(p.id, q.id): q for p in doc.photos for q in p.panels}
    for s in part.sightings:
        for d in panels[s.photo, s.panel].details:
            if d.group == "damage" and d.level is not None:
                level = str(d.level)
                if rank.index(level) >= rank.index(worst.get(str(d.kind), rank[0])):
                    worst[str(d.kind)] = level
    return tuple(Damage(kind, level) for kind, level in worst.items())


def measured_size(doc: Document, part: Part) -> tuple[float, float] | None:
    """(length, width) in mm of a part whose panel carries the scale of its photo; None where none does.

    The panel's outline is taken to millimetres on the surface the object lies on, and the least rectangle round it measured.
    """
    from shapely import Point, Polygon

    for s in part.sightings:
        photo = next(p for p in doc.photos if p.id == s.photo)
        if photo.scale is None or photo.scale.to_mm is None:
            continue
        panel = next(q for q in photo.panels if q.id == s.panel)
        outline = Polygon(panel.outline)
        if not outline.is_valid or not outline.contains(Point(photo.scale.at)):
            continue
        rows = photo.scale.to_mm
        corners = []
        for x, y in panel.outline:
            u, v, w = (r[0] * x + r[1] * y + r[2] for r in rows)
            if abs(w) < 1e-12:
                break
            corners.append((u / w, v / w))
        if len(corners) < len(panel.outline):
            continue
        box = list(Polygon(corners).minimum_rotated_rectangle.exterior.coords)
        sides = sorted(math.dist(box[k], box[k + 1]) for k in (0, 1))
        return sides[1], sides[0]
    return None


def _material(
    doc: Document | None, part: Part | None, told: Told | None, fused: Fused | None, wish: Wish
) -> tuple[tuple[str, ...], tuple[str, ...], str]:
    """(faces left, cores left, basis), by what is surest."""
    face = wish.face or (told.confirmed[0] if told else None)
    core = wish.core or (told.confirmed[1] if told else None)
    faces: tuple[str, ...] = tuple(registry.FACES)
    cores, basis = ALL_CORES, "open"
    if fused is not None and fused.weights:
        faces, cores = fused.faces_left, fused.cores_left
        if fused.face is not None:
            faces, basis = (fused.face,), "decided"
        if fused.core is not None:
            cores = (fused.core,)
    elif doc is not None and part is not None:
        narrow = edge_only(doc, part)
        if not part.undecided and not narrow:
            faces, basis = (next(iter(probabilities(part))),), "decided"
        elif not narrow:
            faces = tuple(str(f) for f in part.face_set) or faces
        if part.core_visible >= CORE_SEEN and part.core_set:
            cores = tuple(str(c) for c in part.core_set)
    if core is not None:
        cores = (core,)
    if face is not None:
        faces, basis = (face,), "confirmed"
    # A face and a core that cannot go together: what is surer stands, the other gives way.
    fits = tuple(c for c in cores if any((f, c) in registry.SUBSTRATE_OF for f in faces))
    if not fits:
        fits = tuple(c for c in ALL_CORES if any((f, c) in registry.SUBSTRATE_OF for f in faces))
    return faces, fits, basis


def subject_of(
    key: str, name: str, role: str, *, doc: Document | None, part: Part | None, told: Told | None, fused: Fused | None,
    request: Request,
) -> Subject:
    """One part as planned for."""
    wish = request.of(key)
    faces, cores, basis = _material(doc, part, told, fused, wish)
    size = wish.size or (told.size if told else None)
    photo_damage: tuple[Damage, ...] = ()
    if doc is not None and part is not None:
        size, photo_damage = size or measured_size(doc, part), seen_damage(doc, part)
    by_hand = {d.kind for d in wish.damage}
    flags = dict(wish.flags)
    length, width = size if size is not None else (None, None)
    return Subject(
        key, name, role, faces, cores, basis, length_mm=length, width_mm=width, count=wish.count, wood=wish.wood,
        face_mm=wish.face_mm, face_kind=wish.face_kind, earlier=wish.earlier, patched=flags.get("patched", False),
        sanded_through=flags.get("sanded_through", False), bonded=flags.get("bonded"),
        printed_graining=flags.get("printed_graining", False), old_finish=wish.old_finish or _finish(faces),
        made_before_1978=age_that_counts(request.where, request.made_before_1978),
        damage=(*wish.damage, *(d for d in photo_damage if d.kind not in by_hand)),
    )


def _finish(faces: tuple[str, ...]) -> str:
    if faces == ("opaque",):
        return "paint"
    return "none" if faces == ("bare_board",) else "unknown"


def subjects(doc: Document | None, answers: Answers, request: Request) -> tuple[Subject, ...]:
    """Every part that is named in the request, has answers, or stands in the assessment with a face in view.

    Raises
    ------
    UsageError
        where the request or the answers name a part that the assessment does not have, or there is no part at all.
    """
    from service.check import fused_part

    known: Mapping[str, Part] = {p.id: p for p in doc.parts} if doc is not None else {}
    names = part_names(doc) if doc is not None else {}
    named = list(dict.fromkeys([*request.parts, *answers.parts]))
    if doc is not None:
        for key in named:
            if key not in known and request.of(key).role is None:
                raise UsageError(key, "is no part of this assessment.", "Parts are: " + ", ".join(known)
                                 + ". For a part that no photo shows, say its role.")
    wanted = named or [k for k, p in known.items() if doc is not None and not edge_only(doc, p) and p.role != "unknown"]
    if not wanted:
        raise UsageError("plan", "there is no part to plan for.",
                         "Give --assessment, or name parts in the file; docs/plan.toml shows one.")
    book = rules()
    out = []
    for key in wanted:
        part, told = known.get(key), answers.parts.get(key)
        seen = str(part.role) if part is not None else told.role if told is not None else key.split("-")[0]
        role = request.of(key).role or seen
        if role not in registry.ROLES:
            raise UsageError(key, "is no part of furniture.", "Name its role: " + ", ".join(registry.ROLES) + ".")
        fused = fused_part(doc if part is not None else None, key, told, book) if told is not None else None
        out.append(subject_of(key, names.get(key, key.replace("_", " ").capitalize()), role, doc=doc, part=part, told=told,
                              fused=fused, request=request))
    return tuple(out)
