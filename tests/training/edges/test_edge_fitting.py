"""Rows, fit and scores of edges: chance for constant answers, outlines spoilt within bounds, real labels read."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import balanced_accuracy_score, log_loss
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from training.edge_fit import LOOK_RIDGE, answers, calibrate, fit_look, temperature, tempered, with_real
from training.edge_rows import Place, real_strip, row_of, spoilt
from training.edge_scores import balanced, kind_scores, ply_scores
from training.edges.examples import KEPT_WIDE, example_of
from training.edges.make import make_edge
from training.edges.sets import FIRST_SEED, figures_of, plan
from vision.edges.canvas import TALL, draw_crop
from vision.edges.frame import lay_out
from vision.edges.kinds import STRIP_KINDS
from vision.edges.numbers import NAMES


@pytest.fixture(scope="module")
def row():
    return row_of(make_edge("laminate_particle", "close", 3))


def test_a_row_holds_every_number(row):
    assert row.values.shape == (len(NAMES),) and np.isfinite(row.values).all()
    assert row.strip == "particles" and row.embedding.shape == (1280,) and row.group == "seed 3"


def test_spoilt_outlines_stay_near_and_are_the_same_every_time():
    truth = make_edge("bare_fibre", "close", 4).truth
    (one, at), (two, _) = spoilt(truth), spoilt(truth)
    assert np.array_equal(one, two)
    thick = np.hypot(*np.subtract(np.mean(truth.arris, axis=0), np.mean(truth.lower, axis=0)))
    assert np.abs(one - truth.outline).max() < 0.6 * thick + 8
    if at is not None:
        d = np.subtract(np.mean(truth.arris, axis=0), np.mean(truth.lower, axis=0))
        assert np.dot(np.subtract(at, np.mean(truth.arris, axis=0)), d) > 0


def test_a_crop_is_square_and_keeps_its_shape():
    picture = make_edge("band_plain", "angled", 5)
    frame = lay_out(picture.pixels, picture.truth.outline)
    assert draw_crop(frame).shape == (224, 224, 3)


def test_parts_share_no_seed_and_kinds_come_evenly():
    parts = {part: plan(part, 400) for part in FIRST_SEED}
    seeds = [{t.seed for t in trials} for trials in parts.values()]
    assert sum(len(s) for s in seeds) == len(set.union(*seeds))
    assert len(plan("teach", 6)) == 6 * len(STRIP_KINDS) * 2
    assert plan("teach", 3) == parts["teach"][: len(plan("teach", 3))]


def test_real_labels():
    def label(**more):
        return {"face": "veneer", "core": "plywood", "view": "edge", "edge": "plies", **more}

    assert real_strip(label()) == "plies"
    assert real_strip(label(edge="end_grain", core="lumber", view="end")) == "solid_end"
    assert real_strip(label(edge="none", core="lumber")) == "solid_edge"
    assert real_strip(label(face="not_wood")) == "other"
    assert real_strip(label(edge="none")) is None


def test_questions_arise_where_they_should(row):
    rows = [row, row_of(make_edge("solid_end", "close", 6)), row_of(make_edge("rope", "close", 6))]
    assert answers(rows, "kind") == [list(STRIP_KINDS).index(r.strip) for r in rows]
    assert answers(rows, "continuous") == [0, 1, None]
    assert answers(rows, "sheet")[1:] == [0, None]
    assert len(with_real(rows, rows[:1])) > len(rows)


def test_balanced_accuracy_is_the_library_s_and_a_constant_scores_chance():
    rng = np.random.default_rng(1)
    true, given = rng.integers(0, 5, 300), rng.integers(0, 5, 300)
    every = np.arange(300)
    assert balanced(true, given)(every) == pytest.approx(balanced_accuracy_score(true, given))
    assert balanced(true, np.full(300, 2))(every) == pytest.approx(0.2)
    rows = [SimpleNamespace(strip=k, group=f"g{i}", truth=None) for i, k in enumerate([*STRIP_KINDS] * 4)]
    constant = np.tile(np.eye(len(STRIP_KINDS))[2], (len(rows), 1))
    found = kind_scores(rows, constant)
    assert found["balanced_accuracy"]["value"] == pytest.approx(1 / len(STRIP_KINDS))
    assert found["traps_called_plies"]["value"] == 1.0


def test_ply_scores_count_what_was_found():
    def one(true, found, top=10.0):
        place = Place(1.0, 10, 100, top, 110.0)
        return SimpleNamespace(truth=SimpleNamespace(plies=true), plies=SimpleNamespace(plies=1), place=place), \
            SimpleNamespace(plies=found)

    found = ply_scores([one(7, 7), one(7, 9, top=40.0), one(9, 8)])
    assert found["exact"]["value"] == pytest.approx(1 / 3) and found["within_one"]["value"] == pytest.approx(2 / 3)
    assert found["exact_where_well_outlined"]["value"] == 0.5 and found["exact_without_net"]["value"] == 0.0


def test_joining_finds_the_voice_that_knows_and_a_temperature_the_boast():
    rng = np.random.default_rng(5)
    y = rng.integers(0, 3, 900)
    knows = np.log(np.full((900, 3), 0.2) + 0.4 * np.eye(3)[np.where(rng.random(900) < 0.6, y, rng.integers(0, 3, 900))])
    guesses = rng.normal(size=(900, 3))
    join = calibrate((4 * knows, guesses, guesses[::-1]), y)
    assert join.net > 5 * max(join.hand, join.look)

    def plain(logs):
        p = np.exp(logs - logs.max(axis=1, keepdims=True))
        return p / p.sum(axis=1, keepdims=True)

    boastful = plain(4 * knows)
    assert log_loss(y, join.chances(4 * knows, guesses, guesses[::-1])) < log_loss(y, boastful) - 0.05
    share = temperature(boastful, y)
    assert share < 0.6 and log_loss(y, plain(share * np.log(boastful))) < log_loss(y, boastful) - 0.05
    cool = tempered(join, 0.5)
    assert cool.chances(knows, guesses, guesses).max() < join.chances(knows, guesses, guesses).max()


def test_the_linear_rule_on_embeddings_gives_what_the_library_gives():
    rng = np.random.default_rng(4)
    y = rng.integers(0, 8, 120)
    x = rng.normal(size=(120, 1280)) + 0.8 * rng.normal(size=(8, 1280))[y] + 3
    rows = [SimpleNamespace(strip=[*STRIP_KINDS][k], embedding=v, truth=None) for k, v in zip(y, x, strict=True)]
    rule = make_pipeline(StandardScaler(), LogisticRegression(C=LOOK_RIDGE, max_iter=200, class_weight="balanced")).fit(x, y)
    assert np.allclose(np.exp(fit_look(rows, "kind").logs(x)), rule.predict_proba(x), atol=2e-3)


def test_examples_say_where_plies_and_sheets_end():
    for name, ply, sheet in (("bare_plywood", True, False), ("laminate_particle", False, True), ("solid_edge", False, False)):
        picture = make_edge(name, "close", 8)
        truth = picture.truth
        frame = lay_out(picture.pixels, truth.outline, face_at=None, refine=False)
        example = example_of(frame, truth.strip, truth)
        assert example.strip.shape == (TALL, KEPT_WIDE, 3) and example.maps.shape == (2, TALL)
        assert (example.maps[0].max() > 150) == ply and (example.maps[1].max() > 150) == sheet
        if ply:
            peaks = [i for i in range(1, TALL - 1) if example.maps[0][i] > 100 and example.maps[0][i - 1] <= example.maps[0][i] >
                     example.maps[0][i + 1] - (example.maps[0][i + 1] == example.maps[0][i])]
            assert len(peaks) == truth.plies - 1


def test_no_photographer_of_a_real_edge_gives_faces_to_what_is_taught(tmp_path, monkeypatch):
    (tmp_path / "panels.csv").write_text("source,view\nanna,edge\nbert,face\n")
    figures = [SimpleNamespace(group=g) for g in ("anna", "bert", "cleo", "dora", "emil", "fred")]
    monkeypatch.setattr("training.edges.sets.load", lambda *_: figures)
    teach, stage = ({f.group for f in figures_of(p, tmp_path)} for p in ("teach", "stage"))
    assert "anna" not in teach | stage and not teach & stage and "bert" in teach | stage
