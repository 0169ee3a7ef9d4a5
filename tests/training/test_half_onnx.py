"""Halved files answer nearly as before and are half as large."""

import numpy as np
import onnx
import onnxruntime
from onnx import TensorProto, helper, numpy_helper

from training.half_onnx import LEAST_VALUES, halve


def test_large_weights_are_halved_and_small_ones_kept(tmp_path):
    rng = np.random.default_rng(1)
    large, small = rng.normal(size=(64, 64)).astype(np.float32), rng.normal(size=64).astype(np.float32)
    assert small.size < LEAST_VALUES <= large.size
    graph = helper.make_graph(
        [helper.make_node("MatMul", ["x", "large"], ["y"]), helper.make_node("Add", ["y", "small"], ["z"])], "g",
        [helper.make_tensor_value_info("x", TensorProto.FLOAT, [1, 64])],
        [helper.make_tensor_value_info("z", TensorProto.FLOAT, [1, 64])],
        [numpy_helper.from_array(large, "large"), numpy_helper.from_array(small, "small")])
    path = tmp_path / "net.onnx"
    onnx.save(helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=8), str(path))
    before = path.stat().st_size
    halve(path)
    assert path.stat().st_size < 0.6 * before
    x = rng.normal(size=(1, 64)).astype(np.float32)
    given = onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"]).run(None, {"x": x})[0]
    assert np.allclose(given, x @ large.astype(np.float16).astype(np.float32) + small, atol=1e-4)
