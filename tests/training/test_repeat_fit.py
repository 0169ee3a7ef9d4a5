"""The fit of the repeats' likelihoods: what is written answers as what was fitted, says the truth, and keeps strangers out."""

import json

import numpy as np
import pytest

from training import repeat_fit
from training.composites.figures import Figure
from training.repeat_fit import FALSE_ALARMS, balanced, blended, fit, held_out, written
from training.repeat_rows import CASE, KINDS, Made, Row, pair_rows, registration_error, sheet_from, tuned_pair
from training.trap_scenes import board_face
from vision.repeats.likelihood import INPUTS, hypotheses, parse

SPREAD = {"copy": (2.0, -1.0), "leaf": (2.0, 1.0), "chance": (-2.0, 0.0)}


def made_up(pairs, seed=0):
    """Rows whose first input tells repeats from chance and whose drift tells leaves from copies, each with unit noise."""
    rng = np.random.default_rng(seed)
    names = list(INPUTS)
    out = []
    for k in range(pairs):
        kind = KINDS[k % len(KINDS)]
        x = rng.normal(size=len(names))
        found, drift = SPREAD[CASE[kind]]
        x[names.index("crossing")] += found
        x[names.index("drift_across")] += drift
        row = Row(CASE[kind], kind, "none", f"author {rng.integers(14)}", k, tuple(x), 0.6, 0.6, "shift", 1)
        out.append(Made(kind, "none", (row,)))
    return out


@pytest.fixture(scope="module")
def fitted():
    with pytest.MonkeyPatch.context() as quick:
        quick.setattr(repeat_fit, "ROUNDS", {"repeat": 8, "copy": 12})
        quick.setattr(repeat_fit, "FOLDS", 3)
        return fit(made_up(400))


def test_what_is_written_is_read_back(fitted):
    assert json.loads(written(fitted)) == fitted
    parse(json.loads(written(fitted)))


def test_answers_are_near_the_true_ratios(fitted):
    # Gaussian inputs: the log ratio of copy to leaf is (d1 - d0) times the input, here -2 x
    model = parse(fitted)
    names = list(INPUTS)
    for drift in (-1.5, -0.5, 0.5, 1.5):
        x = np.zeros(len(names))
        x[names.index("crossing")], x[names.index("drift_across")] = 2.0, drift
        z = (x - model.mean) / model.scale
        assert model.questions["copy"].log_ratio(x, z) == pytest.approx(-2 * drift, abs=1.2)
    assert model.questions["repeat"].log_ratio(x, z) > 2


def test_stated_quality_is_that_of_fresh_pairs(fitted):
    model = parse(fitted)
    rows = [m.rows[0] for m in made_up(900, seed=1) if CASE[m.kind] != "chance"]
    x = np.array([r.inputs for r in rows])
    odds = np.array([model.questions["copy"].log_ratio(v, (v - model.mean) / model.scale) for v in x])
    copy = np.array([r.case == "copy" for r in rows])
    cost = 0.5 * (np.logaddexp(0, -odds[copy]).mean() + np.logaddexp(0, odds[~copy]).mean()) / np.log(2)
    assert cost == pytest.approx(fitted["held_out"]["copy_against_leaf"]["cost"], abs=0.08)


def test_few_strangers_are_accepted(fitted):
    model = parse(fitted)
    alarms, unrelated = 0, 0
    for m in made_up(900, seed=2):
        if m.kind != "none":
            continue
        x = np.array(m.rows[0].inputs)
        repeat, copy = (model.questions[q].log_ratio(x, (x - model.mean) / model.scale) for q in ("repeat", "copy"))
        told = hypotheses(repeat, copy, "shift", None, model)
        alarms += max(v for k, v in told.items() if k != "coincidence") - told["coincidence"] >= model.accept
        unrelated += 1
    assert fitted["tuned"]["alarms"] <= FALSE_ALARMS * fitted["tuned"]["unrelated"]
    assert alarms / unrelated < 0.03
    assert fitted["limit"] == pytest.approx(np.log(120), abs=0.01)  # as many pairs as the smallest case has


def test_weights_balance_the_cases():
    labels = np.array(["copy"] * 30 + ["chance"] * 10)
    w = balanced(labels, {"copy": 0.5, "chance": 0.5})
    assert w[:30].sum() == pytest.approx(w[30:].sum()) and w.mean() == pytest.approx(1)


def test_a_useless_answer_gets_no_share():
    rng = np.random.default_rng(3)
    yes = rng.random(800) < 0.5
    noise = rng.normal(size=800)  # alone it tells nothing; taken away from the good answer it would, but not by a share
    blend = blended(np.stack([noise, np.where(yes, 1.0, -1.0) + noise], 1), yes, np.ones(800))
    assert blend["line"] == 0 and blend["trees"] == pytest.approx(2, abs=0.4)


def test_held_out_models_saw_none_of_the_authors(monkeypatch):
    monkeypatch.setattr(repeat_fit, "ROUNDS", {"repeat": 6, "copy": 6})
    # inputs that only name the author: a model that saw a row's author would tell, one that did not cannot
    rng = np.random.default_rng(4)
    authors = [{f"a{k % 20}"} for k in range(400)]
    yes = np.array([(k % 20) % 2 == 0 for k in range(400)])
    x = rng.normal(size=(400, len(INPUTS))) * 0.01
    for k in range(400):
        x[k, k % 20] = 3.0
    scores = held_out(x, x, yes, np.ones(400), authors, copy=False)
    assert abs(np.corrcoef(scores[:, 1], yes)[0, 1]) < 0.6


def test_a_made_pair_gives_a_row_of_its_case():
    figures = [Figure(board_face("walnut_like", "flat", s, 900, 420), f"author {s}", "f", "plain") for s in (3, 8)]
    number = next(k for k in range(0, 40, 10) if not tuned_pair(figures, k, 2).groups[0].startswith("log "))
    pair = tuned_pair(figures, number, 2)
    rows = pair_rows(pair, number)
    assert pair.kind == "copy" and len(rows) <= 1
    assert all(r.case == "copy" and len(r.inputs) == len(INPUTS) for r in rows)
    assert np.array_equal(pair.a, tuned_pair(figures, number, 2).a)


def test_the_error_of_a_registration_is_a_share_of_the_longer_side():
    sheet, to_sheet = sheet_from(np.zeros((200, 400, 3), np.uint8), "a")
    off = np.array([[1, 0, 8.0], [0, 1, 0], [0, 0, 1]])
    assert registration_error(np.eye(3), off, sheet, sheet) == pytest.approx(8 / 400)
    assert np.allclose(to_sheet, np.eye(3))
