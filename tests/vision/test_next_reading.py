"""The stored table of further photos: whole, small, for this program's classes, and refused when damaged."""

import json
from importlib.resources import files

import numpy as np
import pytest

from vision import registry
from vision.errors import ModelMismatch
from vision.next_gain import arrays, settles
from vision.next_reading import FILE, KINDS, parsed, shipped_readings

TEXT = files("vision").joinpath(FILE).read_text(encoding="utf-8")


def test_the_shipped_table_is_whole_and_small():
    readings = shipped_readings()
    assert set(readings.kinds) == set(KINDS)
    assert len(TEXT) < 60_000
    for reading in readings.kinds.values():
        assert reading.shown.shape == (len(registry.SUBSTRATES), len(reading.hidden)) and (reading.shown > 0).all()
        assert reading.specimens > 0


@pytest.mark.parametrize("spoil", ["format", "substrate", "row", "worth", "text"])
def test_a_damaged_table_is_refused(spoil):
    raw = json.loads(TEXT)
    if spoil == "format":
        raw["format"] = 99
    elif spoil == "substrate":
        raw["kinds"]["edge"]["shown"].pop("solid_lumber")
    elif spoil == "row":
        raw["kinds"]["edge"]["shown"]["solid_lumber"][0] += 0.5
    elif spoil == "worth":
        raw["kinds"]["face"]["worth"] = 1.5
    with pytest.raises(ModelMismatch):
        parsed("{" if spoil == "text" else json.dumps(raw))


def test_settling_by_bayes_rule_by_hand():
    """Belief 0.5/0.5; outcome x with 0.9 and 0.05: after x 0.947, after y 0.905; the level is passed at 0.9, once at 0.93."""
    p, table = arrays({"a": 0.5, "b": 0.5}, {"a": {"x": 0.9, "y": 0.1}, "b": {"x": 0.05, "y": 0.95}})
    assert settles(p, table, np.eye(2), 0.90) == pytest.approx(1.0)
    assert settles(p, table, np.eye(2), 0.93) == pytest.approx(0.475)
    assert settles(p, table, np.ones((2, 1)), 0.99) == pytest.approx(1.0)
