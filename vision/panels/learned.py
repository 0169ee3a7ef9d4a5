"""What a small taught net makes of the working image: where one thing ends and the next begins, and where furniture is."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from vision.errors import ModelMismatch
from vision.panels.cells import Cells
from vision.resize import resize_map

if TYPE_CHECKING:
    import onnxruntime

NET_FILE = "models/boundary.onnx"


@dataclass(frozen=True, eq=False)
class Seen:
    """Answers of the net on a working image of (h, w): `boundary`: (h, w) and `furniture`: (h/4, w/4) float32 0..1."""

    boundary: NDArray[np.float32]
    furniture: NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class BoundaryNet:
    """A loaded net (training/boundary_net.py)."""

    session: onnxruntime.InferenceSession

    @staticmethod
    def load(path: Path | None = None) -> BoundaryNet:
        """The net of a file, or the one that comes with the program."""
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 2
        options.add_session_config_entry("session.intra_op.allow_spinning", "0")
        options.log_severity_level = 3
        try:
            stored = path.read_bytes() if path else files("vision").joinpath(NET_FILE).read_bytes()
            return BoundaryNet(onnxruntime.InferenceSession(stored, options, providers=["CPUExecutionProvider"]))
        except Exception as error:  # ONNX Runtime raises types of its own that share no base
            raise ModelMismatch(str(path or NET_FILE), f"the boundary net is missing or damaged ({error}).",
                                "Reinstall the program.") from error

    def look(self, cells: Cells) -> Seen:
        """Answers on the cells of a photo (their backbone maps are used again)."""
        image = ((cells.pixels.astype(np.float32) - 127.0) / 128.0).transpose(2, 0, 1)
        given = {"image": image, **{name: cells.maps[name] for name in ("s8", "s16", "s32")}}
        boundary, furniture = self.session.run(
            ["boundary", "furniture"], {k: np.ascontiguousarray(v[None], dtype=np.float32) for k, v in given.items()})
        h, w = cells.pixels.shape[:2]
        return Seen(resize_map(boundary[0, 0], w, h), np.asarray(furniture[0, 0], dtype=np.float32))


@lru_cache(maxsize=1)
def shipped_net() -> BoundaryNet:
    """The net that comes with the program, loaded once."""
    return BoundaryNet.load()
