"""What a small taught net makes of a panel: where mirror axes, joints and the centre lie, and which layout it may be."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from vision.errors import ModelMismatch
from vision.layouts.canvas import CHANNELS, TALL, WIDE, Canvas
from vision.layouts.layout import LAYOUTS

if TYPE_CHECKING:
    import onnxruntime

NET_FILE = "models/layouts.onnx"
#: Canvas px a cell of the maps.
CELL = 4
#: Wedge counts the net tells apart; 0 where there are none.
WEDGES = (0, 6, 8, 10, 12, 14, 16, 18, 20)


@dataclass(frozen=True, eq=False)
class Seen:
    """Answers of the net. `name` (layouts,) and `wedges` (len(WEDGES),): logarithms of probabilities, names in the order
    of LAYOUTS. Maps (TALL / 4, WIDE / 4) float32: `axis`, `seam` (axes among them) and `centre` 0..1, `way` (2, ...):
    cosine and sine of twice the direction of the nearest axis, counter-clockwise on the canvas."""

    canvas: Canvas
    name: NDArray[np.float64]
    wedges: NDArray[np.float64]
    axis: NDArray[np.float32]
    way: NDArray[np.float32]
    seam: NDArray[np.float32]
    centre: NDArray[np.float32]


def _log_shares(logits: NDArray[np.float32]) -> NDArray[np.float64]:
    x = np.asarray(logits, np.float64).ravel()
    return np.asarray(x - x.max() - np.log(np.exp(x - x.max()).sum()))


@dataclass(frozen=True, eq=False)
class LayoutNet:
    """A loaded net (training/layout_net.py)."""

    session: onnxruntime.InferenceSession

    @staticmethod
    def load(path: Path | None = None) -> LayoutNet:
        """The net of a file, or the one that comes with the program.

        Raises
        ------
        ModelMismatch
            if the file is missing or damaged, or does not answer for this canvas and these layouts.
        """
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.log_severity_level = 3
        try:
            stored = path.read_bytes() if path else files("vision").joinpath(NET_FILE).read_bytes()
            session = onnxruntime.InferenceSession(stored, options, providers=["CPUExecutionProvider"])
        except Exception as error:  # ONNX Runtime raises types of its own that share no base
            raise ModelMismatch(str(path or NET_FILE), f"the layout net is missing or damaged ({error}).",
                                "Reinstall the program.") from error
        shapes = {o.name: o.shape for o in session.get_outputs()}
        wanted = {"name": [1, len(LAYOUTS)], "wedges": [1, len(WEDGES)], "maps": [1, 5, TALL // CELL, WIDE // CELL]}
        if shapes != wanted or [i.shape for i in session.get_inputs()] != [[1, CHANNELS, TALL, WIDE]]:
            raise ModelMismatch(str(path or NET_FILE), "the layout net answers for another canvas or other layouts.",
                                "Reinstall the program.")
        return LayoutNet(session)

    def look(self, canvas: Canvas) -> Seen:
        """Answers on a canvas."""
        name, wedges, maps = self.session.run(["name", "wedges", "maps"], {"canvas": np.ascontiguousarray(canvas.channels[None])})
        m = np.asarray(maps[0], np.float32)
        return Seen(canvas, _log_shares(name), _log_shares(wedges), m[0], m[1:3], m[3], m[4])


@lru_cache(maxsize=1)
def shipped_net() -> LayoutNet:
    """The net that comes with the program, loaded once."""
    return LayoutNet.load()
