"""Any panel at all: every room returns exactly its declared names, finite or nan, whatever the picture."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.vision.surface.surface_faces import view_of
from vision.edges import strips
from vision.surface import colour, gloss, paint, prints, texture

ROOMS = (colour, texture, prints, gloss, paint, strips)


def check(view):
    for room in ROOMS:
        values = room.measure(view, None)
        assert list(values) and set(values) == {f.name for f in room.FEATURES}
        assert all(isinstance(v, float) and not math.isinf(v) for v in values.values()), room.__name__
    strips.located(view, None)


@given(st.integers(1, 70), st.integers(1, 70), st.integers(0, 5), st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_tiny_and_odd_panels(height, width, kind, seed):
    rng = np.random.default_rng(seed)
    pixels = rng.integers(0, 256, (height, width, 3)).astype(np.uint8)
    mask = np.ones((height, width), bool)
    if kind == 1:
        pixels[:] = 0
    elif kind == 2:
        pixels[:] = 255
    elif kind == 3:
        mask[:] = False
    elif kind == 4:
        mask = rng.random((height, width)) < 0.5
    elif kind == 5:
        mask[:] = False
        mask[:, width // 2] = True
    check(view_of(pixels, mask))


@pytest.mark.parametrize("shape", [(640, 1), (1, 640), (640, 5), (300, 500), (30, 640)])
@pytest.mark.parametrize("level", [0, 128, 255])
def test_flat_panels(shape, level):
    check(view_of(np.full((*shape, 3), level, np.uint8)))


@pytest.mark.parametrize("native", [(1200, 2000), (40, 2400), (90, 2400)])
def test_large_crops(native):
    rng = np.random.default_rng(1)
    check(view_of(rng.integers(0, 256, (*native, 3)).astype(np.uint8)))


def test_names_are_unique_and_grouped():
    names = [f.name for room in ROOMS for f in room.FEATURES]
    assert len(names) == len(set(names))
    for room, group in ((colour, "colour"), (texture, "fine_texture"), (prints, "print_clues"), (gloss, "gloss"),
                        (paint, "paint_clues")):
        assert {f.group for f in room.FEATURES} == {group}
    assert {f.group for f in strips.FEATURES} == {"edge_layers", "edge_particles", "end_rings"}


def test_compare_survives_anything():
    rng = np.random.default_rng(2)
    odd = [view_of(np.zeros((1, 1, 3), np.uint8)), view_of(np.full((200, 200, 3), 255, np.uint8)),
           view_of(rng.integers(0, 256, (120, 300, 3)).astype(np.uint8)),
           view_of(np.zeros((64, 64, 3), np.uint8), np.zeros((64, 64), bool))]
    for a in odd:
        for b in odd:
            change = gloss.compare(a, b)
            assert not change.registered or a is b or math.isfinite(change.figure_match)
