"""The edge model: read as scikit-learn grew it, refused when damaged; reports of whole edges."""

from __future__ import annotations

import math

import numpy as np
import pytest
from sklearn.ensemble import ExtraTreesClassifier

from tests.vision.edges.edge_photos_made import photo_of
from tests.vision.edges.edge_strips_made import fibre, particles, plies, veneered
from training.edge_fit import as_forest, draw_line, store
from vision.edges.canvas import TALL
from vision.edges.edge import measure_edge
from vision.edges.kinds import CANNOT_TELL, STRIP_KINDS
from vision.edges.naming import EMBEDDED, MISSING, QUESTIONS, EdgeModel, Join, Look, Seen, load_edge_model
from vision.edges.net import as_answer
from vision.edges.numbers import NAMES
from vision.edges.shown import GROUPS, SHOWN_NUMBERS
from vision.errors import ModelMismatch


def _grown(count, seed=0):
    rng = np.random.default_rng(seed)
    x, y = rng.normal(size=(200, len(NAMES))), rng.integers(0, count, 200)
    x[:, 0] += y
    x[rng.random(x.shape) < 0.05] = MISSING
    return ExtraTreesClassifier(8, min_samples_leaf=3, random_state=1).fit(x, y), draw_line(x, y, count), x, y


def _model():
    return EdgeModel({q: as_forest(*_grown(len(a))[:2]) for q, a in QUESTIONS.items()})


def test_trees_give_what_the_library_gives():
    grown, line, x, _ = _grown(8)
    assert np.allclose(as_forest(grown, line).trees(x), grown.predict_proba(x), atol=1e-12)


@pytest.mark.parametrize("count", [2, 8])
def test_the_linear_rule_gives_what_the_library_gives(count):
    from sklearn.linear_model import LogisticRegression

    grown, line, x, y = _grown(count)
    middle, spread, *_ = line
    z = np.where(x == MISSING, 0, np.clip((x - middle) / spread, -5, 5))
    rule = LogisticRegression(C=0.03, max_iter=500, class_weight="balanced").fit(z, y)
    assert np.allclose(as_forest(grown, line).linear(x), rule.predict_proba(z), atol=1e-9)


def test_chances_are_chances():
    grown, line, x, _ = _grown(8)
    chances = as_forest(grown, line, scale=1.3, offset=np.linspace(-1, 1, 8)).chances(x)
    assert np.allclose(chances.sum(axis=1), 1) and (chances >= 0).all()


def test_a_stored_model_answers_as_before_and_is_refused_when_damaged(tmp_path):
    model, path = _model(), tmp_path / "edges.npz"
    store(model, path)
    values = dict.fromkeys(NAMES, 0.3)
    values["rows"] = float("nan")
    for question in QUESTIONS:
        before, after = model.answer(question, values), load_edge_model(path).answer(question, values)
        assert before == pytest.approx(after, abs=2e-3)
    data = path.read_bytes()
    (tmp_path / "again.npz").write_bytes(b"")
    store(model, tmp_path / "again.npz")
    assert (tmp_path / "again.npz").read_bytes() == data
    for name, content in (("cut.npz", data[: len(data) // 2]), ("empty.npz", b""), ("text.npz", b"no model")):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(ModelMismatch):
            load_edge_model(tmp_path / name)
    with pytest.raises(ModelMismatch):
        load_edge_model(tmp_path / "none.npz")


def test_joins_are_stored_and_weigh_the_net(tmp_path):
    forests = _model().forests
    joins = {q: Join(0.8, 0.3, 0.1, np.linspace(0, 0.2, len(a)), 0.6) for q, a in QUESTIONS.items()}
    looks = {q: Look(np.full((EMBEDDED, len(a)), 0.01), np.zeros(len(a))) for q, a in QUESTIONS.items()}
    store(EdgeModel(forests, looks, joins), tmp_path / "edges.npz")
    again = load_edge_model(tmp_path / "edges.npz")
    values = dict.fromkeys(NAMES, 0.1)
    sure = np.where(np.arange(len(STRIP_KINDS)) == 3, 4.0, -4.0)
    net = Seen(as_answer(sure, np.array([6.0, -6.0, 0.0]), np.zeros((2, TALL)), 0, 100), np.ones(EMBEDDED))
    assert again.answer("kind", values, net)[list(STRIP_KINDS)[3]] > 0.9
    assert again.answer("sheet", values, net)["yes"] > 0.9 > 0.1 > again.answer("seam", values, net)["yes"]
    assert again.limit("sheet", net) == 0.6 and again.limit("sheet") == forests["sheet"].limit


def test_a_model_for_other_numbers_is_refused(tmp_path, monkeypatch):
    store(_model(), tmp_path / "edges.npz")
    monkeypatch.setattr("vision.edges.naming.NAMES", (*NAMES[:-1], "another"))
    with pytest.raises(ModelMismatch, match="other measurements"):
        load_edge_model(tmp_path / "edges.npz")


@pytest.mark.parametrize("strip", [plies(7), fibre(), particles(), veneered(skin=8)])
def test_a_report_holds_together(strip):
    pixels, outline, face = photo_of(strip)
    report = measure_edge(pixels, outline, face_at=face, px_per_mm=4.0)
    assert report.kind in {*STRIP_KINDS, CANNOT_TELL}
    assert set(report.chances) == set(STRIP_KINDS) and sum(report.chances.values()) == pytest.approx(1)
    assert report.kind == CANNOT_TELL or report.chances[report.kind] == max(report.chances.values()) >= 0.5
    assert report.thickness_mm == pytest.approx(report.thickness_px / 4)
    assert set(report.numbers) == {*NAMES, *SHOWN_NUMBERS}
    assert sum(math.exp(report.numbers[k]) for k in GROUPS) == pytest.approx(1, abs=1e-3)
    assert math.isfinite(report.numbers["shown_one_piece"]) == report.continuation.usable
    assert math.isnan(report.numbers["shown_layer_px"]) == (report.layer is None)
    if report.plies is not None:
        assert len(report.plies.bounds) == len(report.plies.thickness_px) - 1
        assert sum(report.plies.thickness_px) == pytest.approx(report.thickness_px, rel=0.02)
    without = measure_edge(pixels, outline, face_at=face)
    assert without.thickness_mm is None and (without.plies is None or without.plies.thickness_mm is None)
    assert measure_edge(pixels, [(0, 0), (20, 0), (20, 3)]) is None
    with pytest.raises(ValueError, match="px_per_mm"):
        measure_edge(pixels, outline, px_per_mm=0.0)


def test_the_stored_model_tells_plies_from_particles():
    for strip, kind in ((plies(9, thickness=90), "plies"), (particles(thickness=90, middle=3.0), "particles")):
        pixels, outline, face = photo_of(strip)
        report = measure_edge(pixels, outline, face_at=face)
        assert report.chances[kind] > 2 * report.chances["particles" if kind == "plies" else "plies"]
