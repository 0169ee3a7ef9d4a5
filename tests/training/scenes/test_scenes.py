"""Scenes, camera, truth and phone; a few tiny renders where Mitsuba is installed."""

from __future__ import annotations

import json
import multiprocessing
import tarfile
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely.geometry import Polygon

from training.scenes import phone, stage
from training.scenes.camera import look, piece_quads, rasterise
from training.scenes.config import draw, load_settings
from training.scenes.furniture import Quad, X, Y, Z
from training.scenes.render import GROUP, finished, main, pack
from training.scenes.samples import SAMPLES
from training.scenes.shoot import build, order_pieces, photograph
from training.scenes.truth import grain_angle, load_truth, outline_of
from vision import registry

SETTINGS = replace(load_settings(), min_panel_px=12, min_panel_width_px=2)


@pytest.fixture(scope="module")
def mi():
    pytest.importorskip("mitsuba")
    return stage.start("scalar_rgb")


def test_orders_are_the_same_however_they_are_asked_for() -> None:
    assert order_pieces(SETTINGS, 0, 30)[12:20] == order_pieces(SETTINGS, 12, 8)


def test_twins_share_all_but_their_construction() -> None:
    orders = order_pieces(SETTINGS, 0, 300)
    groups = [orders[k : k + 3] for k in range(0, 300, 3) if orders[k].twin]
    assert 5 <= len(groups) <= 30
    for group in groups:
        assert {o.seed for o in group} == {group[0].seed} and len({o.twin for o in group}) == 3
        pieces = [build(o)[0] for o in group[:1] + group[2:]]
        assert [p.slab.size for p in pieces[0].parts] == [p.slab.size for p in pieces[1].parts]
        break


def test_samples_stay_out_of_the_training_set() -> None:
    orders = order_pieces(SETTINGS, 0, 3000)
    assert not {s.seed for s in SAMPLES} & {o.seed for o in orders}
    assert not {s.name for s in SAMPLES} & {o.piece for o in orders}


def test_every_part_carries_names_of_the_registry() -> None:
    for order in order_pieces(SETTINGS, 0, 12):
        piece, _ = build(order)
        for part in piece.parts:
            facts = part.slab.facts()
            assert facts["face"] in registry.FACES and facts["core"] in registry.CORES
            assert (facts["face"], facts["core"]) in registry.SUBSTRATE_OF
            assert part.role in registry.ROLES or part.role == "drawer_bottom"


def test_projection_and_homography_agree() -> None:
    camera = look(np.array([300.0, -800.0, 700.0]), np.array([0.0, 0.0, 200.0]), 0.1, 500.0, 320, 240, 900.0)
    quad = Quad(np.array([-100.0, 0.0, 100.0]), X * 200, Z * 150)
    h = camera.homography(quad)
    for s, t in ((0, 0), (200, 0), (120, 70)):
        q = h @ [s, t, 1.0]
        assert q[:2] / q[2] == pytest.approx(camera.project(quad.corner + X * s + Z * t), abs=1e-6)


def test_nearer_rectangle_hides_the_farther() -> None:
    camera = look(np.array([0.0, -500.0, 0.0]), np.zeros(3), 0.0, 200.0, 64, 48, 500.0)
    far = Quad(np.array([-60.0, 100.0, -100.0]), X * 160, Z * 200)
    near = Quad(np.array([0.0, 0.0, -100.0]), X * 200, Z * 200)
    seen = rasterise(camera, [near, far])
    assert seen.index[24, 50] == 0 and seen.index[24, 20] == 1 and seen.index[24, 1] == -1
    assert seen.depth[24, 50] == pytest.approx(500.0) and seen.depth[24, 20] == pytest.approx(600.0)


def test_renderer_sees_the_same_surfaces(mi) -> None:
    # Mitsuba's own shape index is the outside judge of the instance map
    order = next(o for o in order_pieces(SETTINGS, 0, 40) if o.kind == "table")
    piece, _ = build(order)
    quads, owners = piece_quads(piece)
    skins = [stage.Skin(q, part.outward(side), (0.5, 0.5, 0.5), 0.5, 0.3) for q, (part, side) in zip(quads, owners, strict=True)]
    w, d, h = piece.size
    camera = look(np.array([0.6 * w, -2.5 * d - 900, h * 1.6]), np.array([0, -d / 2, h * 0.6]), 0.05, 90.0, 128, 96, 1500.0)
    ours, theirs = rasterise(camera, quads).index, stage.shape_picture(mi, skins, camera)
    assert (ours >= 0).mean() > 0.05
    assert (ours == theirs).mean() > 0.97


def test_texture_rows_and_columns_follow_u_and_v(mi) -> None:
    picture = np.full((40, 80, 3), 30, np.uint8)
    picture[:20, :40] = (250, 30, 30)
    camera = look(np.array([0.0, -300.0, 0.0]), np.zeros(3), 0.0, 80.0, 64, 48, 300.0)
    skin = stage.Skin(Quad(np.array([-80.0, 0.0, -40.0]), X * 160, Z * 80), -Y, picture, 0.9, 0.0)
    light = stage.render(mi, [skin], [], (1, 1, 1), 0.0, camera, spp=8, max_depth=2, seed=1)
    red = light[..., 0] - light[..., 1]
    low_left, low_right, high_left = red[28:31, 14:24].mean(), red[28:31, 40:50].mean(), red[17:20, 14:24].mean()
    assert low_left > 0.3 and low_right < 0.1 and high_left < 0.1


def tiny(mi, order, number: int = 0):
    piece, room = build(order)
    return photograph(mi, order, piece, room, number, SETTINGS, spp=2, long_side=64, view="whole")


def test_a_photo_and_its_truth(mi) -> None:
    order = next(o for o in order_pieces(SETTINGS, 0, 40) if o.kind == "chest" and o.photos)
    shot, again = tiny(mi, order), tiny(mi, order)
    assert shot is not None and again is not None
    assert shot.jpeg == again.jpeg and shot.truth == again.truth and np.array_equal(shot.ids, again.ids)
    picture = phone.decode_jpeg(shot.jpeg)
    assert picture.shape[:2] == shot.ids.shape == (shot.truth["height"], shot.truth["width"])
    assert shot.truth["panels"]
    for panel in shot.truth["panels"]:
        mask = shot.ids == panel["id"]
        drawn = np.zeros(mask.shape, np.uint8)
        cv2.fillPoly(drawn, [np.round(panel["outline"]).astype(np.int32)], 1)
        inside = drawn.astype(bool)
        assert (mask & inside).sum() >= 0.85 * panel["area_px"]
        # outside check of the scale: the window the mask spans in mm, over its size in pixels
        assert 0.2 < np.sqrt(panel["area_px"]) * panel["mm_per_px"] / max(panel["size_mm"]) < 1.2 or panel["view"] != "face"
        assert panel["view"] in registry.VIEWS and panel["role"] in registry.ROLES
    json.dumps(shot.truth, allow_nan=False)


def test_outline_of_a_mask_has_its_area() -> None:
    mask = np.zeros((80, 100), bool)
    mask[20:60, 30:90] = True
    mask[2:5, 2:5] = True
    outline, area = outline_of(mask)
    assert area == 40 * 60
    assert Polygon(outline).area == pytest.approx(39 * 59, rel=0.01)


def test_grain_angle_counts_counter_clockwise_on_screen() -> None:
    facts = {"face": "solid_wood", "edging": "self"}
    assert grain_angle(facts, "face", "face", np.array([1.0, -1.0]), np.zeros(2)) == pytest.approx(45.0)
    assert grain_angle(facts, "end", "left", np.array([1.0, 0.0]), np.zeros(2)) is None
    assert grain_angle({"face": "opaque", "edging": "painted"}, "face", "face", np.array([1.0, 0.0]), np.zeros(2)) is None


def test_phone_is_deterministic_and_each_fault_does_its_part() -> None:
    rng = np.random.default_rng(2)
    light = np.kron(rng.uniform(0.1, 0.9, (24, 32, 3)), np.ones((4, 4, 1))).astype(np.float32)
    base = replace(phone.draw_phone(np.random.default_rng(1), (90, 90), good=True), noise=1e-5, denoise=0.0, sharpen=0.0)
    plain = phone.expose(light, base, 1)
    assert np.array_equal(plain, phone.expose(light, base, 1))

    def detail(p: np.ndarray) -> float:
        return float(np.abs(np.diff(p.astype(float), axis=1)).mean())

    assert detail(phone.expose(light, replace(base, blur=3.0), 1)) < 0.7 * detail(plain)
    assert detail(phone.expose(light, replace(base, motion=9.0), 1)) < 0.8 * detail(plain)
    assert detail(phone.expose(light, replace(base, sharpen=1.2), 1)) > 1.05 * detail(plain)
    assert phone.expose(light, replace(base, exposure=0.1), 1).mean() < plain.mean() - 20
    small = phone.expose(light, replace(base, shrink=0.5), 1)
    assert small.shape == (48, 64, 3)
    assert len(phone.encode_jpeg(plain, 50)) < len(phone.encode_jpeg(plain, 95))


def test_despeckle_takes_single_sparks_and_leaves_highlights() -> None:
    image = np.full((40, 40, 3), 0.2, np.float32)
    image[10, 10] = 50.0
    image[20:34, 20:34] = 5.0
    out = stage.despeckle(image)
    assert out[10, 10].max() < 0.3 and np.allclose(out[24:30, 24:30], 5.0)


def test_command_is_resumable(tmp_path: Path) -> None:
    pytest.importorskip("mitsuba")
    args = [
        "--count",
        "1",
        "--first",
        "3",
        "--out",
        str(tmp_path),
        "--variant",
        "scalar_rgb",
        "--width",
        "48",
        "--spp",
        "1",
        "--workers",
        "1",
    ]
    assert main(args) == 0
    truths = load_truth(tmp_path)
    assert truths and (tmp_path / f"{truths[0]['name']}.jpg").exists() and (tmp_path / f"{truths[0]['name']}_id.png").exists()
    before = (tmp_path / f"{truths[0]['name']}.json").stat().st_mtime_ns
    assert main(args) == 0
    assert (tmp_path / f"{truths[0]['name']}.json").stat().st_mtime_ns == before
    with tarfile.open(pack(tmp_path, tmp_path)[0]) as tar:
        assert f"{truths[0]['name']}.json" in tar.getnames()


def test_unknown_variant_is_refused() -> None:
    with pytest.raises(ValueError, match="unknown variant"):
        stage.start("fast_rgb")


def test_draw_follows_the_weights() -> None:
    rng = np.random.default_rng(0)
    got = [draw(rng, {"a": 3.0, "b": 1.0, "c": 0.0}) for _ in range(400)]
    assert "c" not in got and 0.68 < got.count("a") / 400 < 0.82


def test_parts_cut_at_whole_groups_share_no_twins() -> None:
    orders = order_pieces(SETTINGS, 0, 60 * GROUP)
    assert len({o.piece for o in orders}) == len(orders)
    for cut in range(GROUP, len(orders), GROUP):
        assert not {o.seed for o in orders[:cut]} & {o.seed for o in orders[cut:]}


def test_a_range_of_photos_changes_nothing_else() -> None:
    many = order_pieces(replace(SETTINGS, photos_per_piece=(4, 6)), 0, 40)
    assert {o.photos for o in many} == {4, 5, 6}
    assert [replace(o, photos=1) for o in many] == [replace(o, photos=1) for o in order_pieces(SETTINGS, 0, 40)]


class Results:
    """A pool's results: two come, then a worker has died with the third."""

    def __init__(self) -> None:
        self.left = [("a", 1, ""), ("b", 0, "failed")]

    def next(self, timeout: float) -> tuple[str, int, str]:
        if not self.left:
            raise multiprocessing.TimeoutError
        return self.left.pop(0)


def test_a_lost_worker_does_not_keep_a_run_for_ever() -> None:
    assert [r[0] for r in finished(Results(), lambda: False, patience=0.01)] == ["a", "b"]
    assert list(finished(Results(), lambda: True)) == []
