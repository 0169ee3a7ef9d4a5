"""Look-alikes drawn when teaching only, rendered panels to draw on, and a shipped net read back."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import onnxruntime
import pytest

from training.damage.bases import Bank, make_base
from training.damage.make import make_panel
from training.damage.marks import Work
from training.damage.more_fooling import MORE
from training.damage.real_bases import RealPanel
from training.damage.rendered_bases import HELD_OUT, pictures
from training.damage.surface import Surface
from training.damage.warm import convolutions
from vision.damage import net as shipped


def _work(seed: int, name: str = "painted") -> Work:
    rng = np.random.default_rng(seed)
    base = make_base(name, seed, Bank(), rng)
    ones = np.ones(base.shape, np.float32)
    return Work(base, Surface(base.colour.copy(), base.relief.copy(), ones * 0.2, ones.copy()), rng)


@pytest.mark.parametrize("name", sorted(MORE))
def test_each_look_alike_changes_the_picture_where_it_says(name: str) -> None:
    on = "painted" if name not in ("pin_knots", "end_grain") else "solid"
    for seed in (1, 2, 3):
        work = _work(seed, on)
        before, shade = work.surface.colour.copy(), work.surface.shade.copy()
        mask = MORE[name][0](work)
        assert mask is not None and mask.shape == work.shape and mask.dtype == bool
        changed = np.abs(work.surface.colour - before).max(axis=2) + np.abs(work.surface.shade - shade)
        assert work.surface.colour.min() >= 0 and work.surface.colour.max() <= 1.01
        if mask.any() and not mask.all():  # a place outside the panel leaves nothing
            assert changed[mask].mean() > 3 * changed[~mask].mean()


def test_wood_marks_are_not_drawn_on_paint() -> None:
    assert MORE["pin_knots"][0](_work(1)) is None and MORE["end_grain"][0](_work(1)) is None


def test_rendered_panels_change_only_banks_that_hold_them() -> None:
    rng = np.random.default_rng(3)
    grain = np.repeat(rng.integers(60, 200, (200, 1, 3)), 300, axis=1).astype(np.uint8)
    panel = RealPanel(grain, "veneer", "plywood", False, "rendered p1")
    bank = Bank((), 9, (), [panel])
    made = [make_panel(seed, bank, sound=True) for seed in range(600, 624)]
    share = np.mean([p.group == "rendered p1" for p in made])
    assert 0.02 < share < 0.6
    plain = [make_panel(seed, Bank((), 9), sound=True) for seed in (600, 601)]
    again = [make_panel(seed, Bank((), 9, (), []), sound=True) for seed in (600, 601)]
    assert all(np.array_equal(a.pixels, b.pixels) for a, b in zip(plain, again, strict=True))
    assert all(set(p.fools).isdisjoint(MORE) and not p.marks.any() for p in plain)


def test_pieces_that_false_alarms_are_counted_on_are_left_out_whole(tmp_path: Path) -> None:
    for k in range(40):
        told = {"piece": f"p{k // 3}", "twin_group": "twins" if k // 3 in (0, 5) else None}
        (tmp_path / f"p{k // 3:05d}_{k % 3}.json").write_text(json.dumps(told))
    names = [p.stem for p in pictures(tmp_path)]
    held = {k // 3 for k in range(0, 40, HELD_OUT)}
    assert held == {0, 4, 9}
    assert sorted({int(n[:6].lstrip("p")) for n in names}) == sorted(set(range(14)) - held - {5})


def test_a_shipped_file_is_read_back_layer_by_layer() -> None:
    path = Path(shipped.__file__).parents[1] / shipped.NET_FILE
    layers = convolutions(path)
    assert layers[0][0].shape == (16, 7, 3, 3) and layers[-1][0].shape[1:] == (48, 1, 1)
    # the last layer gives one answer a class: as many as the file's two outputs together
    session = onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
    fed = {"picture": np.zeros((1, 3, 32, 32), np.float32), "inside": np.ones((1, 1, 32, 32), np.float32)}
    kinds, under = session.run(["kinds", "under"], fed)
    assert layers[-1][0].shape[0] == kinds.shape[1] + under.shape[1] == len(layers[-1][1])
    assert all(np.isfinite(w).all() and w.dtype == np.float32 for w, _ in layers)
