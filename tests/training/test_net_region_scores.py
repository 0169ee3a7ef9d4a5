"""A net in a file is asked as it was taught to be, and its places go through the whole test."""

import numpy as np
import pytest

from tests.vision.net_scene import CORNER, photo_with, view_of
from training.net_deletion import trial
from training.net_region_scores import NetFile, report


@pytest.fixture(scope="module")
def red_net(tmp_path_factory):
    """An ONNX file that sees veneer where a picture is redder than green, and reads the mark of the panel as nothing."""
    import onnx
    from onnx import TensorProto, helper, numpy_helper

    weight = np.zeros((6, 4, 1, 1), np.float32)
    weight[1, 0], weight[1, 1] = 20.0, -20.0
    nodes = [
        helper.make_node("AveragePool", ["crops"], ["cells"], kernel_shape=[32, 32], strides=[32, 32]),
        helper.make_node("Conv", ["cells", "weight"], ["face_map"]),
        helper.make_node("ReduceMean", ["face_map"], ["each"], axes=[2, 3], keepdims=0),
        helper.make_node("ReduceSum", ["each", "zero"], ["sum"], keepdims=0),
        helper.make_node("Add", ["sum", "bias"], ["face"]),
        helper.make_node("Slice", ["face", "zero", "four"], ["core"]),
        helper.make_node("Identity", ["core"], ["view"]),
    ]
    constants = {"weight": weight, "zero": np.zeros(1, np.int64), "four": np.array([4]),
                 "bias": np.array([0.5, 0, -9, -9, -9, -9], np.float32)}
    value = helper.make_tensor_value_info
    graph = helper.make_graph(
        nodes, "red", [value("crops", TensorProto.FLOAT, [4, 4, 224, 224])],
        [value(n, TensorProto.FLOAT, None) for n in ("face", "core", "view", "face_map")],
        [numpy_helper.from_array(v, n) for n, v in constants.items()])
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 13)], ir_version=8)
    path = tmp_path_factory.mktemp("net") / "red.onnx"
    onnx.save(model, path)
    return NetFile(path)


def test_answers_add_up(red_net):
    photo, panel = photo_with([CORNER])
    answer = red_net.answer(photo, view_of(photo, panel))
    assert answer.face_map.shape == (4, 6, 7, 7) and answer.leading() == ("veneer", "solid_wood")
    pair = ("veneer", "solid_wood")
    assert answer.evidence(pair).sum() == pytest.approx(answer.log_odds(pair) + 0.5, abs=1e-4)


def test_its_corner_passes_deletion(red_net):
    found = trial(red_net, *photo_with([CORNER]), "a", np.random.default_rng(0), others=2)
    assert found.kept_from == "" and found.spot.top > found.spot.other + 0.5
    assert "with a marked place on the panel: 1" in "\n".join(report([found]))
