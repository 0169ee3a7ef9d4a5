"""General-purpose image backbone (efficientnet-lite0, ImageNet weights, see models/NOTICE) through ONNX Runtime."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import onnxruntime

STRIDE = 32
OUTPUTS = ("s8", "s16", "s32", "pooled")
#: Maps whose statistics describe a surface, and the length of that description (mean and spread of every channel).
STATISTICS_OF = ("s8", "s16", "s32")
STATISTICS = 2 * (40 + 112 + 320)


@lru_cache(maxsize=1)
def session() -> onnxruntime.InferenceSession:
    """The backbone, loaded once per process (1 thread: panels are measured two at a time, each core with one of its own).

    The arena is kept: asking the system for every layer's memory anew costs a sixth of the time.
    """
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.log_severity_level = 3
    return onnxruntime.InferenceSession(files("vision").joinpath("models/backbone.onnx").read_bytes(), options,
                                        providers=["CPUExecutionProvider"])


def _run(outputs: Sequence[str], x: NDArray[np.float32]) -> list[NDArray[np.float32]]:
    """The asked-for outputs of (n, 3, h, w) input; layers behind them are not computed."""
    import onnxruntime

    asked = onnxruntime.RunOptions()
    asked.only_execute_path_to_fetches = True
    return list(session().run(list(outputs), {"image": np.ascontiguousarray(x)}, asked))


def maps(pixels: NDArray[np.uint8], outputs: tuple[str, ...] = OUTPUTS) -> dict[str, NDArray[np.float32]]:
    """Backbone outputs of one RGB image (h, w, 3) uint8 whose sides are multiples of 32.

    Returns the asked-for arrays without the batch axis: `s8` (40, h/8, w/8), `s16` (112, h/16, w/16),
    `s32` (320, h/32, w/32), `pooled` (1280,).
    """
    h, w = pixels.shape[:2]
    if h % STRIDE or w % STRIDE or h == 0 or w == 0:
        raise ValueError(f"backbone input sides must be multiples of {STRIDE}, got {w}x{h}")
    x = ((pixels.astype(np.float32) - 127.0) / 128.0).transpose(2, 0, 1)[None]
    return {k: v[0] for k, v in zip(outputs, _run(outputs, x), strict=True)}


def embed_batch(crops: NDArray[np.uint8]) -> NDArray[np.float32]:
    """(n, 1280) pooled embeddings of n RGB crops (n, h, w, 3) of one size with sides that are multiples of 32."""
    x = ((crops.astype(np.float32) - 127.0) / 128.0).transpose(0, 3, 1, 2)
    return np.asarray(_run(["pooled"], x)[0], dtype=np.float32)


def statistics_batch(crops: NDArray[np.uint8]) -> NDArray[np.float32]:
    """(n, STATISTICS) mean, then standard deviation, of every channel of s8, s16 and s32 over each of n RGB crops.

    Statistics of early maps keep what the last layer, taught to name objects, throws away: texture without layout.
    """
    x = ((crops.astype(np.float32) - 127.0) / 128.0).transpose(0, 3, 1, 2)
    found = _run(STATISTICS_OF, x)
    return np.concatenate([part for m in found for part in (m.mean(axis=(2, 3)), m.std(axis=(2, 3)))], axis=1).astype(np.float32)
