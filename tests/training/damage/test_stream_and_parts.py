"""Lessons that the net is taught from, real pictures carried to another machine, and the split by photographer."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from training.composites.figures import Figure
from training.damage.bases import Bank, make_base
from training.damage.make import CODE_UNKNOWN, make_panel
from training.damage.parts import PARTS, part_of_group, pictures_of, seed_of
from training.damage.real_bases import RealPanel, carried, carry
from training.damage.stream import GRID, Store, lesson
from vision.damage.net import CELL, SIDE


def test_a_lesson_holds_the_panel_and_its_truth_in_one_corner() -> None:
    panel = next(p for p in (make_panel(s, Bank((), 9), sound=False) for s in range(30, 60)) if (p.labels > 0).any())
    picture, truth = lesson(panel)
    assert picture.shape == (SIDE, SIDE, 4) and truth.shape == (3, GRID, GRID)
    on = picture[..., 3] == 255
    h, w = (int(on.any(axis=a).sum()) for a in (1, 0))
    assert on[:h, :w].all() and not on[h:].any() and not on[:, w:].any()
    assert h / w == pytest.approx(panel.labels.shape[0] / panel.labels.shape[1], rel=0.03)
    assert (picture[..., :3][~on] == 127).all()
    rows, cols = -(-h // CELL), -(-w // CELL)
    assert not truth[2, rows:].any() and not truth[2, :, cols:].any()  # nothing weighs outside
    kinds = set(np.unique(panel.labels)) - {0, CODE_UNKNOWN}
    assert set(np.unique(truth[0])) - {0} <= kinds


def test_a_store_is_empty_and_can_be_written() -> None:
    store = Store.of(2)
    assert not store.ready.any() and store.pictures.shape == (2, SIDE, SIDE, 4)
    store.ready[1] = 1
    assert store.ready.sum() == 1


def test_photographers_are_split_once_and_for_all() -> None:
    names = [f"author {k}" for k in range(300)]
    parts = [part_of_group(n) for n in names]
    assert parts == [part_of_group(n) for n in names] and set(parts) == set(PARTS)
    assert 0.45 < parts.count("report") / 300 < 0.75
    assert len({seed_of(p, n) for p in PARTS for n in (0, 1, 99_999)}) == 9


def test_what_is_carried_comes_back(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    smooth = np.repeat(np.repeat(np.repeat(rng.integers(60, 190, (20, 30, 1)), 10, 0), 10, 1), 3, 2).astype(np.uint8)
    figures = [Figure(smooth, "author 1", "one", "plain")]
    panels = [RealPanel(smooth, "veneer", "plywood", False, "author 2"), RealPanel(smooth, "not_wood", "unknown", True, "a3")]
    carry(tmp_path / "teach", figures, panels)
    back, real = carried(tmp_path / "teach")
    assert [f.group for f in back] == ["author 1"] and [(p.face, p.sound_only) for p in real] == [
        ("veneer", False),
        ("not_wood", True),
    ]
    assert np.abs(back[0].pixels.astype(int) - smooth).mean() < 3
    there = pictures_of("teach", tmp_path, None)
    assert len(there[0]) == 1 and len(there[1]) == 2


def test_nothing_is_drawn_on_what_is_only_ever_sound(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("training.damage.make.BASES", {"real": 1.0})
    plain = np.full((200, 300, 3), 120, np.uint8)
    only, drawn_on = (RealPanel(plain, face, "unknown", sound, "a") for face, sound in (("not_wood", True), ("veneer", False)))
    base = make_base("real", 1, Bank((), 9, [only]), np.random.default_rng(0))
    assert base.sound_only and base.group == "a"
    for panel, hurt in ((only, False), (drawn_on, True)):
        made = [make_panel(seed, Bank((), 9, [panel]), sound=False) for seed in range(8)]
        assert {p.base for p in made} == {"real"} and any(p.labels.any() for p in made) == hurt
