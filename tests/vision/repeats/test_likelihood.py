"""Likelihoods of a repeat: both questions reach the right hypotheses, ratios level off, a stretch tells leaves from copies."""

import json

import numpy as np
import pytest

from vision.errors import ModelMismatch
from vision.repeats import likelihood
from vision.repeats.likelihood import INPUTS, hypotheses, inputs_of, levelled_off, log_likelihoods, parse, stored
from vision.repeats.measure import MEASURED

GOOD = {**dict.fromkeys(MEASURED, 0.5), "votes": 60.0, "effective": 300.0, "along_sd": 0.8, "across_sd": 0.8, "drift_along": 1.0,
        "drift_across": 1.0, "drift_slow": 0.5, "stretch": 0.0, "bend": 0.0, "standing": 20.0, "frame_px": 300.0}


def told(stretch, within=True):
    return log_likelihoods({**GOOD, "stretch": stretch}, "shift", within=within)


def test_a_stretch_speaks_for_rotary_against_slip_and_copy():
    plain, stretched = told(0.0), told(0.02)
    assert plain["rotary"] < plain["slip"]
    assert stretched["rotary"] > stretched["slip"] and stretched["rotary"] > stretched["exact_copy"]


def test_a_stretch_never_adds_to_the_odds_against_chance():
    steady = told(0.0)
    most = max(v - steady["coincidence"] for v in steady.values())
    for stretch in (0.004, 0.01, 0.02, 0.03, -0.02, 0.2):
        found = told(stretch)
        assert max(v - found["coincidence"] for v in found.values()) <= most + 0.5


def test_between_sheets_a_stretch_is_not_read():
    assert told(0.02, within=False) == pytest.approx(told(0.0, within=False), abs=3.0)


def test_both_questions_reach_the_hypotheses():
    # closed form: copy and leaf share the odds of a repeat as the second question says; far from the limit nothing is lost
    m = stored()
    found = hypotheses(1.0, 0.4, "half_turn", None, m)
    expected = 0.4 + np.log(m.seen["copy"] * m.motions["exact_copy"]["half_turn"])
    expected -= np.log(m.seen["leaf"] * m.motions["slip"]["half_turn"])
    assert found["exact_copy"] - found["slip"] == pytest.approx(expected, abs=0.1)
    even = np.log(0.5 * np.exp(found["exact_copy"] - np.log(m.seen["copy"] * m.motions["exact_copy"]["half_turn"]))
                  + 0.5 * np.exp(found["slip"] - np.log(m.seen["leaf"] * m.motions["slip"]["half_turn"])))
    assert even - (found["coincidence"] - np.log(m.seen["chance"] * 0.25)) == pytest.approx(1.0, abs=0.1)


def test_ratios_level_off_and_keep_their_order():
    gaps = np.linspace(0, 60, 400)
    held = np.array([levelled_off(g, 7.0) for g in gaps])
    assert (np.diff(held) > 0).all() and held.max() < 7.0
    assert levelled_off(2.0, 7.0) == pytest.approx(2.0, abs=0.02)
    ranked = [hypotheses(r, 30.0, "shift", None, stored())["coincidence"] for r in (8.0, 10.0, 14.0, 20.0)]
    assert ranked == sorted(ranked, reverse=True) and len(set(ranked)) == 4


def test_drift_speaks_against_a_copy():
    still = {**GOOD, "drift_along": 0.2, "drift_across": 0.15, "drift_slow": 0.05, "warp_explains": -0.005, "shared_across": 0.1,
             "shared_along": 0.1, "residual_mid": 0.95, "residual_coarse": 0.98, "residual_fine": 0.8,
             **{k: 0.0 for k in MEASURED if k.startswith(("slip_", "renewed_", "figured_"))}}
    moved = {**still, "warp_explains": 0.15, "shared_across": 0.9, "slip_across_near": 0.6, "slip_across_far": 0.5,
             "slip_plain": 0.6, "drift_across": 0.8, "drift_slow": 0.5}
    one, other = (log_likelihoods(v, "shift", within=False) for v in (still, moved))
    assert one["exact_copy"] > one["slip"] + 1
    assert other["slip"] > other["exact_copy"] + 1


def test_every_input_is_a_number():
    assert np.isfinite(inputs_of(GOOD)).all()
    assert np.isfinite(inputs_of(dict.fromkeys(MEASURED, 0.0))).all()
    assert len(inputs_of(GOOD)) == len(INPUTS)


def test_numbers_for_other_measurements_are_refused():
    raw = json.loads(likelihood.FILE.read_text(encoding="utf-8"))
    parse(raw)
    raw["inputs"][0]["name"] = "another"
    with pytest.raises(ValueError, match="fit it again"):
        parse(raw)


def test_a_damaged_file_is_one_clear_error(monkeypatch, tmp_path):
    (tmp_path / "repeats.json").write_text("{")
    monkeypatch.setattr(likelihood, "FILE", tmp_path / "repeats.json")
    stored.cache_clear()
    with pytest.raises(ModelMismatch, match="numbers for repeats"):
        stored()
    stored.cache_clear()
