"""One panel on its way from measurement to verdict: judged, its findings drafted; judged again when more becomes known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision import panel_net
from vision.cues import cues_in_view
from vision.edges.strips import located as located_on_edges
from vision.findings import Draft, PanelContext, Weight, panel_drafts, question, shows_edge, weigh
from vision.grain import located as located_in_grain
from vision.inference import Judgement, Model
from vision.intake.distance import too_far
from vision.looks import mean_colour
from vision.measure import PanelMeasure, measure_panel
from vision.types import Panel, Photo, Problem


@dataclass(frozen=True, eq=False)
class Seen:
    """A panel with its context, judgement, likeliest view, cues in view, drafted findings, problems and mean colour
    (CIE L*a*b*)."""

    context: PanelContext
    judgement: Judgement
    view: str
    cues: tuple[str, ...]
    drafts: tuple[Draft, ...]
    problems: tuple[Problem, ...]
    colour: tuple[float, float, float]


def look_at(photo: Photo, panel: Panel, model: Model, prior: str) -> Seen:
    """Measure and judge one panel and draft its findings."""
    measured = measure_panel(photo, panel)
    far = _too_far(measured)
    bare = PanelContext(panel, measured, located_in_grain(measured.view, measured.field),
                        located_on_edges(measured.view, measured.field), {}, panel_net.answer(measured.view))
    return _judged(bare, model, prior, (far,) if far else (), _colour(measured))


def judged_again(seen: Seen, values: Mapping[str, float], model: Model, prior: str) -> Seen:
    """The same panel with some feature values replaced by what only the other panels could tell."""
    measured = replace(seen.context.measure, values={**seen.context.measure.values, **values})
    return _judged(replace(seen.context, measure=measured), model, prior, seen.problems, seen.colour)


def _judged(
    context: PanelContext, model: Model, prior: str, problems: tuple[Problem, ...], colour: tuple[float, float, float]
) -> Seen:
    measured = context.measure
    judgement = model.judge(measured.values, measured.looks, prior)
    view = max(judgement.view, key=judgement.view.__getitem__)
    narrow = view in ("edge", "end", "joint")
    asked, target = (question(judgement.core), "core") if narrow else (question(judgement.face), "face")
    weights: dict[str, Weight] = {k: weigh(t, asked) for k, t in judgement.contributions[target].items()}
    context = replace(context, weights=weights)
    drafts = panel_drafts(context, shows_edge(view, judgement.core_visible))
    return Seen(context, judgement, view, cues_in_view(context, view), tuple(drafts), problems, colour)


def _too_far(measured: PanelMeasure) -> Problem | None:
    view, field = measured.view, measured.field
    waves = field.wavelength[field.valid & np.isfinite(field.wavelength) & (field.coherence >= 0.3)]
    wave = float(np.median(waves)) * view.px_scale if waves.size else None
    mm = view.mm_per_px / view.px_scale if view.mm_per_px is not None else None
    return too_far(view.native, view.native_mask, wavelength_px=wave, mm_per_px=mm)


def _colour(measured: PanelMeasure) -> tuple[float, float, float]:
    """Mean CIE L*a*b* of the panel."""
    view = measured.view
    if not view.mask.any():
        return (0.0, 0.0, 0.0)
    mean = (mean_colour(view.pixels, view.mask) / 255).astype(np.float32)
    lab = cv2.cvtColor(mean.reshape(1, 1, 3), cv2.COLOR_RGB2Lab)[0, 0]
    return float(lab[0]), float(lab[1]), float(lab[2])
