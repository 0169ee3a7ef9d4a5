"""Figure that recurs on two panels of one photo reaches verdicts, findings, cues and the sum of evidence."""

import numpy as np
import pytest

from training.trap_scenes import board_face
from vision.assess import assess
from vision.inference import load_model
from vision.inference.located import face_terms
from vision.types import Photo

LEFT, RIGHT = [(30, 60), (469, 60), (469, 279), (30, 279)], [(530, 60), (969, 60), (969, 279), (530, 279)]


def photo(right: np.ndarray, left: np.ndarray) -> Photo:
    """Two fronts side by side before a grey wall, with sensor noise of their own."""
    pixels = np.full((360, 1000, 3), 150, np.uint8)
    pixels[60:280, 30:470], pixels[60:280, 530:970] = left, right
    noise = np.random.default_rng(0).normal(0, 2, pixels.shape)
    return Photo(id="p1", file="p1.jpg", sha256="", pixels=np.clip(pixels + noise, 0, 255).astype(np.uint8))


def assessed(picture: Photo):
    return assess([picture], outlines={"p1": [("a", LEFT), ("b", RIGHT)]})


@pytest.fixture(scope="module")
def web():
    return board_face("white_oak_like", "flat", 141, 700, 220)


@pytest.fixture(scope="module")
def copied(web):
    return assessed(photo(web[:, 60:500], web[:, 200:640]))


def repeats_of(assessment):
    return [f for f in assessment.findings if f.kind == "figure_repeat"]


def test_a_repeat_becomes_one_finding_on_both_panels(copied):
    found = repeats_of(copied)
    assert found and {r.panel for r in found[0].where} == {p.panel.id for p in copied.photos[0].panels}
    for result in copied.photos[0].panels:
        assert found[0].id in result.verdict.findings
        assert "repeat" in result.verdict.cues


def test_it_raises_print_above_what_other_boards_get(copied, web):
    other = board_face("white_oak_like", "flat", 977, 440, 220)
    apart = assessed(photo(other, web[:, 200:640]))
    assert repeats_of(apart) == []
    chance = [a.photos[0].panels[0].verdict.face["printed"] for a in (copied, apart)]
    assert chance[0] > chance[1]


def test_its_weight_is_the_term_that_the_judgement_adds(copied):
    """Judging the same numbers with and without the repeat moves the log odds by exactly the located term."""
    from vision.measure import measure_panel

    model, first = load_model(), copied.photos[0].panels[0]
    measured = measure_panel(copied.photos[0].photo, first.panel)
    told = {**measured.values, "repeat_log_copy": 4.0}
    before, after = (model.judge(v, measured.looks) for v in (measured.values, told))
    moved = [np.log(j.contributions["face"].get("figure_repeat", {}).get("printed", 0.0)
                    - j.contributions["face"].get("figure_repeat", {}).get("veneer", 0.0) + 1e-300) for j in (after,)]
    terms = face_terms({"repeat_log_copy": 4.0})["figure_repeat"]
    from vision.inference.joint import FACES

    assert np.exp(moved[0]) == pytest.approx(terms[FACES.index("printed")] - terms[FACES.index("veneer")], rel=1e-6)
    assert after.face["printed"] > before.face["printed"]
