"""Halve an ONNX file: its large weights are kept as half floats and cast when it is opened."""

from __future__ import annotations

from pathlib import Path

import numpy as np

#: Smaller tensors stay as they are: they weigh nothing, and scales and biases are felt most.
LEAST_VALUES = 512


def halve(path: Path) -> None:
    """Rewrite the file in place; checks it afterwards (onnx.checker raises where it does not hang together)."""
    import onnx
    from onnx import numpy_helper

    model = onnx.load(str(path))
    casts = []
    for held in list(model.graph.initializer):
        values = numpy_helper.to_array(held)
        if values.dtype != np.float32 or values.size < LEAST_VALUES:
            continue
        half = numpy_helper.from_array(values.astype(np.float16), f"{held.name}_half")
        casts.append(onnx.helper.make_node("Cast", [half.name], [held.name], to=onnx.TensorProto.FLOAT))
        model.graph.initializer.remove(held)
        model.graph.initializer.append(half)
    for node in reversed(casts):
        model.graph.node.insert(0, node)
    onnx.checker.check_model(model)
    onnx.save(model, str(path))
