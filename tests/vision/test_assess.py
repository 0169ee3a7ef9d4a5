"""The whole way on our own rendered sample photos: what is promised of every assessment."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from vision.assess import assess
from vision.errors import UsageError
from vision.findings.weigh import DECIBANS_PER_NAT
from vision.inference import load_model
from vision.intake import load_photo
from vision.measure import measure_panel
from vision.types import Photo

SAMPLES = Path(__file__).parents[2] / "sample_images"
TRUTH = json.loads((SAMPLES / "truth.json").read_text())
CHEST = [SAMPLES / f"quarry_lane_chest_{n}.jpg" for n in (1, 2)]


@pytest.fixture(scope="module")
def model():
    return load_model()


@pytest.fixture(scope="module")
def chest(model):
    stages = []
    photos = [load_photo(p, f"p{n}") for n, p in enumerate(CHEST, 1)]
    return assess(photos, model=model, progress=lambda stage, share: stages.append((stage, share))), stages


def outlines_of(name):
    entry = next(p for p in TRUTH["photos"] if p["file"] == name)
    return [(str(p["id"]), [tuple(q) for q in p["outline"]]) for p in entry["panels"]]


def test_finds_panels_judges_them_and_shows_evidence(chest):
    found, stages = chest
    assert all(len(p.panels) >= 3 for p in found.photos)
    for photo in found.photos:
        for r in photo.panels:
            assert sum(r.verdict.face.values()) == pytest.approx(1, abs=1e-9)
            assert max(r.verdict.face, key=r.verdict.face.get) in r.verdict.face_set
            assert r.verdict.findings, "a verdict without evidence"
            assert r.view == max(r.view_probabilities, key=r.view_probabilities.get)
    assert found.parts and found.next
    shares = [s for _, s in stages]
    assert shares == sorted(shares) and shares[-1] == 1.0 and any("measuring" in s for s, _ in stages)


def test_background_proposed_by_the_finder_is_left_out(chest):
    found, _ = chest
    assert all(r.verdict.face["not_wood"] < 0.5 for p in found.photos for r in p.panels)


def test_outlines_replace_finding_and_keep_their_ids(model):
    photo = load_photo(CHEST[0], "p1")
    wanted = outlines_of(CHEST[0].name)[:3]
    found = assess([photo], outlines={"p1": wanted}, model=model)
    assert [r.panel.id for r in found.photos[0].panels] == [i for i, _ in wanted]
    assert all(r.panel.source == "given" for r in found.photos[0].panels)


def test_a_tap_gives_the_panel_under_it_even_on_the_wall(model):
    photo = load_photo(CHEST[0], "p1")
    found = assess([photo], taps={"p1": [(5.0, 5.0)]}, model=model)
    assert len(found.photos[0].panels) == 1 and found.photos[0].panels[0].panel.source == "tap"


def test_weights_of_evidence_add_up_to_the_verdict(model):
    """Prior odds in decibans plus every group's weight is the posterior odds, face and core judged together."""
    photo = load_photo(CHEST[0], "p1")
    panel = assess([photo], model=model).photos[0].panels[0].panel
    measured = measure_panel(photo, panel)
    j = model.judge(measured.values, measured.looks)
    for target, posterior in (("face", j.face), ("core", j.core)):
        a, b = sorted(posterior, key=posterior.get)[-2:]
        start = (j.log_prior[target][a] - j.log_prior[target][b]) * DECIBANS_PER_NAT
        moved = sum((t[a] - t[b]) * DECIBANS_PER_NAT for t in j.contributions[target].values())
        assert start + moved == pytest.approx(10 * np.log10(posterior[a] / posterior[b]), abs=1e-6)


def test_a_blank_wall_is_no_furniture(model):
    rng = np.random.default_rng(0)
    wall = np.clip(rng.normal(200, 2, (600, 800, 3)), 0, 255).astype(np.uint8)
    found = assess([Photo("p1", "wall.png", "0", wall)], model=model)
    decided = [r for r in found.photos[0].panels if not r.verdict.undecided]
    assert not any(max(r.verdict.face, key=r.verdict.face.get) in ("solid_wood", "veneer", "printed") for r in decided)
    if not found.photos[0].panels:
        assert "no_wood_like_surface" in [p.kind for p in found.photos[0].photo.problems]


def test_the_prior_moves_the_answer_as_bayes_says(model):
    photo = load_photo(CHEST[0], "p1")
    first, second = (assess([photo], model=model, prior=name).photos[0].panels[0].verdict.face for name in ("reference", "even"))
    prior = model.info_for("reference").prior_face
    expected = {k: first[k] / prior[k] for k in first}
    total = sum(expected.values())
    assert {k: v / total for k, v in expected.items()} == pytest.approx(dict(second), abs=1e-6)


def test_wrong_requests_are_refused(model):
    photo = load_photo(CHEST[0], "p1")
    with pytest.raises(UsageError, match="prior"):
        assess([photo], model=model, prior="wishful")
    with pytest.raises(UsageError):
        assess([photo], outlines={"p1": [("bow", [(10, 10), (400, 400), (400, 10), (10, 400)])]}, model=model)


def test_nothing_in_nothing_out(model):
    found = assess([], model=model)
    assert found.photos == () and found.parts == () and found.next[0].ask == "whole_piece"


def test_numbers_do_not_depend_on_how_many_threads_work(model, monkeypatch):
    photo = load_photo(CHEST[0], "p1")

    def numbers(workers: int, threads: int) -> str:
        monkeypatch.setattr("vision.assess.WORKERS", workers)
        before = cv2.getNumThreads()
        cv2.setNumThreads(threads)
        try:
            found = assess([photo], model=model)
        finally:
            cv2.setNumThreads(before)
        panels = found.photos[0].panels
        assert len(panels) >= 3
        return repr([(r.panel, r.verdict, r.view_probabilities) for r in panels]) + repr(found.findings)

    assert numbers(1, 1) == numbers(2, 2)
