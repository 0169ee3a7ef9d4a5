"""Rooms filled with household things, and levels that photos have."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.scenes import phone
from training.scenes.clutter import clutter, face_picture
from training.scenes.config import load_settings
from training.scenes.construction import Workshop
from training.scenes.furniture import BUILDERS
from training.scenes.room import MATERIALS, build_room
from training.scenes.shoot import order_pieces


def test_full_rooms_hold_things_that_leave_the_piece_in_view() -> None:
    few = []
    for order in order_pieces(load_settings(), 0, 30):
        shop = Workshop(order.style, order.seed, twin=order.twin)
        piece = BUILDERS[order.kind](shop, np.random.default_rng([order.seed, 101]))
        things = clutter(piece, 100.0, order.seed)
        few.append(len(things))
        w, d, h = piece.size
        for thing in things:
            assert thing.material in MATERIALS
            low, high = thing.corner, thing.corner + thing.x + thing.y + thing.z
            beside = high[0] < -w / 2 or low[0] > w / 2
            behind, above, before = low[1] >= 0, low[2] >= h, high[1] < -d
            assert beside or behind or above or (before and high[2] < 10), (low, high)
    assert min(few) == 0 and 4 <= np.mean(few) <= 14


def test_filling_a_room_leaves_its_light_alone() -> None:
    order = order_pieces(load_settings(), 5, 1)[0]
    piece = BUILDERS[order.kind](Workshop(order.style, order.seed), np.random.default_rng([order.seed, 101]))
    bare, full = build_room(piece, order.seed), build_room(piece, order.seed, full=True)
    assert (full.kelvin, full.ambient, full.flash, len(full.lamps)) == (bare.kelvin, bare.ambient, bare.flash, len(bare.lamps))
    assert len(full.props) >= len(bare.props)


def test_faces_of_things_differ_by_kind() -> None:
    faces = [face_picture(np.random.default_rng(3), kind) for kind in ("spines", "blocks", "lines", "check", "speckle")]
    assert all(f.shape == (128, 128, 3) and f.std() > 4 for f in faces)
    along, down = (np.abs(np.diff(faces[0].astype(int), axis=k)).mean() for k in (1, 0))
    assert along > 2 * down  # spines stand upright


def test_levels_are_drawn_out_and_colour_is_not() -> None:
    rng = np.random.default_rng(2)
    dull = np.kron(rng.uniform(0.18, 0.32, (24, 32, 1)), np.ones((4, 4, 1))) * np.array([1.1, 1.0, 0.9])
    shot = replace(phone.draw_phone(rng, (90, 90), good=True), noise=1e-5, denoise=0.0, sharpen=0.0, vignette=0.0)
    before = phone.expose(dull.astype(np.float32), shot, 1).astype(float)
    after = phone.expose(dull.astype(np.float32), replace(shot, black=30.0, white=225.0), 1).astype(float)

    def spread(p: np.ndarray) -> float:
        return float(np.ptp(np.quantile(p.mean(axis=2), (0.01, 0.99))))

    assert 1.4 * spread(before) < spread(after) < 1.8 * spread(before)

    def colour(p: np.ndarray) -> float:
        return float((p.max(axis=2) - p.min(axis=2)).mean())

    assert abs(colour(after) - colour(before)) < 0.15 * colour(before)
