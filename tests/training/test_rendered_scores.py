"""Figures of a rendered test: right on made truth, and what is said of many rows is what the program says of one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from training import rendered_scores as scores
from training import rendered_scores_stats as stats
from training.rendered_scores_answers import MIX, Said, aligned, answers, raw_looks, said_by_net, without
from training.rendered_test_rows import RenderedRows
from training.rendered_test_truth import CUES
from training.tables import RENDERED, Table
from vision.inference import load_model
from vision.inference.joint import CORES, FACES

N = 6000


def made(n: int = N, seed: int = 1) -> tuple[RenderedRows, Said]:
    """A forecaster that is true by construction: the truth of every panel is drawn from what it says."""
    rng = np.random.default_rng(seed)
    face = rng.dirichlet(np.full(6, 0.25), n)
    core = rng.dirichlet(np.full(4, 0.25), n)
    y = np.array([rng.choice(6, p=p) for p in face])
    z = np.array([rng.choice(4, p=p) for p in core])
    narrow = rng.random(n) < 0.3
    text = {k: np.array(["x"] * n) for k in ("role", "part", "side", "layout", "edging", "coat", "kind", "style", "twin", "piece",
                                             "camera")}
    facts = {**text, "shot": rng.choice(["whole", "part", "close"], n), "delivery": rng.choice(["camera", "thumbnail"], n),
             "faces": np.full(n, 4.0), "panels": np.full(n, 6.0), "mm_per_px": np.full(n, 1.2), "core_shown": narrow}
    rows = RenderedRows(
        schema="x", names=np.array(["a"]), values=np.zeros((n, 1), np.float32), looks=np.zeros((n, 3, 1), np.float16),
        projected=True, ids=np.array([f"i{k}" for k in range(n)]), group=np.array([f"g{k // 6}" for k in range(n)]),
        photo=np.array([f"g{k // 6}_0" for k in range(n)]), face=np.array(FACES)[y], core=np.array(CORES)[z],
        view=np.where(narrow, "edge", "face"), core_visible=np.where(narrow, 0, 1).astype(np.int8), facts=facts,
        cues=rng.random((n, len(CUES))) < 0.1, more={})
    said = Said(face, core, np.tile([1.0, 0, 0, 0], (n, 1)), narrow * 0.8 + 0.1, face > 0.05, core > 0.05, face.max(axis=1) > 0.7,
                np.zeros(n), ())
    return rows, said


@pytest.fixture(scope="module")
def true_one() -> dict[str, stats.Value]:
    return scores.figures(*made(), rounds=40)


def test_a_true_forecaster_has_no_calibration_error_beyond_luck(true_one):
    rows, said = made()
    t = scores.Truth.of(rows)
    for k, name in enumerate(FACES):
        luck = stats.error_by_luck(said.face[:, k], t.faces)
        assert 0.002 < luck < 0.02
        assert true_one[f"ECE {name}"].value < 2 * luck + 0.002
        assert scores.verdict_on(f"ECE {name}", true_one[f"ECE {name}"]) == "<= 0.04 met"


def test_an_overconfident_forecaster_is_found_out(true_one):
    rows, said = made()
    sharp = said.face**3 / (said.face**3).sum(axis=1, keepdims=True)
    found = scores.figures(rows, replace(said, face=sharp), rounds=10)
    assert np.mean([found[f"ECE {c}"].value for c in FACES]) > 0.04
    assert max(found[f"ECE {c}"].value for c in FACES) > 3 * max(true_one[f"ECE {c}"].value for c in FACES)
    assert found["face log loss"].value > true_one["face log loss"].value + 0.05
    assert found["wrong at p >= 0.9"].value > true_one["wrong at p >= 0.9"].value
    assert true_one["face log loss"].value < true_one["face log loss of the base rate"].value


def test_an_interval_covers_what_its_forecaster_is_worth():
    """Accuracy of a true forecaster is the mean of its leading probability; the interval should mostly hold it."""
    held = 0
    for seed in range(20):
        rows, said = made(600, seed)
        t = scores.Truth.of(rows)
        right = said.face.argmax(axis=1) == t.face
        v = stats.values({"right": (stats.mean(right, t.faces), t.faces)}, rows.group, rounds=200, seed=seed)["right"]
        held += v.low <= said.face[t.faces].max(axis=1).mean() <= v.high
    assert held >= 15


def test_groups_drawn_whole_widen_the_interval():
    """The same panel six times over says no more than once."""
    rng = np.random.default_rng(3)
    once = rng.random(200) < 0.5
    hits, every = np.repeat(once, 6), np.ones(1200, dtype=bool)
    wide = stats.values({"a": (stats.mean(hits, every), every)}, np.repeat(np.arange(200).astype(str), 6))["a"]
    thin = stats.values({"a": (stats.mean(hits, every), every)}, np.arange(1200).astype(str))["a"]
    assert wide.value == thin.value and wide.high - wide.low > 2 * (thin.high - thin.low) - 0.01
    assert wide.groups == 200 and thin.groups == 1200


def test_bins_hold_equal_mass():
    p = np.random.default_rng(0).random(1000) ** 4
    assert set(np.bincount(stats.bins_of(p)).tolist()) == {100}
    assert all(p[stats.bins_of(p) == k].max() <= p[stats.bins_of(p) == k + 1].min() for k in range(9))


def test_areas_and_pairs_by_hand():
    score = np.array([0.9, 0.8, 0.3, 0.2])
    positive, use = np.array([True, False, True, False]), np.ones(4, dtype=bool)
    assert stats.area(score, positive, use)(np.ones(4)) == pytest.approx(0.75)
    assert stats.area(score, positive, use)(np.array([1.0, 1, 0, 0])) == 1.0
    figure, pairs = stats.order_within(score, positive, ~positive, np.array(["a", "a", "b", "b"]))
    assert pairs == 2 and figure(np.ones(4)) == 1.0
    crossed, _ = stats.order_within(score, positive, ~positive, np.array(["a", "b", "b", "a"]))
    assert crossed(np.ones(4)) == 0.5
    assert stats.order_within(score, positive, ~positive, np.array(["a", "b", "c", "d"]))[1] == 0


def test_twins_are_compared_on_the_same_panel():
    rows, said = made(6)
    facts = {**rows.facts, "twin": np.array(["solid", "veneered", "printed"] * 2), "core_shown": np.zeros(6, dtype=bool),
             "part": np.array(["top0"] * 3 + ["side1"] * 3)}
    rows = replace(rows, facts=facts, view=np.array(["face"] * 6), face=np.array(["solid_wood", "veneer", "printed"] * 2),
                   group=np.array(["t1"] * 6), photo=np.array(["p3_0", "p4_0", "p5_0"] * 2))
    face = np.full((6, 6), 0.01)
    face[:, 0], face[:, 2] = [0.6, 0.2, 0.1, 0.1, 0.1, 0.8], [0.1, 0.1, 0.6, 0.6, 0.3, 0.1]
    found = scores.figures(rows, replace(said, face=face), rounds=4)
    assert found["twins: solid over print, same panel"].value == 0.5
    assert found["twins: forced right"].value == pytest.approx(2 / 6)


def test_what_is_left_open_is_what_no_verdict_names(true_one):
    rows, said = made()
    nothing = scores.figures(rows, replace(said, decided=np.zeros(N, dtype=bool)), rounds=2)
    assert nothing["cue none: left open"].value == 1.0 and nothing["coverage"].value == 0.0
    assert 0 < true_one["cue none: left open"].value < 1
    hidden = scores.Truth.of(rows).hidden & ~scores.Truth.of(rows).shown
    assert true_one["core: said not visible where hidden"].value == 1.0 and hidden.sum() > 1000


def test_the_page_is_short_and_names_every_target(true_one):
    rows, said = made()
    page = list(scores.text(rows, said, true_one, "model x"))
    assert len(page) <= 60
    told = sum(" met" in line or " missed" in line for line in page)
    assert told == len([k for k in scores.TARGETS if np.isfinite(true_one[k].value)])


def taught_rows(count: int) -> RenderedRows:
    """Panels of the committed table as test rows."""
    table = Table.load(RENDERED)
    table = table.rows(np.arange(0, len(table), len(table) // count)[:count])
    rows, _ = made(count)
    return replace(rows, schema=table.schema, names=table.names, values=table.values, looks=table.looks, projected=True)


def test_projected_looks_unfold_to_looks_that_project_to_the_same():
    from training.tables import PROJECTION, Projection

    rows = taught_rows(8)
    again = Projection.load(PROJECTION)(raw_looks(rows))
    assert np.abs(again - rows.looks.astype(np.float32)).max() < 0.01


@pytest.mark.parametrize("prior", ["reference", "even"])
def test_many_rows_are_judged_as_the_program_judges_one(prior):
    model, rows = load_model(), taught_rows(60)
    said = answers(rows, model, prior, batch=25)
    values, missing = aligned(rows, [f.name for f in model.schema])
    looks = raw_looks(rows)
    if missing:
        pytest.skip("the committed tables are older than the model")
    for k in range(60):
        named = {f.name: float(v) for f, v in zip(model.schema, values[k], strict=True)}
        one = model.judge(named, dict(zip(model.tables["looks"]["names"], looks[k], strict=True)), prior)
        verdict = model.verdict(one, (), (), ())
        assert list(one.face.values()) == pytest.approx(said.face[k].tolist(), abs=1e-5)
        assert list(one.core.values()) == pytest.approx(said.core[k].tolist(), abs=1e-5)
        assert one.core_visible == pytest.approx(said.visible[k], abs=1e-5)
        assert set(verdict.face_set) == {c for c, held in zip(FACES, said.face_set[k], strict=True) if held}
        assert set(verdict.core_set) == {c for c, held in zip(CORES, said.core_set[k], strict=True) if held}
        assert verdict.undecided != said.decided[k]


def test_the_mix_of_the_test_itself_is_only_another_prior():
    model, rows = load_model(), taught_rows(40)
    rows = replace(rows, view=np.array(["face"] * 40), face=np.array(["printed"] * 36 + ["veneer"] * 4))
    known, usual = answers(rows, model, MIX), answers(rows, model)
    odds = np.log(known.face[:, 2] / known.face[:, 1]) - np.log(usual.face[:, 2] / usual.face[:, 1])
    prior = model.tables["priors"]["reference"]["face"]
    assert odds == pytest.approx(np.full(40, np.log(37 / 5) - np.log(prior["printed"] / prior["veneer"])), abs=1e-6)
    assert np.array_equal(known.face_set, usual.face_set)


def test_numbers_measured_elsewhere_join_by_panel():
    rows, _ = made(4)
    more = rows.with_numbers(["i2", "i0"], ["net_a", "net_b"], np.array([[1, 2], [3, 4]], np.float32))
    assert list(more.names) == ["a", "net_a", "net_b"]
    assert more.values[0].tolist() == [0, 3, 4] and more.values[2].tolist() == [0, 1, 2] and np.isnan(more.values[1, 1:]).all()
    again = more.with_numbers(["i0"], ["net_a"], np.array([[9]], np.float32))
    assert list(again.names) == ["a", "net_b", "net_a"] and again.values[0].tolist() == [0, 4, 9]
    assert np.isnan(aligned(more, ["net_b", "gone"])[0][:, 1]).all() and aligned(more, ["gone"])[1] == ("gone",)


def test_the_net_alone_is_scored_on_what_it_answered(tmp_path):
    rows, said = made(50)
    logits = {"face": np.log(said.face), "core": np.log(said.core), "view": np.log(said.view + 1e-9),
              "core_visible": np.log(np.stack([said.visible, 1 - said.visible], axis=1))}
    back = np.arange(40)[::-1]
    np.savez(tmp_path / "judged.npz", ids=rows.ids[back], **{k: v[back] for k, v in logits.items()})
    kept, again = said_by_net(rows, tmp_path / "judged.npz")
    assert list(kept.ids) == list(rows.ids[:40]) and np.allclose(again.face, said.face[:40])
    mass = np.where(again.face_set, again.face, 0).sum(axis=1)
    smaller = np.where(again.face_set, again.face, 2).min(axis=1)
    assert (mass >= 0.9).all() and (mass - smaller < 0.9).all() and np.allclose(again.visible, said.visible[:40])


def test_a_silent_group_is_blanked_and_no_other():
    few, _ = made(5)
    told = few.with_numbers(list(few.ids), ["net_face_veneer", "colour_tone_skew"], np.ones((5, 2), np.float32))
    quiet = without(told, "net_region")
    names = quiet.names.tolist()
    assert np.isnan(quiet.values[:, names.index("net_face_veneer")]).all()
    assert (quiet.values[:, names.index("colour_tone_skew")] == 1).all()
    assert (told.values[:, names.index("net_face_veneer")] == 1).all()
    with pytest.raises(ValueError, match="net_region"):
        without(told, "no_such_group")
