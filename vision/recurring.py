"""Figure that recurs on the panels of one piece: found over all its photos, told to each panel concerned, judged again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from vision.findings import Draft, PanelContext
from vision.findings.repeats import repeat_draft
from vision.inference import Model
from vision.repeats.find import find_repeats
from vision.repeats.numbers import numbers, strongest
from vision.repeats.repeat import Repeat
from vision.repeats.sheet import sheet_of
from vision.seen import Seen, judged_again
from vision.types import Photo

#: Views on which a face's figure can be compared.
FACES = ("face", "unknown")
Results = list[tuple[Photo, list[Seen]]]


@dataclass(frozen=True, eq=False)
class RepeatSeen:
    """A drafted finding and the (photo, panel) places that it belongs to."""

    draft: Draft
    places: tuple[tuple[str, str], ...]


Place = tuple[str, str]


def with_repeats(
    results: Results, model: Model, prior: str
) -> tuple[Results, list[RepeatSeen], list[tuple[Place, Place]]]:
    """The panels judged with what recurs on them, a finding for each repeat that speaks for a panel, and the pairs of (photo,
    panel) on two photos whose figure registers as one surface seen twice."""
    at = [(p, n) for p, (_, seen) in enumerate(results) for n, s in enumerate(seen) if s.view in FACES]
    if not at:
        return results, [], []
    repeats = find_repeats([sheet_of(results[p][1][n].context.measure.view, _size(results[p][0])) for p, n in at])
    best = strongest(repeats, len(at))
    out = [(photo, list(seen)) for photo, seen in results]
    for (p, n), repeat in zip(at, best, strict=True):
        if repeat is not None:
            out[p][1][n] = judged_again(out[p][1][n], numbers(repeat), model, prior)
    contexts = [out[p][1][n].context for p, n in at]
    places = [(c.panel.photo, c.panel.id) for c in contexts]
    again = [(places[r.a], places[r.b]) for r in repeats if r.same_surface and places[r.a][0] != places[r.b][0]]
    return out, [_seen(repeat, contexts, best) for repeat in _distinct(best)], again


def _size(photo: Photo) -> tuple[int, int]:
    return photo.width, photo.height


def _distinct(best: Sequence[Repeat | None]) -> list[Repeat]:
    """Each repeat once, clearest first."""
    found = {id(r): r for r in best if r is not None}
    return sorted(found.values(), key=lambda r: -r.log_odds)


def _seen(repeat: Repeat, contexts: Sequence[PanelContext], best: Sequence[Repeat | None]) -> RepeatSeen:
    """The finding, weighed as on the first of its panels that it speaks for."""
    a, b = contexts[repeat.a], contexts[repeat.b]
    owner = a if best[repeat.a] is repeat else b
    places = tuple(dict.fromkeys((c.panel.photo, c.panel.id) for c in (a, b)))
    return RepeatSeen(repeat_draft(repeat, a, b, owner.weights.get("figure_repeat")), places)
