"""Wood, leaves, prints and cores behave as asked; no renderer needed."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
from scipy.signal import find_peaks

from training.figure import cores
from training.figure.cuts import LEAF_MM, Board, Peeled, cut_leaves, lay_leaves
from training.figure.finish import Finish, apply_finish, paint_coat
from training.figure.log import Log
from training.figure.noise import cell_hash, value_noise
from training.figure.prints import PrintDesign
from training.figure.slabs import WHOLE, LumberSlab, PaintSlab, PrintSlab, VeneerSlab
from training.figure.species import SPECIES


def radial_line(log: Log, texel: float = 0.1) -> np.ndarray:
    """Points running out from the pith along x, as a thin strip."""
    x = np.arange(40.0, 220.0, texel)
    return np.stack(np.broadcast_arrays(x[None, :], np.zeros((2, 1)), np.zeros((2, 1))), axis=-1).astype(np.float32)


@pytest.mark.parametrize("ring", [1.5, 3.0, 5.0])
def test_rings_are_as_wide_as_asked(ring: float) -> None:
    log = Log("pine_like", 4, ring_mm=ring, knots=0, wobble=0.1)
    coordinate = log.cut(radial_line(log), texel=0.1).ring[0]
    assert (coordinate[-1] - coordinate[0]) == pytest.approx(180.0 / ring, rel=0.2)


def test_ring_count_seen_in_the_picture_matches_the_field() -> None:
    log = Log("spruce_like", 9, ring_mm=4.0, knots=0, wobble=0.1)
    fig = log.cut(radial_line(log), texel=0.1)
    grey = np.convolve(fig.rgb[0].mean(axis=1), np.ones(7) / 7, mode="same")[10:-10]
    # scipy's peak finder is the outside judge of how many dark late-wood lines there are
    dark, _ = find_peaks(-grey, prominence=0.05)
    assert abs(len(dark) - (fig.ring[0, -1] - fig.ring[0, 0])) <= 3


def test_face_edge_and_end_meet_at_the_arris() -> None:
    board = Board(Log("red_oak_like", 5, knots=0), 110.0, 0.3, 0.2, (0.004, 0.01), 0.0)
    slab = LumberSlab((120.0, 60.0, 24.0), boards=(board,))
    u, v, t = slab.axes("face", 0.5)
    c = slab.axes("front", 0.5)[1]
    face = slab.raw("face", u, np.r_[-30.0, v], t).ring[0]
    edge = slab.raw("front", u, np.r_[c, 12.0], t).ring[-1]
    end = slab.raw("right", np.r_[-30.0, v], np.r_[c, 12.0], t).ring
    corner = slab.raw("face", np.r_[u, 60.0], np.r_[-30.0, v], t).ring
    assert np.abs(face - edge).max() < 0.08
    assert np.abs(end[-1] - corner[:, -1]).max() < 0.08


def test_another_board_does_not_meet_there() -> None:
    log = Log("red_oak_like", 5, knots=0)
    one, two = (Board(log, d, 0.3, 0.2, (0.0, 0.0), 0.0) for d in (110.0, 140.0))
    slabs = [LumberSlab((120.0, 60.0, 24.0), boards=(b,)) for b in (one, two)]
    u, _, t = slabs[0].axes("face", 0.5)
    face = slabs[0].raw("face", u, np.array([-30.0, -29.5]), t).ring[0]
    edge = slabs[1].raw("front", u, np.array([11.5, 12.0]), t).ring[-1]
    assert np.abs(face - edge).max() > 1.0


def test_leaves_drift_with_slicing_depth() -> None:
    log = Log("walnut_like", 6, ring_mm=3.0, knots=0, wobble=0.2)
    flitch = Board(log, 120.0, 0.0, np.pi / 2 * 0 + 0.0, (0.0, 0.0), 0.0)
    a, b = np.arange(0, 40, 0.5), np.array([-0.5, 0.0, 0.5])
    ring = [
        cut_leaves(flitch, lay_leaves(1.5, 1.5, "single", np.random.default_rng(0), first=k), a, b, texel=0.5).ring.mean()
        for k in (0, 10, 20)
    ]
    # the flitch is cut towards the pith: each leaf lies one leaf thickness deeper
    assert (ring[0] - ring[1]) * 3.0 == pytest.approx(10 * LEAF_MM, rel=0.45)
    assert ring[0] > ring[1] > ring[2]


def test_bookmatched_leaves_mirror_about_their_joint() -> None:
    flitch = Board(Log("walnut_like", 8, knots=0, ring_mm=3.0), 120.0, 0.2, 0.9, (0.0, 0.0), 0.0)
    a, b = np.arange(0, 100, 1.0), np.arange(-59.5, 60, 1.0)
    book = cut_leaves(flitch, lay_leaves(120.0, 60.0, "book", np.random.default_rng(1)), a, b, texel=1.0)
    slip = cut_leaves(flitch, lay_leaves(120.0, 60.0, "slip", np.random.default_rng(1)), a, b, texel=1.0)
    mirrored = np.abs(book.ring[:60] - book.ring[60:][::-1]).mean()
    unmirrored = np.abs(slip.ring[:60] - slip.ring[60:][::-1]).mean()
    assert mirrored < 0.5 < unmirrored


def design(repeat: float = 200.0) -> PrintDesign:
    source = Board(Log("ash_like", 3, knots=0), 100.0, 0.0, 0.1, (0.0, 0.0), 0.0)
    return PrintDesign(source, Finish(), repeat, 300.0, inks=16, screen=0.5, seed=4)


def test_print_comes_back_exactly_after_one_repeat() -> None:
    d = design()
    face = d.face(35.0, 20.0, (40, 500), 1.0).rgb
    assert np.array_equal(face[:, :300], face[:, 200:])
    assert not np.array_equal(face[:, :300], face[:, 150:450])


def test_print_closes_on_itself_without_a_jump() -> None:
    face = PrintDesign(design().source, Finish(), 200.0, 300.0, inks=0, seed=4).face(150.0, 0.0, (60, 100), 1.0).rgb
    step = np.abs(np.diff(face, axis=1)).mean(axis=(0, 2))
    assert step[49] < 2.5 * np.median(step)


@pytest.mark.parametrize("plies", [3, 7, 13])
def test_plywood_edge_shows_its_plies(plies: int) -> None:
    bounds = cores.ply_bounds(18.0, plies, 0.9)
    assert len(bounds) == plies + 1 and bounds[0] == 0 and bounds[-1] == 18.0 and (np.diff(bounds) > 0).all()
    fig = cores.plywood_edge((180, 400), 0.1, plies, 3, face_grain_along=True)
    row = fig.rgb.mean(axis=(1, 2))
    middles = 0.5 * (bounds[1:] + bounds[:-1])
    tone = np.array([row[int(m / 0.1) - 1 : int(m / 0.1) + 2].mean() for m in middles])
    assert (tone[0::2].mean() - tone[1::2].mean()) > 0.05  # long grain is lighter than end grain


def test_even_ply_count_is_refused() -> None:
    with pytest.raises(ValueError, match="odd"):
        cores.ply_bounds(18.0, 4, 0.9)


def test_particle_board_is_coarse_in_the_middle_and_fine_at_the_skins() -> None:
    grey = cores.particle_edge((90, 900), 0.2, 5).rgb.mean(axis=2)

    def grain(rows: np.ndarray) -> float:
        centred = rows - rows.mean(axis=1, keepdims=True)
        return float((centred[:, 4:] * centred[:, :-4]).mean() / (centred**2).mean())

    assert grain(grey[35:55]) > grain(grey[2:12]) + 0.1


def test_fibreboard_is_darker_at_its_faces() -> None:
    row = cores.fibre_edge((90, 300), 0.2, 5).rgb.mean(axis=(1, 2))
    assert row[40:50].mean() > row[:6].mean() * 1.05


def test_window_of_a_side_is_a_piece_of_the_whole() -> None:
    slab = LumberSlab((200.0, 80.0, 20.0), boards=(Board(Log("pine_like", 2, knots=0), 90.0, 0.0, 0.1, (0.0, 0.0), 0.0),))
    whole, part = slab.texture("face", 1.0, WHOLE).ring, slab.texture("face", 1.0, (0.25, 0.5, 0.0, 0.5)).ring
    assert np.abs(whole[:40, 50:100] - part).max() < 0.1
    printed = PrintSlab((200.0, 80.0, 20.0), design=design(), origin=(10.0, 5.0))
    assert np.array_equal(printed.texture("face", 1.0).rgb.shape, (80, 200, 3))


def test_rotary_sheet_follows_the_spiral() -> None:
    peel = Peeled(Log("birch_like", 2, knots=0), 150.0, 0.0, leaf_mm=1.2)
    turn = 2 * np.pi * 150.0
    p = peel.points(np.zeros((1, 1)), np.array([[0.0], [turn]]), np.zeros((1, 1)))
    radius = np.hypot(p[..., 0], p[..., 1])[:, 0]
    assert radius[0] == pytest.approx(150.0, abs=1e-3)
    assert radius[0] - radius[1] == pytest.approx(1.2, rel=0.02)


def test_paint_hides_figure_and_keeps_its_colour() -> None:
    fig = paint_coat((60, 80), (0.5, 0.6, 0.5), "roller", 3, 0.5)
    assert np.abs(fig.rgb.mean(axis=(0, 1)) - [0.5, 0.6, 0.5]).max() < 0.02
    assert fig.rgb.std(axis=(0, 1)).max() < 0.03
    slab = PaintSlab((100.0, 50.0, 18.0), core="fibreboard", edging="painted")
    assert slab.facts()["face"] == "opaque"


def test_stain_darkens() -> None:
    log = Log("ash_like", 3, knots=0)
    fig = log.cut(radial_line(log, 0.5), texel=0.5)
    assert apply_finish(fig, Finish("walnut", 1.0), 0, 0.5).rgb.mean() < 0.8 * fig.rgb.mean()


@pytest.mark.parametrize("name", sorted(SPECIES))
def test_same_seed_same_bytes_and_other_seed_other_bytes(name: str) -> None:
    def digest(seed: int) -> str:
        log = Log(name, seed)
        return hashlib.sha256(log.cut(radial_line(log, 0.5), texel=0.5).rgb.tobytes()).hexdigest()

    assert digest(5) == digest(5) != digest(6)


def test_noise_is_uniform_and_tied_to_its_place() -> None:
    i = np.arange(20000, dtype=np.int32)
    h = cell_hash(7, i, i * 3)
    assert h.min() >= 0 and h.max() < 1 and abs(h.mean() - 0.5) < 0.01 and abs(h.var() - 1 / 12) < 0.003
    assert np.array_equal(h[100:200], cell_hash(7, i[100:200], i[100:200] * 3))
    x = np.linspace(0, 50, 2000, dtype=np.float32)
    assert np.abs(np.diff(value_noise(1, x, x))).max() < 0.2


def test_veneer_facts_name_layout_and_species() -> None:
    flitch = Board(Log("walnut_like", 8), 120.0, 0.2, 0.1, (0.0, 0.0), 0.0)
    slab = VeneerSlab(
        (300.0, 200.0, 18.0),
        core="particle_board",
        edging="raw",
        flitch=flitch,
        layout="book",
        leaves=lay_leaves(200.0, 100.0, "book", np.random.default_rng(1)),
    )
    facts = slab.facts()
    assert facts["face"] == "veneer" and facts["layout"] == "book" and [x[3] for x in facts["leaves"]] == [False, True]
    assert slab.texture("front", 1.0).rgb.shape == (18, 300, 3)
