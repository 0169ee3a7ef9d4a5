"""Figured wood, crackled coats, corner joints, damage that stays where it is, and phones: each does what its name says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from training.figure.cuts import saw_board
from training.figure.finish import Finish, apply_finish, crackle_map
from training.figure.log import Log
from training.figure.warp import FIGURED, Warp
from training.scenes import phone
from training.scenes.cameras import DELIVERIES, HABITS
from training.scenes.construction import Workshop
from training.scenes.damaged import NAMES, Use, draw_layer
from training.scenes.jointed import draw_corner


def face(kind: str, species: str = "maple_like", cut: str = "flat") -> np.ndarray:
    log = Log(species, 5, figured=kind, knots=0.0)
    board = saw_board(log, cut, np.random.default_rng(3))
    u, v = np.arange(-120, 120, 1.0), np.arange(-90, 90, 1.0)
    return log.cut(board.points(u[None], v[:, None], np.zeros((1, 1))), texel=1.0).rgb.mean(axis=2)


def share_across(picture: np.ndarray) -> float:
    """Energy of change along the grain over that across it, at the size of a curl."""
    small = picture[: 176, : 240].reshape(44, 4, 60, 4).mean(axis=(1, 3))
    return float((np.diff(small, axis=1) ** 2).mean() / (np.diff(small, axis=0) ** 2).mean())


def test_straight_wood_is_not_moved() -> None:
    p = np.random.default_rng(1).normal(0, 50, (5, 6, 3)).astype(np.float32)
    moved, sheen, eyes = Warp("straight", 3)(p, 1.0)
    assert moved is p and sheen is None and eyes is None


def test_curl_runs_across_the_grain_and_burl_has_no_direction() -> None:
    straight, curl, burl = share_across(face("straight")), share_across(face("curl")), share_across(face("burl"))
    assert curl > 2 * straight
    assert 0.4 < burl < 2.5 and straight < 0.4


@pytest.mark.parametrize("kind", sorted(FIGURED))
def test_the_same_trunk_gives_the_same_figure(kind: str) -> None:
    np.testing.assert_array_equal(face(kind), face(kind))


def test_an_unknown_figure_is_refused() -> None:
    with pytest.raises(ValueError, match="curl"):
        Warp("wavy", 1)


def test_crackle_is_a_net_of_thin_lines() -> None:
    net = crackle_map((300, 300), 4, 0.2)
    assert 0.02 < (net > 0.3).mean() < 0.35
    plain = Log("cherry_like", 2).cut(np.zeros((300, 300, 3), np.float32) + 60, texel=0.2)
    cracked = apply_finish(plain, Finish(crackle=1.0), 4, 0.2)
    sound = apply_finish(plain, Finish(), 4, 0.2)
    assert cracked.rgb[net > 0.5].mean() < 0.8 * sound.rgb[net > 0.5].mean()
    np.testing.assert_allclose(cracked.rgb[net == 0], sound.rgb[net == 0])


def test_scuffs_and_cracks_stay_where_they_are_on_a_face() -> None:
    slab = replace(Workshop("solid", 105).slab("top", (600.0, 400.0, 19.0)), finish=Finish(wear=1.0, crackle=1.0))
    bare = replace(slab, finish=Finish())
    window = (0.25, 0.75, 0.5, 1.0)
    whole = slab.texture("face", 2.0).rgb / np.maximum(bare.texture("face", 2.0).rgb, 1e-3)
    part = slab.texture("face", 2.0, window).rgb / np.maximum(bare.texture("face", 2.0, window).rgb, 1e-3)
    assert whole.std() > 0.005
    np.testing.assert_allclose(part, whole[100:, 75:225], atol=0.02)


def test_a_corner_joint_shows_end_grain_at_both_ends_only() -> None:
    slab = Workshop("solid", 101).slab("drawer_side", (420.0, 110.0, 12.0))
    corner = next(c for s in range(40) if (c := draw_corner(slab, np.random.default_rng(s))) and c.kind == "dovetail")
    plain = slab.texture("face", 1.0)
    joined = corner.applied(plain, slab, 1.0, (0.0, 1.0, 0.0, 1.0))
    changed = np.abs(joined.rgb - plain.rgb).max(axis=(0, 2)) > 1e-6
    inner = slice(int(corner.depth) + 3, 420 - int(corner.depth) - 3)
    assert changed[:8].all() and changed[-8:].all() and not changed[inner].any()
    # pins narrow towards the end of the side
    wide = np.abs(joined.rgb - plain.rgb).max(axis=2) > 0.02
    assert wide[:, int(corner.depth) - 2].mean() > wide[:, 1].mean()


def test_damage_stays_in_its_place_whatever_window_is_asked_for() -> None:
    slab = Workshop("veneered", 104).slab("top", (600.0, 400.0, 19.0))
    layer = next(x for s in range(20) if (x := draw_layer(slab, "face", np.random.default_rng(s))) is not None)

    def change(window: tuple[float, float, float, float]) -> np.ndarray:
        plain = slab.texture("face", 2.0, window)
        return layer.applied(plain, slab, "face", 2.0, window).relief - plain.relief

    whole, part = change((0.0, 1.0, 0.0, 1.0)), change((0.25, 0.75, 0.5, 1.0))
    assert np.abs(whole).max() > 0.01
    np.testing.assert_allclose(part, whole[100:, 75:225], atol=1e-5)
    regions = layer.regions(slab.span("face"))
    assert regions and {r["kind"] for r in regions} <= set(NAMES)
    assert all(abs(x) <= 301 and abs(y) <= 201 for r in regions for x, y in r["outline_mm"])


def test_twins_stay_sound_and_some_pieces_are_worn() -> None:
    assert not Use.of(3, twin=True).worn
    share = np.mean([Use.of(s, twin=False).worn for s in range(400)])
    assert 0.3 < share < 0.46


def test_ten_phones_and_small_pictures_for_listings() -> None:
    assert len(HABITS) == 10
    shots = [phone.draw_phone(np.random.default_rng(s), (50, 95)) for s in range(300)]
    assert {s.camera for s in shots} == set(HABITS) and {s.delivery for s in shots} == set(DELIVERIES)
    light = np.random.default_rng(2).uniform(0.1, 0.6, (600, 900, 3)).astype(np.float32)
    small = next(s for s in shots if s.delivery == "thumbnail")
    picture = phone.expose(light, small, 3)
    assert max(picture.shape[:2]) == small.longest <= 480
    large = next(s for s in shots if s.delivery == "camera" and s.shrink == 1.0)
    assert phone.expose(light, large, 3).shape == (600, 900, 3)


def test_local_brightening_lifts_shadows() -> None:
    light = np.full((200, 300, 3), 0.5, np.float32)
    light[:, :100] = 0.05
    shot = phone.draw_phone(np.random.default_rng(1), (90, 90), good=True)
    plain, lifted = phone.expose(light, shot, 1), phone.expose(light, replace(shot, local=0.6), 1)
    gap = lambda p: float(p[:, 200:280].mean()) - float(p[:, 20:80].mean())  # noqa: E731
    assert gap(lifted) < 0.8 * gap(plain)
