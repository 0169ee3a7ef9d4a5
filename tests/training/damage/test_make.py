"""Drawn panels: same seed same panel, sound ones sound, true regions where the picture changed."""

from __future__ import annotations

import numpy as np
import pytest

from training.damage import make
from training.damage.bases import BASES, Bank, make_base
from training.damage.fields import closed, cloud, ragged
from training.damage.fooling import FOOLERS
from training.damage.marks import UNDER, Work
from training.damage.surface import Surface
from vision.damage.kinds import KINDS, UNDER_SUPPORTS, UNDER_WORDS

BANK = Bank()
SEED = 30


def _work(name: str, seed: int) -> Work:
    rng = np.random.default_rng(seed)
    base = make_base(name, seed, Bank(), rng)
    return Work(
        base,
        Surface(base.colour.copy(), base.relief.copy(), np.full(base.shape, 0.3, np.float32), np.ones(base.shape, np.float32)),
        rng,
    )


def test_every_kind_can_be_drawn_and_has_words() -> None:
    assert set(make.DAMAGES) == set(KINDS)
    assert set(UNDER) == set(UNDER_WORDS) == set(UNDER_SUPPORTS)


def test_same_seed_same_panel_and_sound_panels_have_no_region() -> None:
    first, again = make.make_panel(SEED, Bank(), sound=False), make.make_panel(SEED, Bank(), sound=False)
    assert np.array_equal(first.pixels, again.pixels) and np.array_equal(first.labels, again.labels)
    assert not make.make_panel(SEED, Bank(), sound=True).labels.any()


def test_about_half_are_sound() -> None:
    sound = [not make.make_panel(s, BANK).labels.any() for s in (*range(12, 18), *range(30, 36), *range(48, 66), *range(72, 84))]
    assert 11 <= sum(sound) <= 31


@pytest.mark.parametrize("name", ["painted", "board", "edge_plywood", "edge_particle", "edge_banded"])
def test_damage_changes_the_surface_inside_its_region_only_a_little_outside(name: str) -> None:
    drawn = 0
    for seed in range(2):
        for kind, (draw, _) in make.DAMAGES.items():
            work = _work(name, seed)
            before = work.surface.copy()
            mark = draw(work)
            if mark is None or not mark.mask.any():
                continue
            drawn += 1
            assert mark.kind == kind and mark.mask.shape == work.shape and (mark.shows is None or mark.shows in UNDER)
            change = np.abs(work.surface.colour - before.colour).sum(axis=2) + np.abs(work.surface.height - before.height)
            assert change[mark.mask].mean() > 3 * change[~mark.mask].mean() or kind == "crack"
    assert drawn >= 3


@pytest.mark.parametrize("name", list(FOOLERS))
def test_look_alikes_leave_a_mask_or_nothing(name: str) -> None:
    work = _work("board" if name != "printed_distress" else "painted", 3)
    mask = FOOLERS[name][0](work)
    assert mask is None or (mask.shape == work.shape and mask.dtype == bool)
    assert np.isfinite(work.surface.colour).all()


def test_bases_are_of_their_kind() -> None:
    for name in BASES:
        if name in ("solid", "veneer", "photographed", "printed"):
            continue
        base = make_base(name, 5, Bank(), np.random.default_rng(1))
        assert base.edge == name.startswith("edge") and base.colour.min() >= 0 and base.colour.max() <= 1


def test_cloud_has_unit_spread_and_its_scale() -> None:
    noise = cloud((400, 400), 10, 40, np.random.default_rng(2))
    assert abs(float(noise.mean())) < 0.2 and 0.6 < float(noise.std()) < 1.5
    across, along = (float(np.abs(np.diff(noise, axis=k)).mean()) for k in (0, 1))
    assert across > 2 * along


def test_ragged_shape_has_the_area_of_its_oval() -> None:
    # superellipse of power 1.7 to 3.5: 2.9 to 3.7 times the product of the radii (closed form by gamma functions)
    for seed in range(6):
        inside = ragged((300, 300), 150, 150, 60, 40, np.random.default_rng(seed), rough=0.05) > 0
        assert 2.6 < inside.sum() / (60 * 40) < 4.1


def test_closing_bridges_like_the_definition() -> None:
    from scipy import ndimage

    mask = np.zeros((50, 60), bool)
    mask[20:30, 20:24], mask[20:30, 28:33] = True, True
    both = closed(mask, 3)
    assert ndimage.label(mask)[1] == 2 and ndimage.label(both)[1] == 1  # scipy.ndimage.label counts the parts
    assert not closed(mask[:, 18:], 3)[:, 0].any() or mask[:, 18].any()
