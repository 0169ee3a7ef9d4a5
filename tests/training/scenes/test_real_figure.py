"""Real figure on made parts: shown once on boards, opened or slipped on veneer, coming back on prints. Pictures from seeds."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from training.figure.log import Log
from training.figure.pictures import PictureLog, Strip
from training.figure.slabs import LumberSlab, PrintSlab, VeneerSlab
from training.scenes.config import load_settings
from training.scenes.construction import Workshop
from training.scenes.figure_folder import boards_of, mm_per_px, streak_px, write
from training.scenes.furniture import BUILDERS
from training.scenes.real_figure import Pool, load_figures
from training.scenes.shoot import order_pieces


def picture(seed: int, high: int = 120, wide: int = 900) -> np.ndarray:
    """Streaks along x that nowhere repeat."""
    rng = np.random.default_rng(seed)
    field = cv2.GaussianBlur(rng.normal(size=(high, wide)).astype(np.float32), (0, 0), sigmaX=40, sigmaY=1.5)
    grey = np.clip(140 + 30 * field / field.std(), 0, 255)
    return np.stack([grey, 0.8 * grey, 0.6 * grey], axis=2).astype(np.uint8)


@pytest.fixture(scope="module")
def figures() -> list[list[Strip]]:
    return [[Strip(picture(10 * k + j), (1.0, 1.0), f"{k}{j}") for j in range(9)] for k in range(3)]


def shops(figures: list[list[Strip]], styles: tuple[str, ...], count: int = 90) -> list:
    """Pieces of some styles that have real figure to wear."""
    out = []
    for order in order_pieces(load_settings(), 0, count):
        if order.style in styles:
            shop = Workshop(order.style, order.seed, twin=order.twin, figures=figures)
            piece = BUILDERS[order.kind](shop, np.random.default_rng([order.seed, 101]))
            if shop.pool is not None:
                out.append((order, shop, [p.slab for p in piece.parts if isinstance(real(p.slab), PictureLog)]))
    return out


def real(slab: object) -> Log | None:
    """What a slab's figure is read from."""
    if isinstance(slab, LumberSlab):
        return slab.boards[0].log
    if isinstance(slab, VeneerSlab) and slab.flitch is not None:
        return slab.flitch.log
    return slab.design.source.log if isinstance(slab, PrintSlab) and slab.design is not None else None


def test_a_third_of_the_pieces_have_real_figure(figures: list[list[Strip]]) -> None:
    base = Log("pine_like", 1)
    share = np.mean([Pool.of(figures, seed, base) is not None for seed in range(150)])
    assert 0.2 < share < 0.47
    assert Pool.of([], 5, base) is None


def test_no_place_of_a_picture_is_on_two_boards_of_a_piece(figures: list[list[Strip]]) -> None:
    seen = 0
    for _, _, slabs in shops(figures, ("solid",)):
        windows = []
        for slab in slabs:
            limits = [-slab.size[1] / 2, *slab.joints, slab.size[1] / 2]
            for k, board in enumerate(slab.boards):
                half = (limits[k + 1] - limits[k]) / 2
                along, across = board.log.strip.extent
                assert board.across - half >= 0 and board.across + half <= across
                assert slab.size[0] / 2 <= board.z <= along - slab.size[0] / 2
                windows.append((board.log.strip.name, board.across - half, board.across + half))
        for a, b in itertools.combinations(windows, 2):
            assert a[0] != b[0] or a[2] <= b[1] or b[2] <= a[1]
        seen += len(windows)
    assert seen > 20


def test_the_truth_names_the_figure(figures: list[list[Strip]]) -> None:
    for _, _, slabs in shops(figures, ("solid", "veneered", "printed")):
        for slab in slabs:
            facts = slab.facts()
            assert facts["figure_source"] == "real" and facts["figure_hash"] == real(slab).strip.name
            json.dumps(facts)
    plain = Workshop("solid", 4).slab("top", (600.0, 300.0, 20.0))
    assert plain.facts()["figure_source"] == "made" and "figure_hash" not in plain.facts()


def test_prints_come_back_and_boards_do_not(figures: list[list[Strip]]) -> None:
    def alike(grey: np.ndarray, rows: int) -> float:
        return float(np.corrcoef(grey[:-rows].ravel(), grey[rows:].ravel())[0, 1])

    checked = set()
    for _, _, slabs in shops(figures, ("solid", "printed")):
        for slab in slabs:
            if slab.size[1] < 230:
                continue
            plain = replace(slab, finish=replace(slab.finish, wear=0.0, crackle=0.0))
            grey = plain.texture("face", 1.0).rgb.mean(axis=2)
            if isinstance(slab, PrintSlab):
                assert alike(grey, round(slab.design.width_mm)) > 0.8
            else:
                assert max(alike(grey, n) for n in range(60, 130)) < 0.6
            checked.add(type(slab).__name__)
    assert checked == {"LumberSlab", "PrintSlab"}


def test_boards_are_cut_between_their_lines_and_kept_with_their_scale(tmp_path: Path) -> None:
    whole = np.vstack([np.vstack([picture(k, 80, 500), np.full((4, 500, 3), 20, np.uint8)]) for k in range(4)])
    strips = boards_of(whole)
    assert len(strips) == 4 and all(60 <= s.shape[0] <= 80 and s.mean() > 90 for s in strips)
    rows = write([("whole", "somebody", strips, 1.25), ("other", "somebody", [picture(9)], 2.0)], tmp_path)
    again = load_figures(tmp_path)
    assert [len(s) for s in again] == [1, 4] and again[1][0].mm == (1.25, 1.25)
    assert {s.name for strips in again for s in strips} == {r["hash"] for r in rows}


def test_scale_follows_the_streaks() -> None:
    rows = (128 + 60 * np.sin(np.arange(300) * 2 * np.pi / 12))[:, None, None]
    striped = np.broadcast_to(rows, (300, 400, 3)).astype(np.uint8)
    assert streak_px(striped) == pytest.approx(12, rel=0.1)
    assert mm_per_px(striped) * 300 == pytest.approx(260, abs=1)  # 150 mm by its streaks: held to the least extent
