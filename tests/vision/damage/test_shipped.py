"""The net that comes with the program, on drawn panels of seeds that no part uses: what it finds and what it leaves alone."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np
import pytest
from numpy.typing import NDArray
from sklearn.metrics import roc_auc_score

from training.damage.bases import Bank
from training.damage.make import Panel as Drawn
from training.damage.make import make_panel
from training.damage.match import answers, truth_of
from training.damage_fit import Seen
from training.damage_scores import kept_regions
from vision.damage.find import find_damage
from vision.damage.kinds import KINDS
from vision.damage.net import CELL, shipped_net
from vision.types import Panel, WorkingView

#: Seed of a panel on which a kind is drawn and must be found: clear cases, so that a net gone wrong is noticed.
CLEAR = {
    "lifted_face": 999_980_022,
    "chip": 999_980_104,
    "worn_through": 999_980_104,
    "delaminated_ply": 999_980_024,
    "flaking_finish": 999_980_008,
    "water_mark": 999_980_090,
    "mould": 999_980_036,
    "insect_holes": 999_980_054,
    "crack": 999_980_004,
    "crumbled": 999_980_166,
    "lifted_banding": 999_980_080,
    "scratch": 999_980_166,
    "burn": 999_980_088,
    "stain": 999_980_168,
    "swollen_edge": 999_970_164,
}
#: Seeds of sound panels, drawn with what looks like damage.
SOUND = tuple(range(999_980_001, 999_980_046, 2))


@lru_cache(maxsize=1)
def bank() -> Bank:
    return Bank((), 9)


def seen_of(panel: Drawn) -> Seen:
    return Seen(truth_of(panel), shipped_net().look(panel.pixels, np.ones(panel.labels.shape, bool)))


def view_of(pixels: NDArray[np.uint8]) -> WorkingView:
    mask = np.ones(pixels.shape[:2], bool)
    return WorkingView(Panel("a", "p", ((0, 0), (10, 0), (10, 10))), pixels, mask, np.eye(3), 1.0, pixels, mask, (0, 0))


def test_files_are_small() -> None:
    assert sum(len(files("vision").joinpath(f"models/damage.{kind}").read_bytes()) for kind in ("onnx", "json")) < 2_200_000


def test_answers_are_shares_on_cells_of_the_panel() -> None:
    pixels = np.random.default_rng(0).integers(60, 200, (120, 300, 3)).astype(np.uint8)
    maps = shipped_net().look(pixels, np.ones((120, 300), bool))
    assert maps.kinds.shape[1:] == (30, 75) == maps.inside.shape and maps.scale == pytest.approx(CELL)
    assert np.allclose(maps.kinds.sum(axis=0), 1, atol=1e-3) and np.allclose(maps.under.sum(axis=0), 1, atol=1e-3)


def test_a_picture_upside_down_gets_the_same_answer_upside_down() -> None:
    pixels = np.random.default_rng(2).integers(60, 200, (96, 320, 3)).astype(np.uint8)
    mask = np.ones((96, 320), bool)
    net = shipped_net()
    straight, turned = net.look(pixels, mask), net.look(np.ascontiguousarray(pixels[::-1, ::-1]), mask)
    assert np.allclose(straight.kinds, turned.kinds[:, ::-1, ::-1], atol=2e-3)


@pytest.mark.parametrize("kind", list(KINDS))
def test_a_clear_case_of_each_kind_is_found(kind: str) -> None:
    seen = seen_of(make_panel(CLEAR[kind], bank(), sound=False))
    true = [t for t in seen.truth.regions if t.kind == kind]
    found = [r for r, _ in kept_regions(seen, shipped_net().rules) if r.kind == kind]
    assert true and any(answers(f.cells, t.cells) > 0 for f in found for t in true)


def test_what_looks_like_damage_is_mostly_left_alone() -> None:
    there, called, regions = 0, 0, 0
    for seed in SOUND:
        seen = seen_of(make_panel(seed, bank(), sound=True))
        found = [r for r, _ in kept_regions(seen, shipped_net().rules)]
        regions += len(found)
        for cells in seen.truth.fools.values():
            if cells.any():
                there += 1
                called += any((cells & r.cells).any() for r in found)
    assert there >= 15 and called <= 0.1 * there  # look-alikes of all sorts
    assert regions <= 0.12 * len(SOUND)  # and sound panels stay sound


def test_damaged_cells_stand_out() -> None:
    # scikit-learn's area under the curve over all cells
    said, true = [], []
    for seed in (999_999_030, 999_999_031, 999_999_032, 999_999_033):
        seen = seen_of(make_panel(seed, bank(), sound=False))
        damaged = np.zeros(seen.maps.inside.shape, bool)
        for region in seen.truth.regions:
            damaged |= region.cells
        known = ~seen.truth.unknown & seen.maps.inside
        said.append(1 - seen.maps.kinds[0][known])
        true.append(damaged[known])
    assert roc_auc_score(np.concatenate(true), np.concatenate(said)) > 0.9


def test_a_plain_painted_panel_is_sound() -> None:
    pixels = np.full((300, 420, 3), (206, 200, 188), np.uint8)
    noise = np.random.default_rng(1).normal(0, 1.5, pixels.shape)
    assert find_damage(view_of(np.clip(pixels + noise, 0, 255).astype(np.uint8))) == ()
