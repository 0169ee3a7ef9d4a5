"""The grain field against closed forms and against two outside implementations of the structure tensor."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage.feature import structure_tensor as skimage_tensor
from structure_tensor import structure_tensor_2d

from tests.vision.grain.scenes import across, grating, grid, long_grain, profile, straight, to_u8
from vision.grain import GrainParams, grain_field
from vision.grain.metric import angle_difference, rms_error
from vision.types import GrainField

ANGLES = (0.0, 3.0, 11.0, 22.5, 37.0, 45.0, 58.0, 71.0, 90.0, 101.0, 133.0, 160.0, 178.0)


def interior(field: GrainField, px: float = 32) -> np.ndarray:
    k = int(px / field.step)
    out = np.zeros(field.valid.shape, bool)
    out[k:-k, k:-k] = True
    return out & field.valid


def error(image: np.ndarray, angle: float, **kwargs: object) -> float:
    field = grain_field(image, **kwargs)  # type: ignore[arg-type]
    return rms_error(field.angle, angle, interior(field))


def jpeg(image: np.ndarray, quality: int) -> np.ndarray:
    return cv2.imdecode(cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], cv2.IMREAD_GRAYSCALE)


def rms(values: list[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


@pytest.mark.parametrize("wavelength", [3, 4, 6, 10, 20])
def test_clean_gratings_within_a_tenth_of_a_degree(wavelength: float) -> None:
    # source: the closed form of the grating itself
    assert rms([error(grating(wavelength, a), a) for a in ANGLES]) <= 0.1


def noisy(image: np.ndarray, seed: int, sd: float) -> np.ndarray:
    return to_u8(image + np.random.default_rng(seed).normal(0, sd, image.shape))


@pytest.mark.parametrize("pores", [(1.0,), (1.5, 4.0), (3.0,)])
def test_noise_of_half_the_signal(pores: tuple[float, ...]) -> None:
    errors = [error(noisy(long_grain(a, i, pores), 50 + i, 10), a) for i, a in enumerate(ANGLES[::2])]
    assert rms(errors) <= 0.7


@pytest.mark.parametrize("pores", [(1.0,), (1.5, 4.0), (3.0,)])
def test_strong_jpeg(pores: tuple[float, ...]) -> None:
    errors = [error(jpeg(to_u8(long_grain(a, i, pores)), 30), a) for i, a in enumerate(ANGLES[::2])]
    assert rms(errors) <= 0.7


def outside_angle(a_rr: np.ndarray, a_rc: np.ndarray, a_cc: np.ndarray) -> np.ndarray:
    """Direction along the grain in degrees, counter-clockwise on screen, of a tensor given in row/column order."""
    normal = 0.5 * np.degrees(np.arctan2(2 * a_rc, a_cc - a_rr))
    return np.mod(90 - normal, 180)


def at_cells(image: np.ndarray, field: GrainField) -> np.ndarray:
    rows, cols = field.angle.shape
    at = np.rint((np.arange(max(rows, cols)) + 0.5) * field.step - 0.5).astype(int)
    return image[np.ix_(at[:rows], at[:cols])]


@pytest.mark.parametrize("angle", [0.0, 22.5, 45.0, 71.0, 133.0])
def test_agrees_with_outside_tensors_on_long_waves(angle: float) -> None:
    # sources: scikit-image feature.structure_tensor (3x3 Sobel, so long waves) and the structure-tensor package
    image = grating(12, angle)
    field = grain_field(image)
    inner = interior(field)
    theirs = outside_angle(*skimage_tensor(image.astype(np.float64), sigma=8, order="rc"))
    assert rms_error(field.angle, at_cells(theirs, field), inner) < 0.5
    s = structure_tensor_2d(image.astype(np.float64), sigma=1.0, rho=8.0)
    # its order is (rr, cc, rc)
    theirs = outside_angle(s[0], s[2], s[1])
    assert rms_error(field.angle, at_cells(theirs, field), inner) < 0.1


def test_at_least_as_accurate_as_outside_tensors() -> None:
    # sources as above; fine waves, noise and JPEG, each library given the same integration scale
    ours, skimage, package = [], [], []
    for i, a in enumerate((11.0, 37.0, 58.0, 101.0, 160.0)):
        for image in (grating(3, a), noisy(long_grain(a, i, (1.5, 4.0)), i, 10), jpeg(to_u8(long_grain(a, i, (3.0,))), 30)):
            field = grain_field(image)
            inner = interior(field)
            ours.append(rms_error(field.angle, a, inner))
            one = outside_angle(*skimage_tensor(image.astype(np.float64), sigma=8, order="rc"))
            skimage.append(rms_error(at_cells(one, field), a, inner))
            s = structure_tensor_2d(image.astype(np.float64), sigma=1.0, rho=8.0)
            package.append(rms_error(at_cells(outside_angle(s[0], s[2], s[1]), field), a, inner))
    assert rms(ours) <= rms(skimage)
    assert rms(ours) <= rms(package)


def test_energy_is_the_mean_squared_gradient() -> None:
    # closed form: amplitude^2 k^2 exp(-k^2 sigma^2) / 2 for a wave under a Gaussian of sigma 1
    k = 2 * np.pi / 12
    field = grain_field(grating(12, 30, amplitude=40))
    assert np.median(field.energy[interior(field)]) == pytest.approx(40**2 * k**2 * np.exp(-(k**2)) / 2, rel=0.02)


@pytest.mark.parametrize("wavelength", [3.0, 5.0, 8.0, 12.0, 18.0, 25.0, 35.0])
def test_wavelength_of_gratings(wavelength: float) -> None:
    field = grain_field(grating(wavelength, 37))
    assert np.nanmedian(field.wavelength[interior(field)]) == pytest.approx(wavelength, rel=0.04)


def test_a_full_size_grid_keeps_direction_and_wavelength() -> None:
    x, y = grid(700, 1500)
    image = to_u8(128 + 28 * np.sin(2 * np.pi * across(x, y, 25) / 9))
    field = grain_field(image)
    assert field.step == 8 and field.angle.shape == (88, 188)
    inner = interior(field, 48)
    assert rms_error(field.angle, 25, inner) < 0.1
    assert np.nanmedian(field.wavelength[inner]) == pytest.approx(9, rel=0.04)


def test_bent_grain_follows_the_level_lines() -> None:
    # closed form: the level lines of sqrt(x^2 + y^2) are circles
    x, y = grid(320, 320)
    image = to_u8(128 + profile(np.hypot(x + 200, y - 200), 4))
    field = grain_field(image)
    at = (np.arange(80) + 0.5) * 4 - 0.5
    truth = np.degrees(np.arctan2(-at[:, None] - 200, at[None] + 200)) + 90
    assert rms_error(field.angle, truth, interior(field)) < 1.5


def test_wrap_and_range() -> None:
    for a in (0.0, 179.9):
        field = grain_field(grating(7, a))
        assert field.angle.dtype == np.float32 and float(field.angle.min()) >= 0 and float(field.angle.max()) < 180
        assert np.abs(angle_difference(field.angle[interior(field)], a)).max() < 0.5


def test_flat_and_noise_have_little_coherence() -> None:
    flat = grain_field(np.full((120, 160), 77, np.uint8))
    assert float(flat.coherence.max()) < 0.05 and np.isnan(flat.wavelength).all()
    noise = grain_field(noisy(np.full((240, 320), 128.0), 1, 20))
    assert float(np.median(noise.coherence)) < 0.25


def test_mask_keeps_foreign_gradients_out() -> None:
    image = to_u8(straight(20, 3))
    image[:, 160:] = grating(5, 110, 320, amplitude=100)[:, 160:]
    mask = np.zeros(image.shape, bool)
    mask[:, :160] = True
    field = grain_field(image, mask=mask)
    assert not field.valid[:, 48:].any()
    near = field.valid & (np.arange(80)[None] < 42)
    near[:4], near[-4:] = False, False
    assert near[:, 36:40].any()
    assert rms_error(field.angle, 20, near) < 2.0


def test_glare_is_left_out() -> None:
    image = to_u8(straight(0, 5))
    clean = grain_field(image)
    burnt = image.copy()
    cv2.circle(burnt, (160, 160), 30, 255, -1)
    field = grain_field(burnt)
    assert not field.valid[38:42, 38:42].any()
    assert rms_error(field.angle, clean.angle, field.valid & interior(field)) < 1.0


def test_pale_highlight_on_a_coloured_surface_is_left_out() -> None:
    grain = straight(0, 5) - 40
    rgb = to_u8(np.dstack([grain + 30, grain, grain - 40]))
    cv2.circle(rgb, (160, 160), 24, (236, 234, 230), -1)
    field = grain_field(rgb)
    assert not field.valid[39:41, 39:41].any()
    assert field.valid[:30].all()


def test_one_hard_edge_does_not_speak_for_its_neighbourhood() -> None:
    image = straight(0, 9, sd=10.0)
    edged = image.copy()
    edged[:, 160:] -= 110
    field = grain_field(to_u8(np.clip(edged + 60, 0, 245)))
    beside = np.zeros(field.valid.shape, bool)
    beside[8:-8, 45:48] = True
    beside[8:-8, 33:36] = True
    assert rms_error(field.angle, 0, beside) < 3.0
    uncapped = grain_field(to_u8(np.clip(edged + 60, 0, 245)), params=GrainParams(edge_cap=1e6))
    assert rms_error(field.angle, 0, beside) <= rms_error(uncapped.angle, 0, beside)


def test_parameters_travel_as_json() -> None:
    params = GrainParams(sigmas=(1.0, 3.0), rho=5.0)
    assert GrainParams.from_json(params.to_json()) == params
    with pytest.raises(ValueError):
        GrainParams(sigmas=(2.0, 1.0))
    with pytest.raises(TypeError):
        GrainParams.from_json('{"sigma": 1}')


@pytest.mark.parametrize("shape", [(1, 1), (5, 40), (33, 47), (64, 3)])
def test_odd_sizes(shape: tuple[int, int]) -> None:
    field = grain_field(np.random.default_rng(0).integers(0, 255, shape, dtype=np.uint8))
    assert field.angle.shape == (-(-shape[0] // 4), -(-shape[1] // 4))
    assert np.isfinite(field.angle).all() and np.isfinite(field.coherence).all()


def test_wrong_input_is_refused() -> None:
    with pytest.raises(ValueError, match="uint8"):
        grain_field(np.zeros((10, 10), np.float32))  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="size"):
        grain_field(np.zeros((10, 10), np.uint8), mask=np.ones((9, 10), bool))


def test_transposing_the_picture_mirrors_the_angle() -> None:
    image = to_u8(long_grain(30, 2, (1.5, 4.0)))
    one, two = grain_field(image), grain_field(np.ascontiguousarray(image.T))
    assert rms_error(two.angle.T, 270 - one.angle, interior(one)) < 0.01
