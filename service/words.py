"""Verdicts in plain words, shared by the summary and the report. Nothing is said that the document does not hold."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath

from service.contract import Document, Finding, Judged, Panel, Part
from vision import registry

#: Kinds of findings on what is seen besides the material; listed apart.
BESIDES = ("joint", "fitting", "damage")
#: Above this a core counts as seen.
CORE_SEEN = 0.5
#: Views whose question is the core.
NARROW = ("edge", "end", "joint")
_ROLE = {
    "top": "Top", "side": "Side", "drawer_front": "Drawer front", "door": "Door", "drawer_side": "Drawer side",
    "back": "Back", "shelf": "Shelf", "leg": "Leg", "frame": "Frame",
}
#: Lower bound of the probability and the words that go with it.
_SURE = ((0.97, "as good as certain"), (0.9, "very likely"), (0.75, "likely"), (0.5, "more likely than not"))


def class_words(key: str) -> str:
    """A face, core or view in words."""
    return registry.FACE_WORDS.get(key) or registry.CORE_WORDS.get(key) or f"{key} view"


def some(words: Sequence[str], limit: int = 3) -> str:
    """The first few, and how many more: 'a, b, c and 4 more'."""
    if len(words) <= limit + 1:
        return listing(words, "and")
    return f"{', '.join(words[:limit])} and {len(words) - limit} more"


def listing(words: Sequence[str], last: str = "or") -> str:
    """'a', 'a or b', 'a, b or c'."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def sure_words(p: float) -> str:
    """How sure, in words; the percentage always stands beside them."""
    return next((words for bound, words in _SURE if p >= bound), "less likely than not")


def odds(decibans: float) -> str:
    """Weight of evidence as odds: '10 to 1', or '1.6 to 1' while small."""
    ratio = 10 ** (min(decibans, 60.0) / 10)
    return f"{ratio:.0f} to 1" if ratio >= 10 else f"{ratio:.1f} to 1"


def percent(p: float) -> str:
    """Whole percents; never 0 % or 100 % unless it is exact."""
    if 0 < p < 0.01:
        return "under 1 %"
    if 0.99 < p < 1:
        return "over 99 %"
    return f"{100 * p:.0f} %"


def basis_words(doc: Document) -> str:
    """What the probabilities rest on, as a short tag to stand beside them."""
    c = doc.model.calibration
    if c.basis == "rendered":
        return "calibrated on renders only"
    real = f"calibrated on {c.real_specimens} real specimen{'s' if c.real_specimens != 1 else ''}"
    return f"{real}, taught with renders too" if c.basis == "mixed" else real


def basis_sentence(doc: Document) -> str:
    """The same in a full sentence, with what it means."""
    c = doc.model.calibration
    meaning = {
        "rendered": "They have not been checked on real furniture; read them as a guide.",
        "mixed": "They were checked on photos of real furniture by people whose photos it had not learned from.",
        "real": "They were checked on photos of real furniture by people whose photos it had not learned from.",
    }[c.basis]
    return f"All percentages are {basis_words(doc)}. {meaning} Model {doc.model.id}, base rates '{doc.prior.name}'."


def prior_sentence(doc: Document) -> str:
    """The base rates that the verdicts start from and where they come from: no evidence, and so never left out."""
    shares = ", ".join(f"{class_words(k)} {percent(v)}" for k, v in doc.prior.face.model_dump().items())
    return f"Base rates '{doc.prior.name}', before any photo was looked at: {shares}. {doc.prior.text}".rstrip()


def part_names(doc: Document) -> dict[str, str]:
    """A name for every part by id: 'Top', 'Drawer fronts', 'Side 2'; without a role the panel's own, 'Panel p4'."""
    counts: dict[str, int] = {}
    for part in doc.parts:
        counts[part.role] = counts.get(part.role, 0) + 1
    used: dict[str, int] = {}
    names = {}
    for part in doc.parts:
        used[part.role] = used.get(part.role, 0) + 1
        if part.role == "unknown":
            names[part.id] = _panel_as_name(doc, part)
            continue
        word = _ROLE[part.role]
        if part.role in ("drawer_front", "door", "drawer_side") and _faces_seen(doc, part) > 1:
            word += "s"
        names[part.id] = word + (f" {used[part.role]}" if counts[part.role] > 1 else "")
    return names


def _panel_as_name(doc: Document, part: Part) -> str:
    """Name of a part without a role: its first panel, as written on the picture, with the photo where there are more."""
    first = part.sightings[0]
    name = f"Panel {panel_name(first.panel)}"
    if len(doc.photos) < 2:
        return name
    return f"{name} of {next(PurePath(p.file).name for p in doc.photos if p.id == first.photo)}"


def panel_name(panel: str) -> str:
    """Short name of a panel, as on the pictures: its id behind the last full stop."""
    return panel.rsplit(".", 1)[-1]


def seen_words(doc: Document, part: Part) -> str:
    """Where the part was seen: 'panels s1 and s2 of chest.jpg'."""
    files = {p.id: PurePath(p.file).name for p in doc.photos}
    pieces = []
    for photo in dict.fromkeys(s.photo for s in part.sightings):
        panels = [panel_name(s.panel) for s in part.sightings if s.photo == photo]
        pieces.append(f"panel{'s' if len(panels) > 1 else ''} {listing(panels, 'and')} of {files[photo]}")
    return "; ".join(pieces)


def _faces_seen(doc: Document, part: Part) -> int:
    """Most faces of the part seen together in one photo."""
    views = {(p.id, q.id): q.view for p in doc.photos for q in p.panels}
    per_photo: dict[str, int] = {}
    for s in part.sightings:
        if views[s.photo, s.panel] not in NARROW:
            per_photo[s.photo] = per_photo.get(s.photo, 0) + 1
    return max(per_photo.values(), default=0)


def probabilities(judged: Judged, kind: str = "face") -> dict[str, float]:
    """Distribution `kind` ('face', 'core' or 'substrate') as a plain dict, likeliest first."""
    values = getattr(judged, kind).model_dump()
    return dict(sorted(values.items(), key=lambda kv: -kv[1]))


def best_face(judged: Judged) -> tuple[str, float]:
    """Likeliest face and its probability."""
    return next(iter(probabilities(judged).items()))


def edge_only(doc: Document, judged: Panel | Part) -> bool:
    """True when no face is in view: an edge, end or joint, whose question is the core."""
    if isinstance(judged, Panel):
        return judged.view in NARROW
    views = {(p.id, q.id): q.view for p in doc.photos for q in p.panels}
    return all(views[s.photo, s.panel] in NARROW for s in judged.sightings)


def _open_words(judged: Judged, kind: str, every: int) -> str:
    """'cannot tell', with what is still open where that says something."""
    kept = getattr(judged, f"{kind}_set")
    left = [class_words(k) for k in probabilities(judged, kind) if k in kept]
    if not left or len(left) == every:
        return "cannot tell"
    if len(left) == 1:
        return f"cannot tell; points to {left[0]}"
    return f"cannot tell: {listing(left)}"


def face_words(judged: Judged, narrow: bool = False) -> str:
    """The verdict on the face: one material when decided, else 'cannot tell' and what is still open."""
    if narrow:
        return "no face in view"
    return class_words(best_face(judged)[0]) if not judged.undecided else _open_words(judged, "face", len(registry.FACES))


def core_words(judged: Judged, narrow: bool = False) -> str:
    """The core: named when it is in view and one candidate is left, else what is open, else 'not in view'."""
    face = best_face(judged)[0] if not (judged.undecided or narrow) else None
    if face == "not_wood":
        return "does not apply"
    if judged.core_visible < CORE_SEEN and not (narrow and not judged.undecided):
        return "the board itself" if face == "solid_wood" else "not in view"
    if len(judged.core_set) == 1 and not (narrow and judged.undecided):
        return class_words(judged.core_set[0])
    return _open_words(judged, "core", len(registry.CORES))


def call_words(judged: Judged, narrow: bool) -> str:
    """The one line that stands for the verdict: the face, or where only an edge is in view, the core."""
    return f"edge only, core: {core_words(judged, True)}" if narrow else face_words(judged)


def sure_line(judged: Judged, narrow: bool = False, limit: int = 3) -> str:
    """The probabilities that matter (of the core where only an edge is in view), with words for a decided first."""
    values = [(k, p) for k, p in probabilities(judged, "core" if narrow else "face").items() if p >= 0.05][:limit]
    first = f"{class_words(values[0][0])} {percent(values[0][1])}"
    if not judged.undecided:
        first += f" ({sure_words(values[0][1])})"
    return ", ".join([first, *(f"{class_words(k)} {percent(p)}" for k, p in values[1:])])


def set_line(judged: Judged, narrow: bool = False) -> str:
    """What is not ruled out, with the level."""
    words = listing([class_words(k) for k in (judged.core_set if narrow else judged.face_set)]) or "nothing"
    return f"not ruled out at {percent(judged.level)}: {words}"


def why(doc: Document, judged: Judged, limit: int = 3) -> list[Finding]:
    """The heaviest findings that bear on a verdict; what is shown and not weighed has a list of its own."""
    known = {f.id: f for f in doc.findings}
    mine = [known[i] for i in judged.findings if known[i].kind not in BESIDES]
    return sorted(mine, key=lambda f: -f.decibans)[:limit]


def points_to(finding: Finding) -> str:
    """Which way a finding points and how much it weighs, as odds."""
    return f"{odds(finding.decibans)} for {class_words(finding.supports)} against {class_words(finding.against)}"


def reason_words(judged: Judged) -> str:
    """Why it cannot be told; empty when decided."""
    return registry.REASONS[judged.reason] if judged.reason is not None else ""


def finding_numbers(doc: Document) -> dict[str, int]:
    """Number of every finding, 1 up, in the order of the document; pictures and lists use the same numbers."""
    return {f.id: n + 1 for n, f in enumerate(doc.findings)}
