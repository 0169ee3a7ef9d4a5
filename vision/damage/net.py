"""What the taught damage net makes of a rectified panel: on cells of 4 pixels, how likely each kind of damage is."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from vision.damage.kinds import KINDS, UNDER_WORDS
from vision.errors import ModelMismatch
from vision.resize import fit_within, resize

if TYPE_CHECKING:
    import onnxruntime

NET_FILE, RULES_FILE = "models/damage.onnx", "models/damage.json"
#: Longest side that the net looks at, pixels; side of a cell of its answer; sides are padded to multiples of `STRIDE`.
SIDE, CELL, STRIDE = 448, 4, 32
#: Grey level of padding and of what lies outside the panel.
BLANK = 127


@dataclass(frozen=True, eq=False)
class DamageMaps:
    """Answers on cells of the looked-at picture. `kinds`: (1 + len(KINDS), rows, cols) float32 that sum to 1, sound first;
    `under`: (len(UNDER_WORDS), rows, cols) float32 that sum to 1; `inside`: (rows, cols) bool, cell on the panel; `scale`:
    working-view pixels in one cell's side."""

    kinds: NDArray[np.float32]
    under: NDArray[np.float32]
    inside: NDArray[np.bool_]
    scale: float


@dataclass(frozen=True, eq=False)
class DamageNet:
    """A loaded net (training/damage_net.py) and its rules (training/damage_fit.py)."""

    session: onnxruntime.InferenceSession
    rules: dict[str, Any]

    @staticmethod
    def load(folder: Path | None = None) -> DamageNet:
        """The net and rules of a folder, or those that come with the program.

        Raises
        ------
        ModelMismatch
            if a file is missing or damaged, or was made for other kinds of damage than this program knows.
        """
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 2
        options.add_session_config_entry("session.intra_op.allow_spinning", "0")
        options.log_severity_level = 3
        rules = read_rules(folder)
        name = str(folder / Path(NET_FILE).name) if folder else NET_FILE
        try:
            stored = _stored(folder, NET_FILE)
            return DamageNet(onnxruntime.InferenceSession(stored, options, providers=["CPUExecutionProvider"]), rules)
        except Exception as error:  # ONNX Runtime raises types of its own that share no base
            raise ModelMismatch(name, f"the damage net is missing or damaged ({error}).", "Reinstall the program.") from error

    def look(self, pixels: NDArray[np.uint8], mask: NDArray[np.bool_]) -> DamageMaps:
        """Answers on a rectified panel: `pixels` (h, w, 3) uint8 RGB, `mask` (h, w) bool."""
        given, held, inside, scale = prepared(pixels, mask)
        fed: dict[str, NDArray[np.float32]] = {
            "picture": np.ascontiguousarray(given.transpose(2, 0, 1)[None].astype(np.float32) / 255),
            "inside": held[None, None].astype(np.float32),
        }
        # asked once more upside down: the mean of both answers is a little better than either
        turned = {name: np.ascontiguousarray(value[..., ::-1, ::-1]) for name, value in fed.items()}
        kinds, under = (np.asarray(part) for part in self.session.run(["kinds", "under"], fed))
        again = [np.asarray(part)[..., ::-1, ::-1] for part in self.session.run(["kinds", "under"], turned)]
        kinds, under = (kinds + again[0]) / 2, (under + again[1]) / 2
        rows, cols = inside.shape
        return DamageMaps(
            np.asarray(kinds[0, :, :rows, :cols], np.float32), np.asarray(under[0, :, :rows, :cols], np.float32), inside, scale
        )


def read_rules(folder: Path | None = None) -> dict[str, Any]:
    """Thresholds and weights of a folder or of the program, checked against the kinds known here."""
    name = str(folder / Path(RULES_FILE).name) if folder else RULES_FILE
    try:
        rules = json.loads(_stored(folder, RULES_FILE))
        known = list(rules["kinds"]) == list(KINDS) and list(rules["under"]) == list(UNDER_WORDS)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise ModelMismatch(
            name, f"the rules of the damage net are missing or damaged ({error}).", "Reinstall the program."
        ) from error
    if not known:
        raise ModelMismatch(
            name,
            "the damage net was taught for other kinds of damage than this program knows.",
            "Teach it anew (python -m training.damage_net, then training.damage_fit) or reinstall the program.",
        )
    return dict(rules)


def _stored(folder: Path | None, name: str) -> bytes:
    return (folder / Path(name).name).read_bytes() if folder else files("vision").joinpath(name).read_bytes()


def prepared(
    pixels: NDArray[np.uint8], mask: NDArray[np.bool_]
) -> tuple[NDArray[np.uint8], NDArray[np.bool_], NDArray[np.bool_], float]:
    """(picture (H, W, 3) uint8, its pixels on the panel (H, W) bool, cells on the panel (rows, cols) bool, working pixels a
    cell): fitted, blanked outside, padded."""
    h, w = mask.shape
    width, height = fit_within(w, h, max_side=SIDE)
    small = resize(pixels, width, height)
    held = resize((mask * np.uint8(255)).astype(np.uint8), width, height) > 127
    rows, cols = -(-height // CELL), -(-width // CELL)
    padded = np.full((-(-height // STRIDE) * STRIDE, -(-width // STRIDE) * STRIDE, 3), BLANK, np.uint8)
    padded[:height, :width] = np.where(held[..., None], small, BLANK)
    full = np.zeros((rows * CELL, cols * CELL), bool)
    full[:height, :width] = held
    inside = full.reshape(rows, CELL, cols, CELL).mean(axis=(1, 3)) >= 0.5
    whole = np.zeros(padded.shape[:2], bool)
    whole[:height, :width] = held
    return padded, whole, np.asarray(inside), CELL * w / width


@lru_cache(maxsize=1)
def shipped_net() -> DamageNet:
    """The net that comes with the program, loaded once."""
    return DamageNet.load()
