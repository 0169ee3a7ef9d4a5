"""The whole way: photos of one piece -> panels -> measurements -> findings -> verdicts -> parts -> next steps."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from vision.assessment import Assessment, ModelInfo, PanelResult, Part, PhotoResult
from vision.cues import with_wear
from vision.detail import Detail
from vision.details.read import read_details
from vision.edges.find_lines import Shrunk
from vision.findings import Draft, PanelContext, cross_photo_drafts, question
from vision.findings.details import detail_draft
from vision.inference import Model, joint, load_model
from vision.intake.problems import measure_problems, problem
from vision.next_steps import next_steps
from vision.panels import find_panels, panel_at, panels_from_outlines
from vision.panels.geometry import signed_area
from vision.parts import Sighting, find_parts
from vision.recurring import RepeatSeen, with_repeats
from vision.seen import Seen, look_at
from vision.types import Finding, Panel, Photo, Problem, Verdict

OutlineRequest = tuple[str | None, Sequence[tuple[float, float]]]
Progress = Callable[[str, float], None]
#: (photo id, panel id).
Place = tuple[str, str]

#: A panel that the finder proposed and the classifier takes for background with at least this probability is left out.
BACKGROUND = 0.5
#: Panels are measured by this many threads; OpenCV and ONNX Runtime release the interpreter lock.
WORKERS = 2


def assess(
    photos: Sequence[Photo],
    *,
    outlines: Mapping[str, Sequence[OutlineRequest]] | None = None,
    taps: Mapping[str, Sequence[tuple[float, float]]] | None = None,
    model: Model | None = None,
    prior: str | None = None,
    details: bool = True,
    progress: Progress | None = None,
) -> Assessment:
    """Assess photos that all show one piece of furniture.

    Parameters
    ----------
    photos : usable photos with ids of their own.
    outlines : photo id -> (panel id or None, polygon in photo pixels); replaces automatic finding on that photo.
    taps : photo id -> points in photo pixels; one panel each, replaces automatic finding on that photo.
    model, prior : classifier and name of the base rates (default: the packaged model and its reference prior).
    details : whether joints, fittings and damage are looked for too; they take time and move no verdict.
    progress : called with a stage in plain words and the share done, 0..1.

    Raises
    ------
    UsageError
        for outlines or taps that make no sense, or an unknown prior.
    ModelMismatch
        if the model does not fit this program.
    """
    model = load_model() if model is None else model
    prior_name = prior or "reference"
    info = model.info_for(prior_name)
    tell = progress or (lambda stage, share: None)
    results: list[tuple[Photo, list[Seen]]] = []
    for done, photo in enumerate(photos):
        share = done / max(1, len(photos))
        tell(f"finding panels on {photo.file}", share)
        with ThreadPoolExecutor(WORKERS) as pool:
            faults = pool.submit(measure_problems, photo)
            panels = _panels(photo, (outlines or {}).get(photo.id), (taps or {}).get(photo.id))
            tell(f"measuring {len(panels)} panels of {photo.file}", share)
            begun = {n: pool.submit(look_at, photo, panels[n], model, prior_name) for n in _largest_first(panels)}
            seen = [begun[n].result() for n in range(len(panels))]
            problems = faults.result()
        kept = [s for s in seen if not _is_background(s)]
        if not kept:
            problems = (*problems, problem("no_wood_like_surface"))
        results.append((replace(photo, problems=(*problems, *_shared_problems(kept))), kept))
    tell("looking for figure that recurs", 1.0)
    results, repeats, again = with_repeats(results, model, prior_name)
    more: dict[Place, tuple[Detail, ...]] = {}
    if details:
        tell("looking for joints, fittings and damage", 1.0)
        more = _details(results)
    tell("putting parts together", 1.0)
    return _together(results, repeats, again, more, model, prior_name, info)


def _details(results: Sequence[tuple[Photo, list[Seen]]]) -> dict[Place, tuple[Detail, ...]]:
    """What each panel shows besides its material."""
    every = [(s, pictures) for photo, seen in results for pictures in [Shrunk(photo.pixels)] for s in seen]
    with ThreadPoolExecutor(WORKERS) as pool:
        found = list(pool.map(lambda each: read_details(each[0].context.measure, each[0].view, each[1]), every))
    return {(s.context.panel.photo, s.context.panel.id): d for (s, _), d in zip(every, found, strict=True)}


def _panels(
    photo: Photo, outlines: Sequence[OutlineRequest] | None, taps: Sequence[tuple[float, float]] | None
) -> tuple[Panel, ...]:
    """Panels to judge: those given, else those found."""
    given: list[Panel] = list(panels_from_outlines(photo, [(i, list(p)) for i, p in outlines])) if outlines else []
    given += [panel_at(photo, x, y) for x, y in taps or ()]
    return tuple(given) or tuple(p for p in find_panels(photo) if not _is_the_scale(photo, p))


def _is_the_scale(photo: Photo, panel: Panel) -> bool:
    """Whether a found panel lies mostly on the card, coin or sheet that the photo's millimetres rest on."""
    if photo.scale is None or photo.scale.plane is None:
        return False
    from shapely.geometry import Polygon

    mine, its = (Polygon(o).buffer(0) for o in (panel.outline, photo.scale.outline))
    return bool(mine.intersection(its).area > 0.6 * mine.area)


def _largest_first(panels: Sequence[Panel]) -> list[int]:
    """Indices in order of work: a large panel begun last would leave the other worker idle."""
    areas = [abs(signed_area(np.asarray(p.outline, dtype=np.float64))) for p in panels]
    return sorted(range(len(panels)), key=lambda n: -areas[n])


def _is_background(seen: Seen) -> bool:
    return seen.context.panel.source == "found" and seen.judgement.face["not_wood"] >= BACKGROUND


def _shared_problems(seen: Sequence[Seen]) -> tuple[Problem, ...]:
    """A fault that most panels have is the photo's."""
    far = [s.problems[0] for s in seen if s.problems]
    return (far[0],) if far and len(far) > len(seen) / 2 else ()


def _together(
    results: list[tuple[Photo, list[Seen]]], repeats: Sequence[RepeatSeen], again: Sequence[tuple[Place, Place]],
    details: Mapping[Place, tuple[Detail, ...]], model: Model, prior: str, info: ModelInfo,
) -> Assessment:
    """Verdicts, parts, findings over several photos, and next steps. `again`: panels that are one surface seen twice."""
    findings: list[Finding] = []
    ids: dict[str, list[str]] = {}
    contexts: dict[Place, PanelContext] = {}

    def add(draft: Draft, owners: Sequence[PanelContext]) -> None:
        key = f"f{len(findings) + 1}"
        w = draft.weight
        findings.append(Finding(key, draft.kind, draft.where, w.supports, w.against, round(w.decibans, 2), draft.text))
        for owner in owners:
            ids.setdefault(f"{owner.panel.photo}/{owner.panel.id}", []).append(key)

    for _, seen in results:
        for s in seen:
            contexts[s.context.panel.photo, s.context.panel.id] = s.context
            for draft in s.drafts:
                add(draft, [s.context])
    for repeat in repeats:
        add(repeat.draft, [contexts[place] for place in repeat.places])
    for _, seen in results:
        for s in seen:
            place = s.context.panel.photo, s.context.panel.id
            pair = question(s.judgement.face)
            for found in (detail_draft(d, s.context, pair) for d in details.get(place, ())):
                if found is not None:
                    add(found, [s.context])
    judged: dict[Place, Verdict] = {}
    for photo, seen in results:
        for s in seen:
            key = f"{photo.id}/{s.context.panel.id}"
            problems = (*photo.problems, *s.problems)
            cues = with_wear(s.cues, details.get((photo.id, s.context.panel.id), ()))
            judged[photo.id, s.context.panel.id] = model.verdict(s.judgement, cues, problems, ids.get(key, ()))
    parts = _parts(results, judged, info, _substrate_prior(model, info), again)
    pairs = [(contexts[a], contexts[b]) for part in parts for a, b in _pairs(part)]
    for draft, owners in cross_photo_drafts(pairs):
        add(draft, owners)
        for owner in owners:
            place = owner.panel.photo, owner.panel.id
            old = judged[place]
            cues = tuple(c for c in ("gloss_pair", *old.cues) if c != "none")
            judged[place] = replace(old, cues=cues, findings=(*old.findings, findings[-1].id))
    if pairs:
        parts = _parts(results, judged, info, _substrate_prior(model, info), again)
    photo_results = tuple(
        PhotoResult(photo, tuple(
            PanelResult(s.context.panel, s.view, judged[photo.id, s.context.panel.id], s.context.measure.field,
                        s.context.measure.view.to_photo, dict(s.judgement.view),
                        details.get((photo.id, s.context.panel.id), ())) for s in seen))
        for photo, seen in results)
    return Assessment(photo_results, tuple(findings), parts, next_steps(parts), model.info_for(prior))


def _parts(
    results: list[tuple[Photo, list[Seen]]], judged: Mapping[Place, Verdict], info: ModelInfo,
    substrate: Mapping[str, float], again: Sequence[tuple[Place, Place]],
) -> tuple[Part, ...]:
    """Sightings of all photos put together into parts."""
    sightings = [Sighting(photo.id, s.context.panel, s.view, judged[photo.id, s.context.panel.id], s.colour)
                 for photo, seen in results for s in seen]
    sizes = {photo.id: (photo.width, photo.height) for photo, _ in results}
    return find_parts(sightings, sizes, prior_face=info.prior_face, prior_core=info.prior_core,
                      prior_substrate=substrate, seen_again=again)


def _substrate_prior(model: Model, info: ModelInfo) -> dict[str, float]:
    """Base rates of the substrates: those of the faces, each over the cores that the model's table gives it."""
    log_face = np.log(np.array([info.prior_face[f] for f in joint.FACES]))
    table = joint.log_table(np.asarray(model.tables["core_table"]))
    prior = joint.substrates(joint.joint_log(log_face, table, np.zeros(len(joint.FACES)), np.zeros(len(joint.CORES))))
    return dict(zip(joint.SUBSTRATES, prior.tolist(), strict=True))


def _pairs(part: Part) -> list[tuple[Place, Place]]:
    """Pairs of sightings of one part on different photos."""
    return [(a, b) for i, a in enumerate(part.sightings) for b in part.sightings[i + 1:] if a[0] != b[0]]
