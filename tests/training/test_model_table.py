"""The model table: candidates against known truth, honest sums, paired intervals, inputs found from names, words of choice."""

from dataclasses import replace

import numpy as np
import pytest

from training import model_table as mt
from training import model_table_figures as mf
from training.config_file import load_config
from training.experts import Preparation, fit_logistic, log_softmax
from training.model_table_candidates import Additive, Boosted, Linear, Shapes, load_settings
from training.model_table_folds import SHIPPED, Answered, adding_gap, input_sets, learn
from training.tables import CUES, Table
from vision import measure
from vision.inference.joint import FACES

SETTINGS = load_settings()
SMALL = replace(SETTINGS.boosting, trees=(20, 60), features=1.0, rate=0.2, depth=3)


def made_table(n=240, seed=0, names=None):
    """A made-up table: 24 authors, two panels a specimen; the first column tells faces apart, the others are noise."""
    rng = np.random.default_rng(seed)
    names = np.array([f.name for f in measure.schema()][:12] if names is None else names)
    face = np.repeat(rng.integers(0, 6, n // 2), 2).astype(np.int8)
    values = rng.normal(0, 1, (n, len(names))).astype(np.float32)
    values[:, 0] += 1.5 * face
    at = np.arange(n)
    full = {k: np.full(n, v, np.int8) for k, v in (("core", -1), ("view", 0), ("core_visible", 1))}
    return Table("s", names, values, rng.normal(0, 1, (n, 3, 8)).astype(np.float16), face, **full,
                 weight=np.ones(n, np.float32), headline=np.ones(n, bool), cues=np.zeros((n, len(CUES)), bool),
                 author=np.array([f"a{i % 24}" for i in at // 2]), specimen=np.array([f"s{i}" for i in at // 2]),
                 photo=np.array([f"p{i}" for i in at]))


def waves(n, seed, together=False):
    """Two classes told by a wave of the first number (or by the sign of a product): no straight line does it."""
    rng = np.random.default_rng(seed)
    x = rng.uniform(-1, 1, (n, 3)).astype(np.float32)
    y = (x[:, 0] * x[:, 1] > 0) if together else (np.abs(x[:, 0]) > 0.5) ^ (np.abs(x[:, 0]) > 0.8)
    return x, y.astype(np.int8)


def accuracy(candidate, together, setting=0):
    x, y = waves(500, 0, together)
    say = candidate.fit(x, y, np.full(500, 1 / 500), 2, 3)[setting]
    new, truth = waves(400, 1, together)
    return float((say(new).argmax(axis=1) == truth).mean())


def test_each_candidate_learns_what_it_is_made_for():
    shapes, boosted = Additive((1e-3,), tuple(np.linspace(0.02, 0.98, 13))), Boosted(SMALL, 0)
    assert accuracy(shapes, False) > 0.93 > 0.75 > accuracy(Linear((1e-3,)), False)
    assert accuracy(shapes, True) < 0.65 and accuracy(boosted, True, 1) > 0.9  # only interactions see a product


def test_the_ridge_is_the_experts_own():
    """In the span of the rows and with another solver: the same probabilities as `training.experts.fit_logistic`."""
    rng = np.random.default_rng(3)
    x = rng.normal(0, 1, (40, 60)).astype(np.float32)
    y, w = rng.integers(0, 3, 40).astype(np.int8), np.full(40, 1 / 40)
    say = Linear((0.1,)).fit(x, y, w, 3, 60)[0]
    design = Preparation.fit(x, w)(x)
    coef, bias = fit_logistic(design, y, w, 3, 0.1)
    assert np.abs(np.exp(log_softmax(say(x))) - np.exp(log_softmax(design @ coef + bias))).max() < 2e-3


def test_a_class_that_was_never_taught_is_not_spoken_of():
    x, y = waves(100, 0)
    for candidate in (Linear((0.1,)), Boosted(SMALL, 0)):
        said = candidate.fit(x, y * 2, np.full(100, 0.01), 4, 3)[0](x)
        assert said.shape == (100, 4) and not said[:, [1, 3]].any() and np.abs(said.sum(axis=1)).max() < 1e-9


def test_shape_functions_are_flat_where_nothing_is_known():
    x = np.array([[0, np.nan, 5], [1, np.nan, 5], [2, np.nan, 5], [np.nan, np.nan, 5]], np.float32)
    shapes = Shapes.fit(x, (0.0, 0.5, 1.0))
    found = shapes(np.array([[np.nan, 3, 7], [9, 3, 7]], np.float32))
    assert found.shape == (2, 7) and found[0].tolist() == [0, 0, 0, 0, 0, 0, 1] and found[1].tolist() == [0.5, 0, 0, 0.5, 0, 0, 0]


def test_only_models_without_interactions_add_up():
    table = made_table(names=[f"g{i}" for i in range(12)])  # names of no schema: each is a group of its own

    def of(candidate):
        say = candidate.fit(table.values, table.face, np.full(240, 1 / 240), 6, 12)[-1]
        return float(np.median(adding_gap(lambda t: say(t.values), table, 0)))

    assert of(Linear((0.1,))) < 1e-6 and of(Additive((0.1,), SETTINGS.knots)) < 1e-6
    # The first column alone tells faces; let trees use it together with a column of another group.
    crossed = replace(table, face=((table.values[:, 0] > 3) ^ (table.values[:, -1] > 0)).astype(np.int8))
    say = Boosted(SMALL, 0).fit(crossed.values, crossed.face, np.full(240, 1 / 240), 2, 12)[-1]
    assert np.median(adding_gap(lambda t: say(t.values), crossed, 0)) > 1.0
    together = replace(crossed, names=np.array([f.name for f in measure.schema() if f.group == "colour"][:12]))
    assert np.median(adding_gap(lambda t: say(t.values), together, 0)) < 1e-9  # within one group they may act together


def test_inputs_are_found_from_the_names():
    config = load_config()
    names = [f.name for f in measure.schema() if not f.name.startswith("net_")]
    sets = input_sets(made_table(names=names), config)
    assert [s.name for s in sets] == ["measured + looks", "measured"]
    full, bare = sets
    table = made_table(names=names)
    assert full.numbers(table, "face").shape[1] == bare.numbers(table, "face").shape[1] + 24
    asked_of_cores_only = {n for e in config.experts for n in [e.name] if "face" not in e.targets}
    assert not asked_of_cores_only or len(bare.columns(table, "core")) > len(bare.columns(table, "face"))


def test_a_net_is_taken_out_by_its_names(monkeypatch):
    """A group of a net joins by its feature names alone, also where it shares a group with measured features."""
    from training import model_table_folds

    config = load_config()
    first = next(e for e in config.experts if not e.crops)
    table = made_table(names=["plain_a", "net_a", "net_b"])

    def columns(table, settings):
        own = {first.name: ["plain_a", "net_a"], "net": ["net_b"]}.get(settings.name.removesuffix("_less"), [])
        return [i for i, n in enumerate(table.names) if n in own and n not in settings.dropped]

    monkeypatch.setattr(model_table_folds, "columns", columns)
    config = replace(config, experts=(first, replace(first, name="net")))
    sets = {s.name: s for s in input_sets(table, config)}
    assert list(sets) == ["measured + looks + net", "measured + net", "measured + looks", "measured"]
    assert sets["measured"].columns(table, "face") == [0] and sets["measured + net"].columns(table, "face") == [0, 1, 2]
    assert [e.name for e in sets["measured"].config.experts] == [f"{first.name}_less"]


def test_the_temperature_is_learnt_on_inner_folds(monkeypatch):
    """A candidate that shouts ten times too loud comes out as loud as its whispering twin."""
    from training import model_table_folds

    table, config = made_table(), load_config()
    monkeypatch.setattr(model_table_folds, "columns", lambda table, settings: list(range(12)))
    inputs = next(s for s in input_sets(table, config) if s.name == "measured")

    class Loud(Linear):
        def fit(self, *args):
            return [lambda v, f=f: 2.5 * f(v) for f in super().fit(*args)]

    even = np.zeros((240, 6))
    said = [learn(c, inputs, "face", table, None, config, SETTINGS, even, np.ones(240))(inputs.numbers(table, "face"))
            for c in (Linear((0.1,)), Loud((0.1,)))]
    assert np.abs(said[0] - said[1]).max() < 0.05 * np.abs(said[0]).max()


def answers(table, sharp, seed):
    """Answers that are right in the measure `sharp`, calibrated at 1."""
    rng = np.random.default_rng(seed)
    logs = rng.normal(0, 1, (len(table), 6))
    logs[np.arange(len(table)), table.face] += sharp
    return Answered(np.exp(log_softmax(logs)), np.full((len(table), 4), 0.25), np.zeros(len(table)))


def test_figures_against_closed_forms():
    table = made_table(400)
    draws = mf.Draws.of(table.author, table.specimen, 40)
    p = np.exp(log_softmax(np.random.default_rng(1).normal(0, 1.5, (400, 6))))
    f = mf.figures(table, p, np.full((400, 4), 0.25), np.ones(400, bool), draws)
    rows = np.arange(400)
    assert f[mf.LOSS][0] == pytest.approx(-np.log(p[rows, table.face]).mean())  # two panels a specimen: a plain mean
    assert f[mf.BRIER][0] == pytest.approx(((p - np.eye(6)[table.face]) ** 2).sum(axis=1).mean())
    recalls = [(p.argmax(1) == table.face)[table.face == k].mean() for k in range(6)]
    assert f[mf.BALANCED][0] == pytest.approx(np.mean(recalls)) and np.isnan(f[mf.CORE][0])
    assert len(FACES) == 6 and all(len(v) == 41 for v in f.values())


def test_the_slope_and_the_calibration_error_see_what_was_done_to_probabilities():
    rng = np.random.default_rng(0)
    logs = rng.normal(0, 1.5, (6000, 6))
    p = np.exp(log_softmax(logs))
    y = np.minimum(5, (rng.random((6000, 1)) > np.cumsum(p, axis=1)).sum(axis=1)).astype(np.int8)
    loud = np.exp(log_softmax(2 * logs))
    w = np.ones((1, 6000))
    assert mf.slope(p, y, w)[0] == pytest.approx(1, abs=0.08) and mf.slope(loud, y, w)[0] == pytest.approx(0.5, abs=0.05)
    errors = [mf.calibration_error(q.max(axis=1), q.argmax(axis=1) == y, w)[0] for q in (p, loud)]
    draws = mf.Draws(w, np.arange(6000))
    assert errors[0] < 0.03 < 0.1 < errors[1]
    assert mf.chance_error(p.max(axis=1), draws, np.ones(6000, bool), rounds=20) == pytest.approx(errors[0], abs=0.015)


def test_a_better_model_is_shown_better_pair_by_pair_and_chosen_only_if_honest():
    table = made_table(480, seed=2)
    weak, strong = answers(table, 1.0, 0), answers(table, 2.0, 1)
    found = {(SHIPPED, "measured"): weak, ("other", "measured"): strong, ("trees", "measured"): replace(strong, gap=np.ones(480))}
    rows = mt.rows_of(table, found, 60)
    assert mt.verdict_of(mt.difference(rows[1], rows[0])) == -1 and mt.verdict_of(mt.difference(rows[0], rows[1])) == 1
    assert mt.verdict_of(mt.difference(rows[1], rows[2])) == 0 and not rows[2].exact
    best, tied, choice = mt.choose(rows)
    assert choice.key[0] == "other" and len(tied) == 2 and best in tied
    text = list(mt.lines(table, rows))
    assert len(text) <= 40 and "no, 1.0 dB off" in text[6] and text[4].count("|") == 14
    assert "other on measured is the choice" in text[-1] and "it would replace the shipped model" in text[-1]
    assert list(mt.sentences(rows[:1], rows[0]))[1].endswith("it stays.")


def test_unknown_settings_are_refused(tmp_path):
    (tmp_path / "m.json").write_text('{"boosting": {"trees": [3]}}')
    with pytest.raises(ValueError, match=r"m\.json"):
        load_settings(tmp_path / "m.json")
