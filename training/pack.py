"""Write a fitted classifier into the two files that the program loads: experts.onnx and classifier.json.

The ONNX graph takes `values` (n, features) float32 with nan for missing and one `look_<crop>` (n, length) float32 a crop, and
gives, for each question, (n, experts, classes) log probabilities, and `distance` (n,). No code travels in either file.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import onnx
from numpy.typing import NDArray
from onnx import TensorProto, helper, numpy_helper

from training.config_file import Config, ExpertSettings
from training.experts import CLIP, Expert
from training.fit import Fitted, columns
from training.tables import Projection, Table, crops
from vision.inference import joint
from vision.inference.model import EXPERTS, FORMAT, TABLES, TARGETS

OPSET = 17
EVEN = "even"


class _Graph:
    """Nodes and constants of a graph under construction; names are made up in order."""

    def __init__(self) -> None:
        self.nodes: list[Any] = []
        self.constants: list[Any] = []

    def constant(self, value: NDArray[np.generic] | float | Sequence[int], kind: type = np.float32) -> str:
        name = f"c{len(self.constants)}"
        self.constants.append(numpy_helper.from_array(np.ascontiguousarray(np.asarray(value, dtype=kind)), name))
        return name

    def add(self, op: str, inputs: Sequence[str], output: str | None = None, **attributes: Any) -> str:
        name = output or f"n{len(self.nodes)}"
        self.nodes.append(helper.make_node(op, list(inputs), [name], **attributes))
        return name


def _design(g: _Graph, expert: Expert, at: list[int]) -> str:
    """The graph of `training.experts.Preparation.__call__`."""
    p = expert.preparation
    assert p is not None
    x = g.add("Gather", ["values", g.constant(at, np.int64)], axis=1)
    missing = g.add("IsNaN", [x])
    filled = g.add("Where", [missing, g.constant(p.median), x])
    z = g.add("Div", [g.add("Sub", [filled, g.constant(p.median)]), g.constant(p.scale)])
    z = g.add("Clip", [z, g.constant(-CLIP), g.constant(CLIP)])
    square = g.add("Div", [g.add("Mul", [z, z]), g.constant(CLIP)])
    parts = [z, square]
    if len(p.marked):
        marks = g.add("Cast", [missing], to=TensorProto.FLOAT)
        parts.append(g.add("Gather", [marks, g.constant(p.marked, np.int64)], axis=1))
    return g.add("Concat", parts, axis=1)


def _expert(g: _Graph, expert: Expert, settings: ExpertSettings, projected: dict[str, str], at: list[int]) -> str:
    """(n, 1, classes) log probabilities of one expert."""
    if settings.crops:
        order = [c for c in settings.crops]
        x = projected[order[0]] if len(order) == 1 else g.add("Concat", [projected[c] for c in order], axis=1)
    else:
        x = _design(g, expert, at)
    scores = g.add("Add", [g.add("MatMul", [x, g.constant(expert.coef)]), g.constant(expert.bias)])
    return g.add("Unsqueeze", [g.add("LogSoftmax", [scores], axis=1), g.constant([1], np.int64)])


def graph(fitted: Fitted, projection: Projection, config: Config, table: Table) -> onnx.ModelProto:
    """The experts as one ONNX model; `table` gives the order of features."""
    g = _Graph()
    projected = {}
    for i, crop in enumerate(crops()):
        u = g.add("Div", [g.add("Sub", [f"look_{crop}", g.constant(projection.mean[i])]), g.constant(projection.scale[i])])
        projected[crop] = g.add("MatMul", [u, g.constant(projection.basis[i])])
    for target in TARGETS:
        pairs = zip(config.experts, fitted.experts[target], strict=True)
        found = [_expert(g, e, s, projected, columns(table, s)) for s, e in pairs]
        g.add("Concat", found, target, axis=1)
    lead = [g.add("Slice", [projected[c], g.constant([0], np.int64), g.constant([config.distance_dims], np.int64),
                            g.constant([1], np.int64)]) for c in crops()]
    z = g.add("Concat", lead, axis=1)
    z = g.add("Div", [g.add("Sub", [z, g.constant(fitted.centre)]), g.constant(fitted.spread)])
    # The looks of taught panels helped make the projection, so along these directions panels never seen lie a little farther.
    z = g.add("MatMul", [z, g.constant(fitted.directions / config.distance_unseen)])
    mean = g.add("ReduceMean", [g.add("Mul", [z, z])], axes=[1], keepdims=0)
    g.add("Sqrt", [mean], "distance")
    inputs = [helper.make_tensor_value_info("values", TensorProto.FLOAT, ["n", len(table.names)])]
    length = projection.mean.shape[1]
    inputs += [helper.make_tensor_value_info(f"look_{c}", TensorProto.FLOAT, ["n", length]) for c in crops()]
    shapes: dict[str, list[str | int | None]] = {t: ["n", len(config.experts), len(c)] for t, c in TARGETS.items()}
    outputs = [helper.make_tensor_value_info(t, TensorProto.FLOAT, shape) for t, shape in shapes.items()]
    outputs.append(helper.make_tensor_value_info("distance", TensorProto.FLOAT, ["n"]))
    made = helper.make_model(helper.make_graph(g.nodes, "experts", inputs, outputs, g.constants),
                             opset_imports=[helper.make_opsetid("", OPSET)], producer_name="grainassay")
    made.ir_version = 9
    onnx.checker.check_model(made)
    return made


def _named(names: Sequence[str], values: NDArray[np.float64]) -> dict[str, float]:
    return dict(zip(names, (float(v) for v in values), strict=True))


def tables_of(fitted: Fitted, config: Config, schema: str, basis: str, experts: bytes) -> dict[str, Any]:
    """Everything but the experts, as `vision.inference.model` reads it."""
    priors = {
        "reference": {t: _named(TARGETS[t], fitted.priors[t]) for t in ("face", "view", "core_visible")},
        EVEN: {t: dict.fromkeys(TARGETS[t], 1 / len(TARGETS[t])) for t in ("face", "view", "core_visible")},
    }
    body = {
        "format": FORMAT, "feature_schema": schema, "basis": basis, "real_specimens": fitted.specimens,
        "experts_sha256": hashlib.sha256(experts).hexdigest(), "looks": {"names": list(crops())},
        "targets": {t: {"classes": list(c), "experts": [s.name for s in config.experts],
                        "weights": [float(w) for w in fitted.weights[t]]} for t, c in TARGETS.items()},
        "kinds": {s.name: s.kind for s in config.experts}, "priors": priors,
        "core_table": [[float(v) for v in row] for row in fitted.core_table],
        "distance": {"limit": fitted.limit, "quantiles": [float(q) for q in fitted.quantiles]},
        "sets": {"level": config.level, **fitted.sets},
        "rule": asdict(fitted.rule),
    }
    digest = hashlib.sha256(json.dumps(body, sort_keys=True).encode()).hexdigest()[:8]
    return {"id": f"panels-{digest}", **body}


def write(folder: Path, fitted: Fitted, projection: Projection, config: Config, table: Table, basis: str) -> dict[str, Any]:
    """Write both files into `folder`; returns the JSON tables."""
    folder.mkdir(parents=True, exist_ok=True)
    experts = graph(fitted, projection, config, table).SerializeToString(deterministic=True)
    tables = tables_of(fitted, config, table.schema, basis, experts)
    (folder / EXPERTS).write_bytes(experts)
    (folder / TABLES).write_text(json.dumps(tables, indent=1) + "\n", encoding="utf-8")
    return tables


def impossible(table: NDArray[np.float64]) -> bool:
    """Whether a table of cores under faces gives weight to a pair that cannot exist."""
    return bool((table[~joint.POSSIBLE] > 0).any())
