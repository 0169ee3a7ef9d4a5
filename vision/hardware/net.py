"""What the taught hardware net makes of a panel: at half the size it looks at, how likely each kind is at each place."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from vision.errors import ModelMismatch
from vision.hardware.kinds import SEEN
from vision.resize import fit_within, resize

if TYPE_CHECKING:
    import onnxruntime

FILE = Path(__file__).parents[1] / "models" / "hardware.onnx"
#: Longest side that the net looks at, px; side of a cell of its answer; sides are padded with black to multiples of `STRIDE`.
SIDE, CELL, STRIDE = 512, 2, 32


@dataclass(frozen=True, eq=False)
class HardwareMaps:
    """`chances`: (1 + len(SEEN), rows, cols) float32 that sum to 1, nothing first; `scale`: pixels of the picture given in one
    cell's side."""

    chances: NDArray[np.float32]
    scale: float


@lru_cache(maxsize=1)
def session() -> onnxruntime.InferenceSession:
    """The net, opened once."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 2
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    options.log_severity_level = 3
    try:
        session = onnxruntime.InferenceSession(FILE.read_bytes(), options, providers=["CPUExecutionProvider"])
        if session.get_outputs()[0].shape[1] != 1 + len(SEEN):
            raise ValueError("it was taught other kinds")
        return session
    except Exception as error:  # ONNX Runtime raises types of its own that share no base
        raise ModelMismatch(FILE.name, f"the hardware net is missing or damaged ({error}).", "Reinstall the program.") from error


def look(pixels: NDArray[np.uint8]) -> HardwareMaps:
    """Answers on a picture (h, w, 3) uint8 RGB.

    Raises
    ------
    ModelMismatch
        if the net is missing or damaged.
    """
    h, w = pixels.shape[:2]
    width, height = fit_within(w, h, max_side=SIDE)
    small = resize(pixels, width, height)
    held = np.zeros((-(-height // STRIDE) * STRIDE, -(-width // STRIDE) * STRIDE, 3), np.uint8)
    held[:height, :width] = small
    fed = np.ascontiguousarray(held.transpose(2, 0, 1)[None], np.float32) / np.float32(255)
    found = np.asarray(session().run(["chances"], {"pixels": fed})[0][0], np.float32)
    rows, cols = -(-height // CELL), -(-width // CELL)
    return HardwareMaps(found[:, :rows, :cols], CELL * w / width)
