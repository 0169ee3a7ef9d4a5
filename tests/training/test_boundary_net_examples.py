"""Examples for the boundary net: what an outline tells and what it does not, and that packing keeps them."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from training.boundary_net import FURNITURE, NO_FURNITURE, ONE_SURFACE, UNKNOWN
from training.boundary_net_examples import Example, is_floor, pack, real_labels


def row(corners, **changes):
    polygon = " ".join(f"{x}:{y}" for x, y in corners)
    return {"polygon": polygon, "face": "veneer", "view": "face", "group": "g", "evidence": "", "notes": "", **changes}


SQUARE = [(40, 40), (360, 40), (360, 260), (40, 260)]


def test_inside_an_outline_is_one_surface_and_its_rim_stays_unknown():
    labels, quads = real_labels([row(SQUARE)], (800, 600), (300, 400))
    assert labels[75, 100] == ONE_SURFACE and labels[20, 100] == UNKNOWN and labels[200, 300] == UNKNOWN
    assert labels.max() == ONE_SURFACE
    assert quads.shape == (1, 4, 2) and np.abs(quads[0, 2] - [179.75, 129.75]).max() < 0.01


def test_what_is_no_wood_or_not_one_surface_is_told_apart():
    for changes, code in (({"face": "not_wood"}, NO_FURNITURE), ({"view": "whole"}, FURNITURE), ({"view": "joint"}, FURNITURE)):
        labels, quads = real_labels([row(SQUARE, **changes)], (800, 600), (300, 400))
        assert labels[75, 100] == code and not len(quads)


def test_a_floor_of_wood_teaches_nothing():
    assert is_floor(row(SQUARE, evidence="strip floor of oak")) and not is_floor(row(SQUARE))
    labels, _ = real_labels([row(SQUARE, evidence="strip floor of oak")], (800, 600), (300, 400))
    assert not labels.any()


def test_packing_keeps_labels_exactly_and_pixels_nearly(tmp_path):
    rng = np.random.default_rng(3)
    examples = []
    for k, (h, w) in enumerate(((64, 96), (96, 64), (32, 32))):
        pixels = np.broadcast_to(np.linspace(20, 200, w)[None, :, None], (h, w, 3)).astype(np.uint8)
        quads = np.full((k, 4, 2), float(k), np.float32)
        examples.append(Example(pixels, rng.integers(0, 256, (h, w)).astype(np.uint8), quads, k == 1, k))
    pack(examples, tmp_path / "examples.npz")
    with np.load(tmp_path / "examples.npz", allow_pickle=False) as d:
        blob, ends = d["blob"].tobytes(), [0, *d["ends"].tolist()]
        assert d["fold"].tolist() == [0, 1, 2] and d["rendered"].tolist() == [False, True, False]
        assert d["owner"].tolist() == [1, 2, 2]
    for k, e in enumerate(examples):
        pixels, labels = (np.array(Image.open(io.BytesIO(blob[ends[i]:ends[i + 1]]))) for i in (2 * k, 2 * k + 1))
        assert np.array_equal(labels, e.labels)
        assert np.abs(pixels.astype(int) - e.pixels).mean() < 3
