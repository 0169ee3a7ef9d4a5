"""What a small taught net makes of a laid-out edge: its kind, a seam, one piece or not, and where layers end across it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from vision.edges.canvas import BESIDE, LONG, TALL, TOLD, WIDE, Canvas, as_input, draw_canvas
from vision.edges.frame import EdgeFrame
from vision.edges.kinds import STRIP_KINDS
from vision.errors import ModelMismatch

if TYPE_CHECKING:
    import onnxruntime

NET: Final = Path(__file__).parent.parent / "models" / "edges.onnx"
#: Questions with a yes or no, in the net's order.
ASKS: Final = ("sheet", "seam", "continuous")


@dataclass(frozen=True, eq=False)
class NetAnswer:
    """`kind`: (kinds,) log chances, not yet calibrated; `asks`: (3,) log odds of ASKS; `plies`, `sheets`: (TALL,) 0..1 by
    canvas row, a border between two plies or the inner line of a sheet lies there; `first`, `last`: frame rows shown."""

    kind: NDArray[np.float64]
    asks: NDArray[np.float64]
    plies: NDArray[np.float64]
    sheets: NDArray[np.float64]
    first: int
    last: int

    def frame_row(self, canvas_row: float) -> float:
        """Frame row of a canvas row."""
        return (canvas_row + 0.5) * (self.last - self.first) / TALL - 0.5 + self.first

    def logs(self, question: str) -> NDArray[np.float64]:
        """Log chances of a question's answers (no, yes for ASKS), up to a constant."""
        if question == "kind":
            return self.kind
        half = self.asks[ASKS.index(question)] / 2
        return np.array([-half, half])


def as_answer(kind: NDArray[np.floating], asks: NDArray[np.floating], maps: NDArray[np.floating], first: int,
              last: int) -> NetAnswer:
    """The net's plain output for one edge (kind logits, asks, maps (2, TALL) 0..1) as an answer."""
    k = np.asarray(kind, np.float64)
    k = k - k.max()
    maps = np.asarray(maps, np.float64)
    return NetAnswer(k - np.log(np.exp(k).sum()), np.clip(np.asarray(asks, np.float64), -12, 12), maps[0], maps[1], first, last)


#: Least answer for a sheet's line to be placed, and deepest share of the thickness where one is looked for.
PLACED, DEEPEST = 0.35, 0.3


def sheet_line(net: NetAnswer, top: int, rows: int) -> float | None:
    """Frame row of the inner line of a sheet near the upper border, at most a third of the rows above it; None where the net
    shows none. `top`, `rows`: of the frame's narrow side."""
    at = np.array([net.frame_row(k) for k in range(TALL)])
    near = np.flatnonzero((at > top - 0.3 * rows) & (at < top + DEEPEST * rows))
    if not len(near) or net.sheets[near].max() < PLACED:
        return None
    k = int(near[net.sheets[near].argmax()])
    some = np.arange(max(0, k - 1), min(TALL, k + 2))
    return float((at[some] * net.sheets[some]).sum() / net.sheets[some].sum())


@dataclass(frozen=True, eq=False)
class EdgeNet:
    """A loaded net (training/edge_net.py)."""

    session: onnxruntime.InferenceSession

    def answer(self, frame: EdgeFrame) -> NetAnswer:
        """The net's answer for a laid-out edge."""
        return self.answer_canvas(draw_canvas(frame))

    def answer_canvas(self, canvas: Canvas) -> NetAnswer:
        given = {"strip": as_input(canvas.strip)[None], "arris": as_input(canvas.arris)[None], "told": canvas.told[None]}
        kind, asks, maps = self.session.run(["kind", "asks", "maps"], given)
        return as_answer(kind[0], asks[0], maps[0], canvas.first, canvas.last)


@lru_cache(maxsize=2)
def load_edge_net(path: Path = NET) -> EdgeNet:
    """The stored net.

    Raises
    ------
    ModelMismatch
        if the file is missing or damaged, or was made for other pictures or answers.
    """
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.log_severity_level = 3
    try:
        session = onnxruntime.InferenceSession(path.read_bytes(), options, providers=["CPUExecutionProvider"])
        shapes = {v.name: list(v.shape)[1:] for v in (*session.get_inputs(), *session.get_outputs())}
    except Exception as e:  # ONNX Runtime raises types of its own
        raise ModelMismatch("edge net", f"It cannot be read ({e}).", "Install the program again.") from e
    wanted = {"strip": [3, TALL, WIDE], "arris": [3, 2 * BESIDE, LONG], "told": [TOLD], "kind": [len(STRIP_KINDS)],
              "asks": [len(ASKS)], "maps": [2, TALL]}
    if shapes != wanted:
        raise ModelMismatch("edge net", "It was made for other pictures or answers.", "Install the program again.")
    return EdgeNet(session)
