"""Taught real edges are measured by models that never saw their photographer."""

import json
import math

import pytest

from training import edge_held_out
from vision.edges.side import FEATURES

OUTLINE = ((10.2, 20.4), (300.0, 22.0), (300.0, 60.0), (10.0, 58.0))


@pytest.fixture
def store(tmp_path):
    path = tmp_path / "held.json"
    row = [None if n == 3 else -0.25 * n for n in range(len(FEATURES))]
    path.write_text(json.dumps({edge_held_out.outline_key(OUTLINE): row}))
    edge_held_out.stored.cache_clear()
    yield path
    edge_held_out.stored.cache_clear()


def test_an_outline_has_one_name_however_it_is_read_in():
    turned = (*OUTLINE[2:], *OUTLINE[:2])
    nearly = tuple((x + 0.01, y - 0.01) for x, y in OUTLINE)
    assert edge_held_out.outline_key(OUTLINE) == edge_held_out.outline_key(turned) == edge_held_out.outline_key(nearly)
    assert edge_held_out.outline_key(OUTLINE) != edge_held_out.outline_key(OUTLINE[:3])


def test_stored_numbers_come_by_name_with_gaps(store):
    found = edge_held_out.stored(store)[edge_held_out.outline_key(OUTLINE)]
    assert list(found) == [f.name for f in FEATURES]
    assert math.isnan(found[FEATURES[3].name]) and found[FEATURES[2].name] == -0.5


def test_other_outlines_are_left_alone():
    edge_held_out.stored.cache_clear()
    assert edge_held_out.numbers_for(((0.0, 0.0), (1.0, 0.0), (1.0, 1.0))) == {}


def test_what_is_stored_fits_the_present_features():
    edge_held_out.stored.cache_clear()
    kept = edge_held_out.stored()
    assert kept and all(len(row) == len(FEATURES) for row in kept.values())
