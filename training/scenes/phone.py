"""From the light that reaches the lens to the JPEG a phone hands out: blur, noise, denoising, tone, colour, size, quality."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from training.figure.noise import thin_grid, widen
from training.scenes.cameras import DELIVERIES, HABITS, Delivery, Habit
from vision.resize import resize


@dataclass(frozen=True)
class Phone:
    """Settings of one shot. `exposure`: mean tone aimed at (linear); `cast`: white-balance gains; `blur`: lens blur sigma px;
    `motion`: smear length px and `motion_angle` degrees; `noise`: photon-noise strength; `denoise` 0..1; `sharpen` 0..2;
    `vignette` 0..1; `contrast` of the tone curve; `saturation`; `shrink`: final size over sensor size; `quality` JPEG;
    `first_quality`: an earlier JPEG pass before shrinking (0: none); `balance`: share of the lamp's colour that
    white balance takes out; `camera`: key of HABITS, whose `local`, `halo` and `halved` it carries; `delivery`: key of
    DELIVERIES; `longest`: longest side it was then shrunk to, 0 for none; `black`,
    `white`: lightness (0..255) that the darkest and lightest hundredth are drawn out towards, 0 and 0: not at all."""

    exposure: float
    cast: tuple[float, float, float]
    blur: float
    motion: float
    motion_angle: float
    noise: float
    denoise: float
    sharpen: float
    vignette: float
    contrast: float
    saturation: float
    shrink: float
    quality: int
    first_quality: int
    balance: float = 0.75
    camera: str = "plain"
    local: float = 0.0
    halo: float = 1.1
    halved: bool = True
    delivery: str = "camera"
    longest: int = 0
    black: float = 0.0
    white: float = 0.0

    def share(self, width: int, height: int) -> float:
        """Size of the finished picture over that of the sensor (px)."""
        return min(1.0, self.longest / max(width, height)) if self.longest else self.shrink

    def record(self) -> dict[str, object]:
        """Settings for the ground truth."""
        return asdict(self)


def draw_phone(rng: np.random.Generator, quality: tuple[int, int], *, good: bool = False) -> Phone:
    """A shot as people take them; `good`: a steady hand in good light."""
    warm = float(rng.normal(0, 0.06))
    green = float(rng.normal(0, 0.015))
    if good:
        return Phone(
            float(rng.uniform(0.2, 0.26)),
            (1 + warm * 0.4, 1 + green * 0.4, 1 - warm * 0.4),
            0.5,
            0.0,
            0.0,
            0.006,
            0.5,
            0.5,
            0.2,
            0.9,
            1.03,
            1.0,
            90,
            0,
        )
    name = str(rng.choice(sorted(HABITS)))
    habit = HABITS[name]
    carried = str(rng.choice(sorted(DELIVERIES), p=[0.5, 0.25, 0.15, 0.10]))  # camera, listing, message, thumbnail
    return _developed(rng, name, habit, carried, DELIVERIES[carried], quality, warm, green)


def _developed(rng: np.random.Generator, name: str, habit: Habit, carried: str, after: Delivery, quality: tuple[int, int],
               warm: float, green: float) -> Phone:
    """A shot's settings about the habits of its phone."""
    motion = float(rng.exponential(2.4)) if rng.random() < 0.3 else 0.0
    own = int(rng.integers(max(quality[0], habit.quality[0]), max(habit.quality[1], quality[0] + 1) + 1))
    sent = int(rng.integers(after.quality[0], after.quality[1] + 1)) if after.sizes else own
    return Phone(
        exposure=float(np.exp(rng.normal(np.log(0.25), 0.3))),
        cast=(1 + warm + habit.warm, 1 + green, 1 - warm - habit.warm),
        blur=float(0.4 + rng.exponential(0.3)) * habit.blur,
        motion=min(motion, 9.0),
        motion_angle=float(rng.uniform(0, 180)),
        noise=float(np.exp(rng.uniform(np.log(0.0016), np.log(0.012)))) * habit.noise,
        denoise=float(np.clip(habit.denoise + rng.normal(0, 0.15), 0, 1)),
        sharpen=float(np.clip(rng.uniform(0.2, 1.0) * habit.sharpen, 0, 2)),
        vignette=float(rng.uniform(0, 0.45)),
        contrast=float(np.clip(habit.contrast + rng.normal(0, 0.15), 0.7, 1.9)),
        saturation=float(np.clip(habit.saturation + rng.normal(0, 0.06), 0.75, 1.35)),
        shrink=float(rng.choice([1.0, 1.0, 0.85, 0.72])) if not after.sizes else 1.0,
        quality=sent,
        first_quality=own if after.sizes else int(rng.choice([0, 0, 85, 92])),
        balance=float(np.clip(habit.balance + rng.normal(0, 0.12), 0.3, 1.0)),
        camera=name,
        local=float(np.clip(habit.local + rng.normal(0, 0.08), 0, 0.8)) if habit.local else 0.0,
        halo=habit.halo,
        halved=habit.halved,
        delivery=carried,
        longest=int(rng.choice(after.sizes)) if after.sizes else 0,
        black=float(np.clip(rng.gamma(2.2, 6.5), 1, 45)),
        white=float(np.clip(rng.normal(229, 18), 175, 252)),
    )


def expose(
    linear: NDArray[np.float32], phone: Phone, seed: int, light: tuple[float, ...] = (1.0, 1.0, 1.0)
) -> NDArray[np.uint8]:
    """Linear RGB radiance (h, w, 3) to an sRGB photo before JPEG; deterministic in `seed`. `light`: colour of the light."""
    img = np.nan_to_num(np.asarray(linear, dtype=np.float32), nan=0.0, posinf=1e3, neginf=0.0)
    img = np.minimum(img, 60 * float(np.median(img[::4, ::4]) + 1e-3))
    h, w = img.shape[:2]
    yy, xx = np.meshgrid(np.linspace(-1, 1, h, dtype=np.float32), np.linspace(-1, 1, w, dtype=np.float32), indexing="ij")
    img = img * (1 - phone.vignette * 0.35 * (xx**2 + yy**2))[..., None]
    img = np.asarray(cv2.GaussianBlur(img, (0, 0), max(0.3, phone.blur)), dtype=np.float32)
    if phone.motion >= 1.0:
        img = np.asarray(cv2.filter2D(img, -1, _smear(phone.motion, phone.motion_angle)), dtype=np.float32)
    # a phone meters for the middle tones: the gain follows a clipped, centre-weighted mean
    grey = img @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    weight = np.exp(-(xx**2 + yy**2))
    cap = np.quantile(grey[::2, ::2], 0.97)
    img = img * np.float32(phone.exposure / max(float((np.minimum(grey, cap) * weight).sum() / weight.sum()), 1e-5))
    tint = np.maximum(np.array(light, dtype=np.float32) / np.float32(light[1]), 0.05)
    img = img * np.array(phone.cast, dtype=np.float32) * tint ** np.float32(-phone.balance)
    rng = np.random.default_rng([seed, 401])
    sigma = np.sqrt(np.maximum(img, 0) * phone.noise * 0.12 + (phone.noise * 0.18) ** 2)
    img = img + rng.standard_normal(img.shape, dtype=np.float32) * sigma
    if phone.local > 0:
        img = _lifted(img, phone.local)
    tone = _tone(img, phone)
    if phone.white > 0:
        tone = _drawn_out(tone, phone.black / 255, phone.white / 255)
    if phone.denoise > 0.05:
        tone = _denoise(tone, phone)
    if phone.sharpen > 0:
        soft = cv2.GaussianBlur(tone, (0, 0), phone.halo)
        tone = tone + np.float32(phone.sharpen) * np.clip(tone - soft, -0.12, 0.12)
    out = np.clip(tone * 255 + 0.5, 0, 255).astype(np.uint8)
    if phone.first_quality:
        out = decode_jpeg(encode_jpeg(out, phone.first_quality, halved=phone.halved))
    share = phone.share(w, h)
    if share < 1:
        out = resize(out, round(w * share), round(h * share))
    for _ in range(DELIVERIES[phone.delivery].passes):
        out = decode_jpeg(encode_jpeg(out, min(95, phone.quality + 12)))
    return out


def _lifted(img: NDArray[np.float32], strength: float) -> NDArray[np.float32]:
    """Shadows brightened and lights held back by what lies broadly about them, as phones do."""
    h, w = img.shape[:2]
    rows, cols = (np.round(v).astype(int) for v in thin_grid((h, w), 4))
    light = np.log(np.maximum(img[rows][:, cols].mean(axis=2), 1e-4))
    broad = cv2.GaussianBlur(light, (0, 0), 0.04 * max(light.shape)) - light.mean()
    gain = np.exp(widen(np.asarray(broad, dtype=np.float32), (h, w)) * np.float32(-0.6 * strength))
    return np.asarray(img * np.clip(gain, 0.45, 2.6)[..., None], dtype=np.float32)


def _smear(length: float, angle: float) -> NDArray[np.float32]:
    n = int(np.ceil(length)) | 1
    n = max(3, n)
    kernel = np.zeros((n, n), dtype=np.float32)
    c = (n - 1) / 2
    for s in np.linspace(-0.5, 0.5, 8 * n):
        x, y = c + s * length * np.cos(np.deg2rad(angle)), c - s * length * np.sin(np.deg2rad(angle))
        kernel[int(np.clip(round(y), 0, n - 1)), int(np.clip(round(x), 0, n - 1))] += 1
    return kernel / kernel.sum()


def _tone(linear: NDArray[np.float32], phone: Phone) -> NDArray[np.float32]:
    """Soft highlight shoulder, sRGB curve, contrast about the middle, saturation."""
    x = np.maximum(linear, 0) * np.float32(1.0)
    x = np.where(x > 0.6, 0.6 + 0.4 * (1 - np.exp(-(x - 0.6) / 0.4)), x)
    s = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(np.maximum(x, 1e-8), 1 / 2.4) - 0.055)
    mid = 0.46
    s = mid + (s - mid) * (1 + 0.35 * (phone.contrast - 0.8) * (1 - np.abs(2 * s - 1)))
    grey = s.mean(axis=2, keepdims=True)
    return np.clip(grey + (s - grey) * phone.saturation, 0, 1).astype(np.float32)


def _drawn_out(tone: NDArray[np.float32], black: float, white: float) -> NDArray[np.float32]:
    """Levels set so that the darkest and lightest hundredth come to lie at `black` and `white`, at most 1.7 times as steep;
    colour is not drawn out with them."""
    grey = tone.mean(axis=2, keepdims=True)
    low, high = (float(v) for v in np.quantile(grey[::4, ::4], (0.01, 0.99)))
    gain = float(np.clip((white - black) / max(high - low, 1e-3), 0.6, 1.7))
    middle = (low + high) / 2
    # what the steepness held back leaves over is shared by both ends, a third of it at the dark one
    short = (white - black) - gain * (high - low)
    level = (grey - middle) * gain + (black + short / 3 + gain * (high - low) / 2)
    return np.clip(level + (tone - grey) * min(gain, 1.0), 0, 1).astype(np.float32)


def _denoise(tone: NDArray[np.float32], phone: Phone) -> NDArray[np.float32]:
    """Chroma smoothed more than luma, as phones do; luma by an edge-keeping filter."""
    ycc = cv2.cvtColor(tone, cv2.COLOR_RGB2YCrCb)
    strength = phone.denoise
    y = cv2.bilateralFilter(np.ascontiguousarray(ycc[..., 0]), 7, 0.02 + 0.06 * strength, 1.6 + strength)
    ycc[..., 0] = ycc[..., 0] + (y - ycc[..., 0]) * np.float32(0.5 + 0.5 * strength)
    for k in (1, 2):
        ycc[..., k] = cv2.GaussianBlur(ycc[..., k], (0, 0), 0.7 + 1.6 * strength)
    return np.asarray(cv2.cvtColor(ycc, cv2.COLOR_YCrCb2RGB), dtype=np.float32)


def encode_jpeg(rgb: NDArray[np.uint8], quality: int, *, halved: bool = True) -> bytes:
    """JPEG bytes of an RGB picture; `halved`: colour at half size (4:2:0), else in full (4:4:4)."""
    sampling = cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420 if halved else cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444
    ok, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(quality),
                                                     cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling])
    if not ok:
        raise OSError("the picture could not be written as JPEG")
    return data.tobytes()


def decode_jpeg(data: bytes) -> NDArray[np.uint8]:
    """RGB picture of JPEG bytes."""
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    if picture is None:
        raise OSError("not a readable JPEG")
    return np.ascontiguousarray(picture[..., ::-1], dtype=np.uint8)
