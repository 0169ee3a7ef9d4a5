"""Measure one panel: working view, grain field, every declared feature and the looks. One order, one schema, one hash."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from vision import cues_seen, grain, layouts, panel_net, shape
from vision.edges import side as edge_side
from vision.edges import strips as edge_strips
from vision.edges.edge import EdgeReport
from vision.features import Feature, schema_hash
from vision.layouts import Layout, odds
from vision.looks import looks
from vision.panels import rectify
from vision.repeats import numbers as repeats
from vision.surface import colour, gloss, paint, prints, texture
from vision.types import GrainField, Panel, Photo, WorkingView

#: Raise when a computation changes without its name changing: tables and models of an older version are then refused.
SCHEMA_VERSION = 4

SURFACE_ROOMS = (colour, texture, prints, gloss, paint, cues_seen, edge_strips, edge_side, panel_net)


@dataclass(frozen=True, eq=False)
class PanelMeasure:
    """All that was measured on one panel. `values`: feature name -> number (nan = not measurable); `looks`: crop name ->
    (backbone.STATISTICS,) float32; `layout`: how leaves or boards were laid; `side`: what it shows if it is a narrow side.
    Repeats need the other panels: their numbers say "nothing found" until `vision.recurring` has looked at all panels."""

    view: WorkingView
    field: GrainField
    values: dict[str, float]
    looks: dict[str, NDArray[np.float32]]
    layout: Layout | None = None
    side: EdgeReport | None = None


@lru_cache(maxsize=1)
def schema() -> tuple[Feature, ...]:
    """All features in their fixed order."""
    rows = [*grain.FEATURES, *(f for room in SURFACE_ROOMS for f in room.FEATURES), *shape.FEATURES,
            *layouts.FEATURES, *odds.FEATURES, *repeats.FEATURES]
    names = [f.name for f in rows]
    if len(set(names)) != len(names):
        raise ValueError(f"feature names repeat: {sorted({n for n in names if names.count(n) > 1})}")
    return tuple(rows)


def feature_schema() -> str:
    """Hash that ties a model to the features it was taught on."""
    return schema_hash(schema(), SCHEMA_VERSION)


def measure_view(view: WorkingView) -> tuple[GrainField, dict[str, float]]:
    """Grain field and all feature values of a working view."""
    field = grain.grain_field(view.pixels, mask=view.mask)
    values = grain.measure(view, field)
    for room in SURFACE_ROOMS:
        values.update(room.measure(view, field))
    values.update(shape.measure(view))
    values.update(layouts.measure(view, field))
    values.update(odds.odds(layouts.read_layout(view, field)))
    values.update(repeats.numbers(None))
    return field, {f.name: float(values[f.name]) for f in schema()}


def measure_panel(photo: Photo, panel: Panel) -> PanelMeasure:
    """Rectify and measure one panel of a photo."""
    view = rectify(photo, panel)
    field, values = measure_view(view)
    return PanelMeasure(view, field, values, looks(photo, view), layouts.read_layout(view, field), edge_side.side_report(view))
