"""Photo problems: closed-form blur, and synthetic degradations of known size on pictures with known sharpness."""

import cv2
import numpy as np
import pytest
from scipy.special import erf

from tests.vision.intake.photo_files import encoded, written
from vision.intake import load_photo, measure_problems
from vision.intake.compression import blockiness
from vision.intake.distance import no_wood_like_surface, panel_short_side, too_far
from vision.intake.light import glare_mask
from vision.intake.sharpness import edge_blur, measure_sharpness
from vision.types import Photo


def rings(sigma: float, size: int = 480) -> np.ndarray:
    """(size, size) float picture of rings whose edges are steps blurred by exactly `sigma` (error function profile)."""
    y, x = np.mgrid[0:size, 0:size].astype(float)
    radius = np.hypot(x - size / 2, y - size / 2)
    picture = np.full((size, size), 110.0)
    for k, edge in enumerate((50, 100, 150, 200)):
        picture += (1 if k % 2 else -1) * 45 * erf((edge - radius) / (np.sqrt(2) * sigma))
    return picture


def smear(picture: np.ndarray, length: float, angle: float) -> np.ndarray:
    """Box blur of `length` px along `angle` degrees (counter-clockwise on screen)."""
    half = int(length) + 2
    kernel = np.zeros((2 * half + 1, 2 * half + 1), np.float32)
    for t in np.linspace(-length / 2, length / 2, 40 * half):
        kernel[round(half - t * np.sin(np.radians(angle))), round(half + t * np.cos(np.radians(angle)))] += 1
    return cv2.filter2D(picture, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)


def still_life(seed: int = 0, size: int = 720) -> np.ndarray:
    """(size, size, 3) uint8 boards of different tones at many angles with grain: a sharp picture without faults."""
    rng = np.random.default_rng(seed)
    picture = np.full((size, size, 3), (120, 110, 100), np.float32)
    y, x = np.mgrid[0:size, 0:size].astype(np.float32)
    for _ in range(40):
        centre, angle = rng.uniform(0, size, 2), rng.uniform(0, 180)
        box = cv2.boxPoints(((float(centre[0]), float(centre[1])), tuple(rng.uniform(80, 240, 2)), angle))
        mask = np.zeros((size, size), np.uint8)
        cv2.fillPoly(mask, [np.round(box).astype(np.int32)], 1)
        across = x * np.sin(np.radians(angle)) + y * np.cos(np.radians(angle))
        grain = 8 * np.sin(across / rng.uniform(1.5, 3)) + 5 * np.sin(across / 11 + rng.uniform(0, 6))
        tone = rng.uniform(60, 190) * np.array([1.0, 0.8, 0.6])
        picture[mask > 0] = (tone + grain[..., None])[mask > 0]
    picture = cv2.GaussianBlur(picture, (0, 0), 0.7) + rng.normal(0, 2, picture.shape)
    return picture.round().clip(0, 255).astype(np.uint8)


def kinds(pixels: np.ndarray, quality: int | None = None) -> set[str]:
    return {p.kind for p in measure_problems(Photo("p1", "a.jpg", "0" * 64, pixels, jpeg_quality=quality))}


def exposed(pixels: np.ndarray, stops: float) -> np.ndarray:
    """The picture with `stops` more light, clipped as a sensor clips."""
    linear = (pixels / 255.0) ** 2.2 * 2.0**stops
    return (255 * linear.clip(0, 1) ** (1 / 2.2)).round().astype(np.uint8)


SHARP = still_life()


@pytest.mark.parametrize("sigma", [1.2, 2.0, 3.0, 5.0])
def test_edge_blur_of_error_function_edges(sigma):
    blur, _ = edge_blur(rings(sigma).round().astype(np.uint8))
    assert len(blur) > 300 and np.median(blur) == pytest.approx(sigma, rel=0.1)


def test_edge_angle_is_counter_clockwise_on_screen():
    y, x = np.mgrid[0:200, 0:200]
    across = (x * np.cos(np.radians(30)) - y * np.sin(np.radians(30))) - 40
    _, angle = edge_blur((128 + 80 * erf(across / 2)).round().astype(np.uint8))
    assert np.median(angle) == pytest.approx(30, abs=1)


@pytest.mark.parametrize("angle", [0, 45, 90, 120])
def test_smearing_has_a_direction(angle):
    s = measure_sharpness(smear(rings(0.8), 16, angle).round().astype(np.uint8))
    off = abs((s.worst_angle - angle + 90) % 180 - 90)
    assert s.worst > 3 * max(s.best, 0.5) and off < 15


def test_sharp_well_lit_pictures_raise_nothing():
    for seed in range(4):
        assert kinds(still_life(seed), 92) == set()


@pytest.mark.parametrize("sigma", [2.5, 4.0])
def test_focus_blur_is_caught(sigma):
    assert kinds(cv2.GaussianBlur(SHARP, (0, 0), sigma)) == {"focus_blur"}


@pytest.mark.parametrize("angle", [0, 25, 70, 135])
def test_motion_blur_is_caught(angle):
    smeared = smear(SHARP.astype(np.float32), 18, angle).round().clip(0, 255).astype(np.uint8)
    assert kinds(smeared) == {"motion_blur"}


def test_blur_counts_at_the_measuring_scale():
    large = cv2.resize(SHARP, (3600, 3600), interpolation=cv2.INTER_CUBIC)  # 3.6 px blur there, sharp at one megapixel
    assert "focus_blur" not in kinds(large)


def test_an_even_surface_is_no_fault():
    assert kinds(np.full((400, 400, 3), 130, np.uint8)) == set()


def test_exposure():
    assert "underexposed" in kinds(exposed(SHARP, -5))
    assert "overexposed" in kinds(exposed(SHARP, 4))
    assert not kinds(exposed(SHARP, -0.7)) & {"underexposed", "overexposed"}


def test_a_white_backdrop_is_not_overexposure():
    backdrop = np.full((900, 900, 3), 255, np.uint8)
    backdrop[250:650, 200:700] = SHARP[:400, :500]
    assert "overexposed" not in kinds(backdrop)


def test_glare_is_a_soft_white_patch_on_a_darker_surface():
    y, x = np.mgrid[0:500, 0:500]
    board = np.full((500, 500, 3), (130, 95, 60), np.float32) + 6 * np.sin(y / 3)[..., None]
    shine = 600 * np.exp(-(((x - 250) / 90.0) ** 2 + ((y - 200) / 60.0) ** 2))
    shiny = (board + shine[..., None]).clip(0, 255).astype(np.uint8)
    truth = shiny.min(axis=2) >= 238
    found = glare_mask(shiny)
    assert (found & truth).sum() > 0.9 * truth.sum() and (found & ~truth).sum() < 0.1 * truth.sum()
    assert "glare" in kinds(shiny)
    paper = board.copy()
    paper[150:260, 170:330] = 250  # same size, hard rim
    assert "glare" not in kinds(paper.astype(np.uint8))


@pytest.mark.parametrize("quality", [8, 12])
def test_strong_compression_shows_in_the_pixels(tmp_path, quality):
    data = encoded(SHARP, "JPEG", quality=quality)
    photo = load_photo(written(tmp_path, "a.jpg", data), "p1")
    assert {p.kind for p in measure_problems(photo)} >= {"strong_compression"}
    again = load_photo(written(tmp_path, "b.png", encoded(photo.pixels, "PNG")), "p1")  # the file no longer tells
    assert {p.kind for p in measure_problems(again)} >= {"strong_compression"}


def test_blocks_are_found_at_any_offset_and_rise_with_compression(tmp_path):
    def at(quality):
        return load_photo(written(tmp_path, "q.jpg", encoded(SHARP, "JPEG", quality=quality)), "p1").pixels

    values = [blockiness(at(q)) for q in (95, 50, 25, 10)]
    assert values == sorted(values) and values[0] < 1.3 < 1.5 * values[0] < values[-1]
    worst = at(10)
    for shift in (1, 3, 6):
        assert blockiness(worst[shift:, shift:]) == pytest.approx(values[-1], rel=0.15)
    assert np.isnan(blockiness(np.zeros((40, 40, 3), np.uint8))) and np.isnan(blockiness(np.zeros((99, 99, 3), np.uint8)))


def test_smooth_shading_is_not_called_blocks():
    ramp = np.linspace(60, 200, 900)[None, :].repeat(300, axis=0)
    assert blockiness(np.repeat(ramp[..., None], 3, axis=2).round().astype(np.uint8)) < 1.5


def test_texts_tell_what_to_do():
    for p in measure_problems(Photo("p", "f", "0", exposed(SHARP, -6), jpeg_quality=5)):
        assert len(p.text) > 30 and p.text.count(".") >= 2


# --- distance -----------------------------------------------------------------------------------------------------


def full(h, w):
    return np.ones((h, w), bool)


def test_panel_short_side_of_a_turned_rectangle():
    mask = np.zeros((300, 300), np.uint8)
    cv2.fillPoly(mask, [np.round(cv2.boxPoints(((150.0, 150.0), (200.0, 60.0), 30.0))).astype(np.int32)], 1)
    assert panel_short_side(mask > 0) == pytest.approx(60, abs=2.5)
    assert panel_short_side(np.zeros((5, 5), bool)) == 0


def test_too_far():
    board = still_life(1, 300)
    stripes = (120 + 30 * (-1.0) ** np.arange(300)[None, :, None] + np.zeros((300, 300, 3))).astype(np.uint8)
    paint = np.random.default_rng(0).normal(200, 2, (300, 300, 3)).round().astype(np.uint8)
    assert too_far(board, full(300, 300)) is None
    assert too_far(board, full(300, 300), wavelength_px=6.0, mm_per_px=0.2) is None
    assert too_far(board, full(300, 300), wavelength_px=float("nan")) is None
    assert too_far(paint, full(300, 300), wavelength_px=2.0) is None  # plain paint has no grain to resolve
    for case in (
        too_far(board[:40], full(40, 300)),
        too_far(stripes, full(300, 300), wavelength_px=2.0),
        too_far(board, full(300, 300), mm_per_px=2.0),
    ):
        assert case is not None and case.kind == "too_far"


def test_no_wood_like_surface():
    some = np.zeros((40, 40))
    some[:10, :10] = 0.9
    assert no_wood_like_surface(some) is None
    for nothing in (None, np.zeros((0,)), np.full((40, 40), 0.3)):
        assert no_wood_like_surface(nothing).kind == "no_wood_like_surface"
