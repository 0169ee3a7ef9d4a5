"""A panel measured as the narrow side it may be."""

import math
from dataclasses import replace

import numpy as np

from tests.vision.edges.edge_photos_made import photo_of
from tests.vision.edges.edge_strips_made import plies
from vision.edges import side
from vision.edges.edge import measure_edge
from vision.edges.shown import SHOWN_NUMBERS
from vision.panels import panels_from_outlines, rectify
from vision.types import Photo


def view_of(pixels, outline):
    photo = Photo("p", "p.jpg", "0" * 64, pixels)
    return rectify(photo, panels_from_outlines(photo, [("a", [tuple(map(float, q)) for q in outline])])[0])


def test_a_long_strip_is_measured_on_the_whole_photo_and_once():
    pixels, outline, _ = photo_of(plies(7))
    view = view_of(pixels, outline)
    report = side.side_report(view)
    assert report is not None and report is side.side_report(view)
    assert dict(report.chances) == dict(measure_edge(pixels, view.panel.outline).chances)
    values = side.measure(view, None)
    assert list(values) == [f.name for f in side.FEATURES] and len(values) == len(SHOWN_NUMBERS)
    assert values["edge_shown_plies"] == report.numbers["shown_plies"]


def test_millimetres_come_with_a_scale_only():
    pixels, outline, _ = photo_of(plies(7))
    view = view_of(pixels, outline)
    assert side.side_report(view).thickness_mm is None
    scaled = replace(view, mm_per_px=0.25 * view.px_scale)
    report = side.side_report(scaled)
    assert abs(report.thickness_mm - 0.25 * report.thickness_px) < 1e-9


def test_a_broad_panel_is_no_narrow_side():
    pixels, _, _ = photo_of(plies(7))
    view = view_of(pixels, [(100, 100), (400, 100), (400, 300), (100, 300)])
    assert side.side_report(view) is None
    assert all(math.isnan(v) for v in side.measure(view, None).values())


def test_without_the_whole_photo_nothing_is_measured():
    pixels, outline, _ = photo_of(plies(7))
    assert side.side_report(replace(view_of(pixels, outline), photo_pixels=None)) is None


def test_features_are_finite_or_nan():
    pixels, outline, _ = photo_of(plies(5), noise=8.0)
    assert not any(np.isinf(v) for v in side.measure(view_of(pixels, outline), None).values())
