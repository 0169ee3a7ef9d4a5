"""Boundary nets of `training.boundary_net`, each picture given the one that saw neither its author nor its piece."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from training.boundary_net_examples import FOLDS
from training.surface_head import folds
from vision.panels.learned import BoundaryNet, shipped_net


class HeldOutNets:
    """Nets of a folder with boundary_0.onnx and so on; without a folder the shipped net serves for all.

    `authors` and `pieces` must be all that the nets were taught from: the folds are drawn from their sorted names.
    """

    def __init__(self, folder: Path | None, authors: Sequence[str] = (), pieces: Sequence[str] = ()) -> None:
        self._nets = [BoundaryNet.load(folder / f"boundary_{k}.onnx") for k in range(FOLDS)] if folder else []
        self._fold = {**folds(authors, FOLDS), **folds(pieces, FOLDS)} if folder else {}

    def of(self, name: str) -> BoundaryNet:
        """Net for an author or piece."""
        return self._nets[self._fold[name]] if self._nets else shipped_net()


def pieces_of(paths: Sequence[Path]) -> list[str]:
    """Piece of each rendered photo, from its file name (PIECE_NUMBER.json)."""
    return [path.stem.rsplit("_", 1)[0] for path in paths]
