"""Words and numbers of a narrow side."""

from dataclasses import replace
from types import MappingProxyType

import pytest

from tests.vision.edges.edge_photos_made import photo_of
from tests.vision.edges.edge_strips_made import plies
from vision.details.sides import side_detail, side_words
from vision.edges.edge import Continuation, ThinLayer, measure_edge
from vision.edges.kinds import STRIP_KINDS


@pytest.fixture(scope="module")
def report():
    pixels, outline, face = photo_of(plies(7))
    return measure_edge(pixels, outline, face_at=face, px_per_mm=4.0)


def called(report, kind, **changes):
    chances = {k: 0.02 for k in STRIP_KINDS} | ({kind: 0.86} if kind in STRIP_KINDS else {})
    return replace(report, kind=kind, chances=MappingProxyType(chances), **changes)


def test_plies_are_counted_in_words_and_millimetres(report):
    detail = side_detail(called(report, "plies"))
    assert detail.kind == "plies" and detail.chance == 0.86
    assert "cross-laid sheets" in detail.text and f"{report.plies.plies} layers stand out" in detail.text
    assert detail.numbers["plies_standing_out"] == report.plies.plies
    assert detail.numbers["thickness_mm"] == pytest.approx(detail.numbers["thickness_px"] / 4, abs=2e-3)
    assert detail.numbers["layer_1_mm"] == pytest.approx(detail.numbers["layer_1_px"] / 4, abs=2e-3)


def test_without_scale_no_word_of_millimetres(report):
    bare = called(report, "solid_end", thickness_mm=None, plies=None,
                  layer=ThinLayer(0.9, report.arris, 3.0, None, "dark"))
    detail = side_detail(bare)
    assert "mm" not in detail.text and not any(k.endswith("_mm") for k in detail.numbers)
    assert "dark layer about 3 px" in detail.text


@pytest.mark.parametrize(("ratio", "usable", "words"), [
    (2.0, True, "seem to run on over the arris, as in one piece"), (-2.0, True, "do not seem to run on"),
    (0.5, True, None), (3.0, False, None),
])
def test_lines_over_the_arris_are_spoken_of_only_when_they_say_something(report, ratio, usable, words):
    text = side_words(called(report, "solid_end", continuation=Continuation(ratio, 1.0, 500.0, usable), plies=None, layer=None))
    assert (words in text) if words else ("arris" not in text)


def test_what_cannot_be_told_gets_no_chance_and_a_remedy(report):
    detail = side_detail(called(report, "cannot_tell"))
    assert detail.chance is None and "cannot be told" in detail.text and "closer photo" in detail.meaning


def test_a_strip_beside_a_face_may_be_a_neighbours_and_carries_no_chance(report):
    detail = side_detail(called(report, "plies"), beside=True)
    assert detail.chance is None and detail.text.startswith("Beside this face") and "neighbouring part" in detail.meaning
