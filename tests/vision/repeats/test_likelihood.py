"""Likelihoods of a repeat: a stretch tells leaves and copies apart and adds nothing against chance; a damaged file is named."""

import pytest

from vision.errors import ModelMismatch
from vision.repeats import likelihood
from vision.repeats.likelihood import log_likelihoods, stored
from vision.repeats.measure import MEASURED

GOOD = {**dict.fromkeys(MEASURED, 0.5), "votes": 60.0, "effective": 300.0, "along_sd": 0.8, "across_sd": 0.8, "drift_along": 1.0,
        "drift_across": 1.0, "drift_slow": 0.5, "stretch": 0.0, "bend": 0.0}


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


def test_a_damaged_file_is_one_clear_error(monkeypatch, tmp_path):
    (tmp_path / "repeats.json").write_text("{")
    monkeypatch.setattr(likelihood, "FILE", tmp_path / "repeats.json")
    stored.cache_clear()
    with pytest.raises(ModelMismatch, match="numbers for repeats"):
        stored()
    stored.cache_clear()
