"""Pictures of things that lie on furniture: cards, coins, rulers, and rectangles that are no cards. All made up."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from training.scale_scenes import Layer
from vision.scale.objects import CARD_MM, CARD_RADIUS_MM, CARD_THICKNESS_MM
from vision.scale.sheet import BOARD_MM, COLUMNS, MARKER_MM, ROWS, marker_bits, marker_corners

Pixels = NDArray[np.uint8]
#: Looks of a card.
LOOKS = ("flat", "printed", "photo", "white", "dark", "wood_tone")
#: Rectangles that are no cards: (width, height, corner radius, thickness) mm.
OTHERS = {
    "book": (210.0, 148.0, 0.0, 18.0), "phone": (150.0, 71.0, 10.0, 8.0), "print": (152.0, 102.0, 0.0, 0.3),
    "business_card": (85.0, 55.0, 0.0, 0.3), "tile": (100.0, 100.0, 1.0, 6.0), "box": (66.0, 40.0, 1.0, 12.0),
    "playing_card": (88.9, 63.5, 3.2, 0.3), "label": (70.0, 37.0, 2.0, 0.1), "remote": (160.0, 45.0, 6.0, 15.0),
    "note": (76.0, 76.0, 0.0, 0.1), "switch_plate": (114.0, 70.0, 3.0, 5.0), "envelope": (162.0, 114.0, 0.0, 0.5),
}


def rounded_mask(width: int, height: int, radius: float) -> Pixels:
    """(height, width) uint8 opacity of a rectangle with round corners, anti-aliased; radius in texels."""
    x = np.abs(np.arange(width) + 0.5 - width / 2) - (width / 2 - radius)
    y = np.abs(np.arange(height) + 0.5 - height / 2) - (height / 2 - radius)
    out = np.hypot(np.maximum(x, 0)[None, :], np.maximum(y, 0)[:, None])
    inside = np.maximum(x[None, :], y[:, None])
    distance = np.where(out > 0, out, inside) - radius
    return np.asarray(np.clip(0.5 - distance, 0, 1) * 255 + 0.5, dtype=np.uint8)


def card(rng: np.random.Generator, look: str, ground: Pixels, at: tuple[float, float], angle: float) -> Layer:
    """An ID-1 card of one of LOOKS; 'white', 'dark' and 'wood_tone' are hard on a ground of their own tone."""
    per_mm = 12.0
    w, h = round(CARD_MM[0] * per_mm), round(CARD_MM[1] * per_mm)
    tone = ground.reshape(-1, 3).mean(axis=0)
    if look == "white":
        base = rng.uniform(225, 250) + rng.uniform(-6, 6, 3)
    elif look == "dark":
        base = rng.uniform(18, 60) + rng.uniform(-8, 8, 3)
    elif look == "wood_tone":
        base = tone * rng.uniform(0.75, 1.25) + rng.uniform(-20, 20, 3)
        if np.abs(base - tone).max() < 22:
            base = tone + np.where(rng.random(3) < 0.5, -28.0, 28.0)
    else:
        base = rng.uniform(10, 245, 3)
    face = np.empty((h, w, 3), np.float32)
    face[:] = np.clip(base, 5, 250)
    if look == "photo":
        small = rng.uniform(0, 255, (int(rng.integers(4, 9)), int(rng.integers(6, 13)), 3)).astype(np.float32)
        grow = np.array([[w / small.shape[1], 0, 0], [0, h / small.shape[0], 0]])
        large = cv2.warpAffine(small, grow, (w, h), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
        face[:] = cv2.GaussianBlur(large, (0, 0), 4)
        face += rng.normal(0, 6, face.shape).astype(np.float32)
    if look != "flat" or rng.random() < 0.5:
        _print(face, rng, per_mm)
    rgba = np.dstack([np.clip(face, 0, 255).astype(np.uint8), rounded_mask(w, h, CARD_RADIUS_MM * per_mm)])
    wall = tuple(int(v) for v in np.clip(0.5 * base + 110, 0, 255))
    return Layer(rgba, CARD_MM, at, angle, CARD_THICKNESS_MM, (wall[0], wall[1], wall[2]))


def _print(face: NDArray[np.float32], rng: np.random.Generator, per_mm: float) -> None:
    """Stripe, chip, lines of text and shapes, as cards carry."""
    h, w = face.shape[:2]
    if rng.random() < 0.35:
        y = int(rng.uniform(0.05, 0.15) * h)
        face[y : y + int(12.7 * per_mm)] = rng.uniform(15, 60)
    if rng.random() < 0.5:
        x, y = int(9 * per_mm), int(19 * per_mm)
        cv2.rectangle(face, (x, y), (x + int(12 * per_mm), y + int(10 * per_mm)), (205, 175, 95), -1)
    for _ in range(int(rng.integers(0, 5))):
        colour = tuple(float(v) for v in rng.uniform(0, 255, 3))
        centre = (int(rng.uniform(0, w)), int(rng.uniform(0, h)))
        if rng.random() < 0.5:
            cv2.circle(face, centre, int(rng.uniform(0.05, 0.4) * h), colour, -1, cv2.LINE_AA)
        else:
            end = (int(rng.uniform(0, w)), int(rng.uniform(0, h)))
            cv2.line(face, centre, end, colour, int(rng.uniform(1, 6) * per_mm), cv2.LINE_AA)
    ink = (20.0, 20.0, 20.0) if face.mean() > 120 else (235.0, 235.0, 235.0)
    for k in range(int(rng.integers(0, 4))):
        text = "".join(rng.choice(list("ABCDEFGHKLMNPRSTUVX 0123456789"), int(rng.integers(8, 20))))
        _write(face, text, (int(6 * per_mm), int((34 + 6 * k) * per_mm)), ink)


def _write(face: NDArray[np.float32], text: str, at: tuple[int, int], ink: tuple[float, float, float]) -> None:
    """Text over the picture; OpenCV writes on bytes only."""
    mask = np.zeros(face.shape[:2], np.uint8)
    cv2.putText(mask, text, at, cv2.FONT_HERSHEY_SIMPLEX, 1.6, 255, 4, cv2.LINE_AA)
    face += (mask[..., None] / np.float32(255)) * (np.array(ink, np.float32) - face)


def other(rng: np.random.Generator, kind: str, at: tuple[float, float], angle: float) -> Layer:
    """A rectangle that is no card: one of OTHERS, its sides within 3 % but for those made to a size."""
    mm_w, mm_h, radius, thick = OTHERS[kind]
    if kind in ("book", "box", "label", "tile", "remote"):
        mm_w, mm_h = mm_w * rng.uniform(0.75, 1.3), mm_h * rng.uniform(0.75, 1.3)
    per_mm = 6.0
    w, h = round(mm_w * per_mm), round(mm_h * per_mm)
    face = np.empty((h, w, 3), np.float32)
    face[:] = rng.uniform(10, 245, 3)
    if kind == "phone":
        face[:] = rng.uniform(8, 40)
    _print(face, rng, per_mm)
    rgba = np.dstack([np.clip(face, 0, 255).astype(np.uint8), rounded_mask(w, h, radius * per_mm)])
    return Layer(rgba, (mm_w, mm_h), at, angle, thick)


def coin(rng: np.random.Generator, diameter: float, at: tuple[float, float], thick: float = 2.0) -> Layer:
    """A struck coin: rim, field, relief of blobs, metal colour; two-coloured half of the time."""
    per_mm = 24.0
    n = round(diameter * per_mm)
    y, x = np.mgrid[0:n, 0:n] + 0.5 - n / 2
    r = np.hypot(x, y) / (n / 2)
    metals = [(196, 160, 92), (184, 186, 188), (176, 112, 78)]
    colour = np.array(metals[int(rng.integers(3))], np.float32) * rng.uniform(0.6, 1.05)
    face = np.broadcast_to(colour, (n, n, 3)).astype(np.float32).copy()
    if rng.random() < 0.4:
        face[r < 0.73] = np.array(metals[int(rng.integers(3))], np.float32) * rng.uniform(0.6, 1.05)
    relief = cv2.GaussianBlur(rng.standard_normal((n, n)).astype(np.float32), (0, 0), 0.35 * per_mm)
    relief = relief / relief.std() * (r < 0.85)
    slope = np.gradient(relief, axis=0) + np.gradient(relief, axis=1)
    face *= (1 + np.clip(1.6 * slope, -0.35, 0.35))[..., None]
    ring = np.exp(-(((r - 0.9) / 0.02) ** 2)) * rng.uniform(-0.3, 0.3)
    lit = 0.25 * np.cos(np.arctan2(y, x) - rng.uniform(0, 6.28)) * np.exp(-(((r - 0.97) / 0.03) ** 2))
    face *= (1 + ring + lit)[..., None]
    alpha = np.clip((1 - r) * n / 2 + 0.5, 0, 1) * 255
    rgba = np.dstack([np.clip(face, 0, 255), alpha]).astype(np.uint8)
    wall = tuple(int(v) for v in np.clip(colour * 0.8, 0, 255))
    return Layer(rgba, (diameter, diameter), at, 0.0, thick, (wall[0], wall[1], wall[2]))


def ruler(rng: np.random.Generator, unit: str, at: tuple[float, float], angle: float, length_mm: float = 200.0) -> Layer:
    """A straight ruler with ticks on one edge: 'mm' (1, 5 and 10 mm ticks) or 'inch' (1/16 to 1)."""
    per_mm = 12.0
    wide = 28.0
    w, h = round(length_mm * per_mm), round(wide * per_mm)
    paper = rng.choice(np.array([[240, 238, 230], [235, 215, 60], [205, 207, 210], [225, 195, 150]], np.float32))
    face = np.empty((h, w, 3), np.float32)
    face[:] = paper + rng.normal(0, 4, 3)
    pitch = 1.0 if unit == "mm" else 25.4 / 16
    start = rng.uniform(2, 6)
    for k in range(int((length_mm - 2 * start) / pitch) + 1):
        if unit == "mm":
            long = 8.0 if k % 10 == 0 else 6.0 if k % 5 == 0 else 4.0
        else:
            long = {0: 10.0, 8: 8.0, 4: 6.5, 12: 6.5}.get(k % 16, 5.0 if k % 2 == 0 else 3.5)
        x = (start + k * pitch) * per_mm
        cv2.rectangle(face, (round(x - 0.1 * per_mm), 0), (round(x + 0.1 * per_mm), round(long * per_mm)), (25, 25, 25), -1)
        if k % (10 if unit == "mm" else 16) == 0:
            label = str(k // (10 if unit == "mm" else 16))
            _write(face, label, (round(x - per_mm), round(13 * per_mm)), (25.0, 25.0, 25.0))
    alpha = np.full((h, w), 255, np.uint8)
    return Layer(np.dstack([np.clip(face, 0, 255).astype(np.uint8), alpha]), (length_mm, wide), at, angle, 0.8)


def sheet(at: tuple[float, float], angle: float) -> Layer:
    """The marker sheet as printed on A4, drawn with a white rim of 15 mm."""
    per_mm, rim = 8.0, 15.0
    w, h = round((BOARD_MM[0] + 2 * rim) * per_mm), round((BOARD_MM[1] + 2 * rim) * per_mm)
    face = np.full((h, w, 3), 236, np.uint8)
    side = round(MARKER_MM * per_mm)
    for marker in range(COLUMNS * ROWS):
        x, y = np.round((marker_corners(marker)[0] + rim) * per_mm).astype(int)
        bits = np.where(marker_bits(marker), 28, 236).astype(np.uint8)
        face[y : y + side, x : x + side] = cv2.resize(bits, (side, side), interpolation=cv2.INTER_NEAREST)[..., None]
    alpha = np.full((h, w), 255, np.uint8)
    return Layer(np.dstack([face, alpha]), (w / per_mm, h / per_mm), at, angle, 0.1)


def cover(rng: np.random.Generator, layer: Layer) -> Layer:
    """A finger or cloth over one corner of an object: a soft-edged oval, up to about a sixth of it."""
    n = 300
    y, x = np.mgrid[-1 : 1 : n * 1j, -1 : 1 : n * 1j]
    face = np.empty((n, n, 3), np.float32)
    face[:] = rng.choice(np.array([[198, 150, 120], [120, 82, 62], [60, 70, 96], [170, 170, 165]], np.float32))
    face *= (1 - 0.25 * np.hypot(x, y))[..., None]
    alpha = np.clip((1 - np.hypot(x, y)) * 40, 0, 1) * 255
    size = np.array(layer.mm) * rng.uniform(0.25, 0.45)
    corner = np.array(layer.mm) / 2 * rng.choice([-1.0, 1.0], 2) * rng.uniform(0.85, 1.0)
    at = layer.to_plane[:2, :2] @ corner + layer.to_plane[:2, 2]
    return Layer(np.dstack([face, alpha]).astype(np.uint8), (float(size[0]), float(size[1])), (float(at[0]), float(at[1])),
                 float(rng.uniform(0, 6.3)), 6.0, (120, 90, 75))
