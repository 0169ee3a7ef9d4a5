"""The net that comes with the program."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import pytest
from sklearn.metrics import roc_auc_score

from training.damage.bases import Bank
from training.damage.make import make_panel
from training.damage.match import truth_of
from training.damage_net import ABOUT, AXES, told_of
from vision.damage.find import find_damage
from vision.damage.looks import looks
from vision.damage.net import CELL, SIDE, prepared, shipped_net
from vision.types import Panel, WorkingView


def test_files_are_small() -> None:
    assert sum(len(files("vision").joinpath(f"models/damage.{kind}").read_bytes()) for kind in ("onnx", "json")) < 2_500_000
    assert AXES > 0 and ABOUT % 2 == 1


def test_answers_are_shares_on_cells_of_the_panel() -> None:
    pixels = np.random.default_rng(0).integers(60, 200, (120, 300, 3)).astype(np.uint8)
    maps = shipped_net().look(pixels, np.ones((120, 300), bool))
    assert maps.kinds.shape[1:] == (30, 75) == maps.inside.shape and maps.scale == pytest.approx(CELL)
    assert np.allclose(maps.kinds.sum(axis=0), 1, atol=1e-3) and np.allclose(maps.under.sum(axis=0), 1, atol=1e-3)


def test_damage_of_panels_never_taught_stands_out() -> None:
    # scikit-learn's area under the curve, over the cells of painted panels of seeds that no part uses
    said, true = [], []
    for seed in (999_999_030, 999_999_031, 999_999_032, 999_999_033):
        panel = make_panel(seed, Bank((), 9), sound=False)
        truth = truth_of(panel)
        maps = shipped_net().look(panel.pixels, np.ones(panel.labels.shape, bool))
        damaged = np.zeros(maps.inside.shape, bool)
        for region in truth.regions:
            damaged |= region.cells
        known = ~truth.unknown & maps.inside
        said.append(1 - maps.kinds[0][known])
        true.append(damaged[known])
    assert roc_auc_score(np.concatenate(true), np.concatenate(said)) > 0.75


def test_a_plain_painted_panel_is_sound() -> None:
    pixels = np.full((300, 420, 3), (206, 200, 188), np.uint8)
    noise = np.random.default_rng(1).normal(0, 1.5, pixels.shape)
    pixels = np.clip(pixels + noise, 0, 255).astype(np.uint8)
    panel = Panel("a", "p", ((0, 0), (10, 0), (10, 10)))
    mask = np.ones((300, 420), bool)
    assert find_damage(WorkingView(panel, pixels, mask, np.eye(3), 1.0, pixels, mask, (0, 0))) == ()


def test_what_the_net_is_told_is_what_it_was_taught_from() -> None:
    """Taught on numbers made outside it, run on the picture's looks: both ways must agree."""
    import onnx
    from onnx import numpy_helper

    stored = onnx.load_from_string(files("vision").joinpath("models/damage.onnx").read_bytes())
    held = {t.name: numpy_helper.to_array(t) for t in stored.graph.initializer}
    matrix = next(v for v in held.values() if v.shape[:1] == (AXES,) and v.ndim == 4 and v.shape[1] > 3 * AXES)
    offset = next(v for v in held.values() if v.shape == (AXES,))
    picture, _, _ = prepared(np.random.default_rng(5).integers(0, 255, (96, SIDE, 3)).astype(np.uint8), np.ones((96, SIDE), bool))
    raw = looks(picture)
    inside = np.ones(raw.shape[1:], bool)
    axes = np.einsum("ac,crk->ark", matrix[:, :, 0, 0].astype(np.float32), raw) + offset[:, None, None]
    told = told_of(axes.astype(np.float32), inside)
    first = next(v for v in held.values() if v.ndim == 4 and v.shape[1] == 3 * AXES).astype(np.float32)
    assert told.shape[0] == first.shape[1] and np.isfinite(told).all()
    import onnxruntime

    graph = onnx.ModelProto()
    graph.CopyFrom(stored)
    joined = next(n.output[0] for n in graph.graph.node if n.op_type == "Concat" and len(n.input) == 3)
    graph.graph.output.append(onnx.helper.make_tensor_value_info(joined, onnx.TensorProto.FLOAT, None))
    session = onnxruntime.InferenceSession(graph.SerializeToString(), providers=["CPUExecutionProvider"])
    inner = session.run([joined], {"looks": raw[None], "inside": inside[None, None].astype(np.float32)})[0][0]
    assert np.allclose(inner, told, atol=2e-2, rtol=1e-2)
