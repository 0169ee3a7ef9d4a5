"""General-purpose image backbone (efficientnet-lite0, ImageNet weights, see models/NOTICE) through ONNX Runtime."""

from __future__ import annotations

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
    """The backbone, loaded once per process (2 threads, arena off so that memory goes back)."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 2
    options.enable_cpu_mem_arena = False
    options.log_severity_level = 3
    return onnxruntime.InferenceSession(files("vision").joinpath("models/backbone.onnx").read_bytes(), options,
                                        providers=["CPUExecutionProvider"])


def maps(pixels: NDArray[np.uint8], outputs: tuple[str, ...] = OUTPUTS) -> dict[str, NDArray[np.float32]]:
    """Backbone outputs of one RGB image (h, w, 3) uint8 whose sides are multiples of 32.

    Returns the asked-for arrays without the batch axis: `s8` (40, h/8, w/8), `s16` (112, h/16, w/16),
    `s32` (320, h/32, w/32), `pooled` (1280,).
    """
    h, w = pixels.shape[:2]
    if h % STRIDE or w % STRIDE or h == 0 or w == 0:
        raise ValueError(f"backbone input sides must be multiples of {STRIDE}, got {w}x{h}")
    x = ((pixels.astype(np.float32) - 127.0) / 128.0).transpose(2, 0, 1)[None]
    return {k: v[0] for k, v in zip(outputs, session().run(list(outputs), {"image": np.ascontiguousarray(x)}), strict=True)}


def embed_batch(crops: NDArray[np.uint8]) -> NDArray[np.float32]:
    """(n, 1280) pooled embeddings of n RGB crops (n, h, w, 3) of one size with sides that are multiples of 32."""
    x = ((crops.astype(np.float32) - 127.0) / 128.0).transpose(0, 3, 1, 2)
    return np.asarray(session().run(["pooled"], {"image": np.ascontiguousarray(x)})[0], dtype=np.float32)


def statistics_batch(crops: NDArray[np.uint8]) -> NDArray[np.float32]:
    """(n, STATISTICS) mean, then standard deviation, of every channel of s8, s16 and s32 over each of n RGB crops.

    Statistics of early maps keep what the last layer, taught to name objects, throws away: texture without layout.
    """
    x = ((crops.astype(np.float32) - 127.0) / 128.0).transpose(0, 3, 1, 2)
    found = session().run(list(STATISTICS_OF), {"image": np.ascontiguousarray(x)})
    return np.concatenate([part for m in found for part in (m.mean(axis=(2, 3)), m.std(axis=(2, 3)))], axis=1).astype(np.float32)
