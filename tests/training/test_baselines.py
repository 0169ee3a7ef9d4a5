"""Baselines: the checklist's odds in closed form, answers only from what is in view, paired intervals that know no difference."""

import math

import numpy as np
import pytest

from tests.training import accuracy_made as made
from training import baselines
from training import baselines_checklist as checklist
from training.baselines import EMBEDDING, embedding_config, paired, risk_curve
from training.config_file import load_config
from vision.inference.joint import FACES

SOLID, VENEER, PRINTED = (FACES.index(f) for f in ("solid_wood", "veneer", "printed"))


def row(**kw):
    return {"view": "face", "edge": "none", "evidence": "", "notes": "", **kw}


def test_weight_and_price_are_never_seen():
    for told in (row(evidence="heavy oak top, dear, price 900"), row(notes="dovetail, carved", edge="plies")):
        found = dict(zip(checklist.NAMES, checklist.of_photo(told), strict=True))
        assert found["heavy"] == found["price"] == checklist.HIDDEN


def test_rules_are_answered_from_what_is_in_view():
    answer = lambda name, **kw: int(checklist.of_photo(row(**kw))[checklist.NAMES.index(name)])  # noqa: E731
    assert answer("dovetails", evidence="hand-cut dovetails") == checklist.YES
    assert answer("dovetails", evidence="plain corner") == checklist.HIDDEN
    assert answer("carved", evidence="chest, carved front") == checklist.YES
    assert answer("line", edge="plies") == checklist.YES
    assert answer("line", edge="end_grain") == checklist.NO
    assert answer("line", evidence="solid walnut veneer, price unknown") == checklist.HIDDEN


def test_a_render_shows_its_line_only_with_a_side_in_view():
    face = {"part": "top", "view": "face", "width_px": 200.0, "edging": "raw", "core": "particle_board"}
    side = {**face, "view": "edge", "width_px": 20.0}
    line = checklist.NAMES.index("line")
    assert checklist.of_render(face, [face])[line] == checklist.HIDDEN
    assert checklist.of_render(face, [face, side])[line] == checklist.YES
    assert checklist.of_render(face, [face, {**side, "width_px": 3.0}])[line] == checklist.HIDDEN
    assert checklist.of_render(face, [face, {**side, "part": "door"}])[line] == checklist.HIDDEN
    assert checklist.of_render(face, [face, {**side, "edging": "self", "core": "lumber"}])[line] == checklist.NO


def test_odds_are_those_of_the_rules():
    answers = np.full((3, len(checklist.RULES)), checklist.HIDDEN, np.int8)
    at = checklist.NAMES.index("dovetails")
    answers[1, at] = checklist.YES
    answers[2, [at, checklist.NAMES.index("line")]] = checklist.YES
    found = checklist.likelihoods(answers)
    assert np.allclose(found[0], 1)
    rules = {r.name: r for r in checklist.RULES}
    assert found[1, SOLID] / found[1, VENEER] == pytest.approx(rules["dovetails"].solid)
    assert found[2, SOLID] / found[2, PRINTED] == pytest.approx(rules["dovetails"].solid * rules["line"].solid)
    assert found[2, FACES.index("opaque")] == 1


def test_nothing_in_view_leaves_the_prior():
    config = load_config()
    prior = np.array([0.3, 0.2, 0.1, 0.15, 0.05, 0.2])
    said = checklist.judged(np.full((2, len(checklist.RULES)), checklist.HIDDEN, np.int8), prior, np.full((6, 4), 0.25), config)
    assert np.allclose(said.answers.face, prior) and not said.decided.any()
    assert np.allclose(said.answers.core, 0.25)
    inside = said.face_set[0]
    assert prior[inside].sum() >= config.level > prior[inside].sum() - prior[inside].min()


def test_risk_against_a_plain_loop():
    rng = np.random.default_rng(0)
    certain, right, weight = rng.random(40), rng.random(40) < 0.6, np.ones(40)
    found = risk_curve(certain, right, weight, np.array([0.25, 0.5, 1.0]))
    order = np.argsort(-certain)
    expected = [1 - right[order[:k]].mean() for k in (10, 20, 40)]
    assert np.allclose(found, expected)


def test_equally_certain_rows_come_in_together():
    right = np.array([True, False, True, False])
    assert np.allclose(risk_curve(np.ones(4), right, np.ones(4), np.array([0.25, 1.0])), 0.5)


def test_the_same_answers_differ_by_nothing():
    s = made.side().scored()
    for p in paired(s, {"same": s}, rounds=30)["same"]:
        assert p.ours == p.theirs and p.specimens == p.authors == (0.0, 0.0)
        assert p.verdict == "no difference shown" or "too few" in p.verdict


def test_a_clear_difference_is_claimed_and_the_other_way_round():
    one = made.side(strength=3.0)
    good, bad = one.scored(), one.scored(of=one.baselines["checklist"][1])
    for a, b, word in ((good, bad, "better"), (bad, good, "worse")):
        found = {p.figure: p for p in paired(a, {"other": b}, rounds=30)["other"]}
        assert found["face: log loss (uniform 1.792)"].verdict == word
        assert found["face: balanced accuracy, forced"].verdict == word


def test_one_interval_that_holds_zero_is_no_claim():
    figure = "AUC solid against veneer"
    assert baselines.Paired(figure, 0.9, 0.8, (0.01, 0.2), (-0.01, 0.2), 50).verdict == "no difference shown"
    assert baselines.Paired(figure, 0.9, 0.8, (0.01, 0.2), (0.01, 0.2), 50).verdict == "better"
    assert "too few" in baselines.Paired(figure, 0.9, 0.8, (0.01, 0.2), (0.01, 0.2), 5).verdict


def test_the_embedding_reads_one_crop_and_nothing_located():
    config = embedding_config(load_config())
    assert [e.crops for e in config.experts] == [("panel",)] and config.located == ()
    assert math.isclose(config.experts[0].penalty, baselines.PENALTY) and EMBEDDING
