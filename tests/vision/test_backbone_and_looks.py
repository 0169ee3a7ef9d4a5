"""Backbone shapes, and the crops the embeddings are made of."""

import numpy as np
import pytest

from vision import looks
from vision.backbone import STATISTICS, embed_batch, maps, statistics_batch
from vision.types import Panel, Photo, WorkingView


def test_maps_have_the_documented_shapes():
    out = maps(np.zeros((64, 96, 3), np.uint8))
    assert {k: v.shape for k, v in out.items()} == {"s8": (40, 8, 12), "s16": (112, 4, 6), "s32": (320, 2, 3), "pooled": (1280,)}


def test_sides_must_fit_the_stride():
    with pytest.raises(ValueError):
        maps(np.zeros((65, 96, 3), np.uint8))


def test_batch_equals_single():
    crops = np.random.default_rng(1).integers(0, 256, (2, 64, 64, 3), dtype=np.uint8)
    assert np.allclose(embed_batch(crops)[1], maps(crops[1], ("pooled",))["pooled"], atol=1e-4)


def test_statistics_are_those_of_the_maps():
    crop = np.random.default_rng(3).integers(0, 256, (64, 96, 3), dtype=np.uint8)
    out = maps(crop)
    flat = [out[k].reshape(len(out[k]), -1) for k in ("s8", "s16", "s32")]
    expected = np.concatenate([f(m, axis=1) for m in flat for f in (np.mean, np.std)])
    found = statistics_batch(crop[None])
    assert found.shape == (1, STATISTICS) and np.allclose(found[0], expected, atol=1e-4)


def make_view(h=300, w=400, origin=(50, 60)):
    rng = np.random.default_rng(2)
    photo = Photo("p", "f", "0", rng.integers(0, 256, (500, 600, 3), dtype=np.uint8))
    x, y = origin
    native = photo.pixels[y : y + h, x : x + w]
    outline = ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
    mask = np.ones((h, w), bool)
    view = WorkingView(Panel("a", "p", outline), native, mask, np.eye(3), 1.0, native, mask, origin)
    return photo, view


def test_native_tile_is_cut_not_resampled():
    _, view = make_view()
    tile = looks.native_tile(view)
    assert tile.shape == (224, 224, 3)
    found = [(y, x) for y in range(77) for x in range(177) if (view.native[y, x] == tile[0, 0]).all()]
    assert any((view.native[y : y + 224, x : x + 224] == tile).all() for y, x in found)


def test_small_panels_are_mirrored_outwards():
    _, view = make_view(40, 30)
    tile = looks.native_tile(view)
    assert tile.shape == (224, 224, 3) and (tile[:40, :30] == view.native).all()


def test_outside_of_the_outline_does_not_show():
    _, view = make_view()
    mask = view.mask.copy()
    mask[:, 200:] = False
    cut = WorkingView(view.panel, view.pixels, mask, view.to_photo, 1.0, view.native, mask, view.native_origin)
    crop = looks.panel_crop(cut)
    assert crop[:, 120:].std() < 1 and crop[:, :100].std() > 10


def test_context_is_clipped_at_the_photo():
    photo, view = make_view(300, 400, (0, 0))
    assert looks.context_crop(photo, view).shape == (224, 224, 3)
    assert {k: v.shape for k, v in looks.looks(photo, view).items()} == dict.fromkeys(looks.LOOKS, (STATISTICS,))
