"""The panel net: a small network taught on rendered and real panels, asked about four pictures of each panel.

It sees the panel's wide surroundings, its close surroundings, the rectified panel and a tile at full resolution, each with a mark
of where the panel is. What it says is one group of numbers among others: the classifier learns from authors the net never saw how
far to believe it. Its evidence adds up over pictures and places (`NetAnswer`). Weights: see models/NOTICE.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from vision import crop_places, looks
from vision.features import Feature
from vision.net_answer import NetAnswer
from vision.panels.geometry import polygon_mask
from vision.registry import CORES, FACES
from vision.resize import resize
from vision.types import GrainField, Photo, WorkingView

if TYPE_CHECKING:
    import onnxruntime

#: Pictures in the order the net reads them.
CROPS = ("wide", "context", "panel", "native")
#: The box of the panel grows by this share of its size on every side.
GROW = {"wide": crop_places.WIDE, "context": looks.GROW}
VIEWS = ("face", "edge", "end", "joint")
OUTPUTS = ("face", "core", "view", "core_visible", "face_map")
GROUP = "net_region"


def _feature(name: str, about: str) -> Feature:
    return Feature(f"net_{name}", GROUP, "nats", f"The panel net {about}")


FEATURES: tuple[Feature, ...] = (
    *(_feature(f"face_{name}", f"for {name} as the face, against the mean of faces.") for name in FACES),
    *(_feature(f"core_{name}", f"for {name} as the core, against the mean of cores.") for name in CORES),
    *(_feature(f"view_{name}", f"for this being a board's {name}, against the mean of views.") for name in VIEWS),
    _feature("core_seen", "for the core being in view, against hidden."),
)

Picture = NDArray[np.uint8]
_DONE: WeakKeyDictionary[WorkingView, tuple[NetAnswer, float] | None] = WeakKeyDictionary()


def crops(photo: Photo, view: WorkingView, side: int = looks.SIDE) -> Picture:
    """(4, side, side, 4) uint8: red, green, blue and the mark (255 on the panel, 0 off it) of each of CROPS."""
    return crops_of(photo.pixels, view, side)


def crops_of(photo: Picture, view: WorkingView, side: int = looks.SIDE) -> Picture:
    """As `crops`, from the pixels (h, w, 3) of the whole photo."""
    return np.stack([*(_surroundings(photo, view, GROW[name], side) for name in ("wide", "context")), _panel(view, side),
                     _native(view, side)])


def _with_mark(pixels: Picture, mark: NDArray[np.bool_]) -> Picture:
    return np.dstack([pixels, mark.astype(np.uint8) * 255])


def _surroundings(photo: Picture, view: WorkingView, grow: float, side: int) -> Picture:
    x0, y0, x1, y1 = looks.surroundings_box((photo.shape[1], photo.shape[0]), view, grow)
    shrink = np.array([side / (x1 - x0), side / (y1 - y0)])
    outline = (np.asarray(view.panel.outline, dtype=np.float64) - [x0, y0] + 0.5) * shrink - 0.5
    return _with_mark(resize(photo[y0:y1, x0:x1], side, side), polygon_mask(outline, side, side))


def _panel(view: WorkingView, side: int) -> Picture:
    mark = resize(view.mask.astype(np.uint8) * 255, side, side) > 127
    return _with_mark(resize(looks.filled(view), side, side), mark)


def _native(view: WorkingView, side: int) -> Picture:
    tile, mark = looks.native_window(view, side)
    return _with_mark(tile, mark)


@lru_cache(maxsize=1)
def session() -> onnxruntime.InferenceSession:
    """The net, loaded once a process; threads as of `vision.backbone.session`."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.log_severity_level = 3
    options.enable_cpu_mem_arena = False  # two panels asked at once would keep 100 MB, and the time is the same without
    return onnxruntime.InferenceSession(files("vision").joinpath("models/panel_net.onnx").read_bytes(), options,
                                        providers=["CPUExecutionProvider"])


def as_input(pictures: Picture) -> NDArray[np.float32]:
    """(4, h, w, 4) uint8 crops as the net reads them: (4, 4, h, w) float32 in -1..1."""
    return np.ascontiguousarray(((pictures.astype(np.float32) - 127.0) / 128.0).transpose(0, 3, 1, 2))


def asked(pictures: Picture) -> tuple[NetAnswer, float]:
    """What the net says of four crops, and its log odds that the core is in view."""
    face, core, view, seen, places = session().run(list(OUTPUTS), {"crops": as_input(pictures)})
    return NetAnswer(face, core, view, places, CROPS), float(seen[0] - seen[1])


def answer(view: WorkingView) -> NetAnswer | None:
    """The net's answer on a panel, asked once a view; None where the whole photo is not at hand."""
    found = _asked_once(view)
    return found[0] if found is not None else None


def _asked_once(view: WorkingView) -> tuple[NetAnswer, float] | None:
    if view not in _DONE:
        _DONE[view] = None if view.photo_pixels is None else asked(crops_of(view.photo_pixels, view))
    return _DONE[view]


def numbers(face: NDArray[np.float32], core: NDArray[np.float32], view: NDArray[np.float32], seen: float) -> dict[str, float]:
    """Feature values from logits: (6,), (4,), (4,) and the log odds that the core is in view."""
    values = [v for logits in (face, core, view) for v in (logits.astype(np.float64) - float(np.mean(logits))).tolist()]
    return dict(zip((f.name for f in FEATURES), [*values, seen], strict=True))


def measure(view: WorkingView, field: GrainField | None) -> dict[str, float]:
    """The net's numbers of one panel (names of FEATURES); nan where the whole photo is not at hand."""
    found = _asked_once(view)
    if found is None:
        return {f.name: float("nan") for f in FEATURES}
    said, seen = found
    return numbers(said.face, said.core, said.view, seen)
