"""A detail refuses what cannot be."""

import math

import pytest

from vision.detail import Detail

BOX = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0))


def test_a_detail_keeps_its_numbers_and_cannot_be_changed():
    d = Detail("edge", "plies", 0.8, None, BOX, "Seen.", "Means.", {"plies": 7.0})
    assert d.numbers["plies"] == 7.0
    with pytest.raises(TypeError):
        d.numbers["plies"] = 9.0  # type: ignore[index]


@pytest.mark.parametrize("wrong", [
    {"group": "smell"},
    {"kind": "chip"}, {"chance": 1.2}, {"level": "low"}, {"outline": BOX[:2]}, {"numbers": {"a_px": math.nan}},
])
def test_what_cannot_be_is_refused(wrong):
    good = {"group": "edge", "kind": "plies", "chance": 0.8, "level": None, "outline": BOX, "text": "Seen.", "meaning": "Means."}
    with pytest.raises(ValueError):
        Detail(**{**good, **wrong})


def test_damage_has_a_level():
    with pytest.raises(ValueError, match="level"):
        Detail("damage", "chip", 0.5, None, BOX, "Seen.", "Means.")
