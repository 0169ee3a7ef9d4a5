"""Drawn panels made by many processes while the net is taught: memory that all share, filled as panels get ready."""

from __future__ import annotations

import mmap
import multiprocessing
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.damage.cells import to_cells, weights
from training.damage.make import Panel, make_panel
from training.damage.match import on_grid
from training.damage.parts import bank_of, seed_of
from vision.damage.net import CELL, SIDE, prepared

GRID = SIDE // CELL


@dataclass(frozen=True, eq=False)
class Store:
    """Room for n panels. `pictures`: (n, SIDE, SIDE, 4) uint8, RGB and 255 inside the panel; `truth`: (n, 3, GRID, GRID)
    uint8 of each cell: kind, what shows beneath, weight in sixteenths (0 outside); `ready`: (n,) uint8."""

    pictures: NDArray[np.uint8]
    truth: NDArray[np.uint8]
    ready: NDArray[np.uint8]

    @staticmethod
    def of(count: int) -> Store:
        """Empty room that processes forked later share."""

        def room(*shape: int) -> NDArray[np.uint8]:
            return np.frombuffer(mmap.mmap(-1, int(np.prod(shape))), np.uint8).reshape(shape)

        return Store(room(count, SIDE, SIDE, 4), room(count, 3, GRID, GRID), room(count))


def lesson(panel: Panel) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """(picture (SIDE, SIDE, 4), truth (3, GRID, GRID)) of a panel, at the size that the net looks at, top left."""
    given, held, inside, _ = prepared(panel.pixels, np.ones(panel.labels.shape, bool))
    kinds, known = to_cells(on_grid(panel.labels))
    under, _ = to_cells(on_grid(panel.under))
    fools = np.zeros(kinds.shape, bool)
    for mask in panel.fools.values():
        fools |= to_cells(on_grid(mask.astype(np.uint8)))[0] > 0
    rows, cols = kinds.shape
    picture = np.full((SIDE, SIDE, 4), 127, np.uint8)
    picture[: given.shape[0], : given.shape[1], :3] = given
    picture[..., 3] = 0
    picture[: given.shape[0], : given.shape[1], 3] = held * np.uint8(255)
    truth = np.zeros((3, GRID, GRID), np.uint8)
    truth[:, :rows, :cols] = np.stack([kinds, under, weights(kinds, known, fools, inside)])
    return picture, truth


def _fill(store: Store, first: int, step: int, photos: Path) -> None:
    cv2.setNumThreads(1)
    bank = bank_of("teach", photos, None)
    # six neighbours share one surface: a process makes them one after the other
    for block in range(first, len(store.ready) // 6, step):
        for number in range(6 * block, 6 * block + 6):
            picture, truth = lesson(make_panel(seed_of("teach", number), bank))
            store.pictures[number], store.truth[number] = picture, truth
            store.ready[number] = 1


def start(store: Store, photos: Path, workers: int) -> list[multiprocessing.process.BaseProcess]:
    """Processes that fill the store; they end when it is full or when they are terminated."""
    context = multiprocessing.get_context("fork")
    out: list[multiprocessing.process.BaseProcess] = []
    for k in range(workers):
        process = context.Process(target=_fill, args=(store, k, workers, photos), daemon=True)
        process.start()
        out.append(process)
    return out
