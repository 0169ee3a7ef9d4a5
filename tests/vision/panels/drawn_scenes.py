"""Drawn pictures of simple furniture with known outlines, for the tests of panel finding."""

from __future__ import annotations

import cv2
import numpy as np

from vision.panels import geometry
from vision.types import Photo


def wood(width: int, height: int, tone: tuple[int, int, int], seed: int, *, along: str = "x",
         contrast: float = 1.0) -> np.ndarray:
    """(height, width, 3) uint8 board with streaks and slow waves along one axis."""
    rng = np.random.default_rng(seed)
    w, h = (width, height) if along == "x" else (height, width)
    ys, xs = np.mgrid[0:h, 0:w].astype(np.float32)
    bend = cv2.GaussianBlur(rng.normal(size=(h, w)).astype(np.float32), (0, 0), 60) * 900
    rings = np.sin((ys + bend + 6 * np.sin(xs / 170 + seed)) / 5.5 + np.sin(ys / 37) * 2)
    streaks = cv2.GaussianBlur(rng.normal(size=(h, w)).astype(np.float32), (0, 0), sigmaX=22, sigmaY=0.8) * 9
    value = contrast * (9 * rings + 7 * streaks) + rng.normal(size=(h, w)) * 2
    out = np.clip(np.array(tone, np.float32) + value[..., None] * np.array([1.0, 0.85, 0.6]), 0, 255).astype(np.uint8)
    return out if along == "x" else np.ascontiguousarray(out.transpose(1, 0, 2))


def plain(width: int, height: int, tone: tuple[int, int, int], seed: int, noise: float = 1.5) -> np.ndarray:
    """(height, width, 3) uint8 wall with a soft fall of light and a little noise."""
    rng = np.random.default_rng(seed)
    fall = np.linspace(6, -6, width)[None, :, None] + np.linspace(4, -4, height)[:, None, None]
    return np.clip(np.array(tone) + fall + rng.normal(size=(height, width, 1)) * noise, 0, 255).astype(np.uint8)


class Scene:
    """A picture being drawn; `panels` maps names to outlines (n, 2) in photo pixels."""

    def __init__(self, background: np.ndarray) -> None:
        self.pixels = background.copy()
        self.panels: dict[str, np.ndarray] = {}

    def put(self, name: str, texture: np.ndarray, corners: list[tuple[float, float]]) -> None:
        """Draw a texture onto four corners (clockwise from top left) and remember the outline."""
        h, w = texture.shape[:2]
        quad = np.float32(corners)
        matrix = cv2.getPerspectiveTransform(np.float32([[0, 0], [w, 0], [w, h], [0, h]]), quad)
        size = self.pixels.shape[1], self.pixels.shape[0]
        drawn = cv2.warpPerspective(texture, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        mask = geometry.polygon_mask(quad.astype(float), *size)
        self.pixels[mask] = drawn[mask]
        self.panels[name] = quad.astype(float)

    def line(self, points: list[tuple[float, float]], tone: tuple[int, int, int], thickness: int) -> None:
        """A gap or an arris."""
        cv2.polylines(self.pixels, [np.round(np.array(points)).astype(np.int32)], False, tone, thickness, cv2.LINE_AA)

    def photo(self) -> Photo:
        """The finished photo, slightly soft and with noise."""
        soft = cv2.GaussianBlur(self.pixels, (0, 0), 0.8).astype(np.float32)
        noisy = soft + np.random.default_rng(99).normal(size=soft.shape) * 1.5
        return Photo(id="f1", file="drawn.png", sha256="0", pixels=np.clip(noisy, 0, 255).astype(np.uint8))


def cabinet() -> Scene:
    """A chest with a top, three drawer fronts and a side, seen from the right, before a wall and on a carpet."""
    scene = Scene(plain(1200, 900, (205, 208, 203), 1))
    rng = np.random.default_rng(5)
    floor = np.clip(np.array((96, 99, 108)) + rng.normal(size=(210, 1200, 1)) * 12, 0, 255).astype(np.uint8)
    scene.pixels[690:] = floor
    scene.put("top", wood(700, 300, (176, 124, 78), 2), [(330, 190), (860, 180), (800, 262), (230, 275)])
    scene.put("side", wood(300, 500, (112, 70, 40), 3, along="y"), [(800, 262), (860, 180), (855, 660), (795, 770)])
    tones = [(150, 100, 60), (146, 97, 58), (152, 101, 61)]
    for k, tone in enumerate(tones):
        y0, y1 = 285 + 160 * k, 285 + 160 * k + 148
        scene.put(f"drawer{k + 1}", wood(620, 170, tone, 10 + k), [(236, y0 + 6), (792, y0 - 6), (790, y1 - 4), (238, y1 + 8)])
    for k in range(1, 3):
        y = 285 + 160 * k - 6
        scene.line([(234, y + 7), (795, y - 5)], (30, 18, 10), 9)
    scene.line([(230, 277), (799, 264)], (40, 24, 14), 5)
    scene.line([(797, 264), (793, 772)], (40, 24, 14), 5)
    return scene


def round_top() -> Scene:
    """A round table top on a light floor."""
    scene = Scene(plain(900, 900, (188, 186, 180), 4, noise=4))
    board = wood(900, 900, (164, 108, 62), 21)
    disc = np.zeros((900, 900), np.uint8)
    cv2.ellipse(disc, (450, 430), (330, 210), 0, 0, 360, 1, -1)
    scene.pixels[disc > 0] = board[disc > 0]
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    scene.panels["top"] = np.c_[450 + 330 * np.cos(angle), 430 + 210 * np.sin(angle)]
    return scene


def thick_edge() -> Scene:
    """A board's face and, below it, its pale edge with dark lines, on a dark bench."""
    scene = Scene(plain(1000, 700, (58, 60, 64), 6, noise=3))
    scene.put("face", wood(800, 320, (168, 112, 66), 31), [(150, 160), (860, 150), (900, 420), (100, 430)])
    edge = plain(820, 60, (222, 203, 168), 7)
    for y in range(8, 60, 13):
        edge[y:y + 5] = (176, 148, 108)
    scene.put("edge", edge, [(100, 432), (900, 422), (900, 472), (100, 482)])
    return scene


def overlap(a: np.ndarray, b: np.ndarray, size: tuple[int, int]) -> float:
    """Intersection over union of two polygons on a picture of `size` (width, height)."""
    ma, mb = geometry.polygon_mask(np.asarray(a, float), *size), geometry.polygon_mask(np.asarray(b, float), *size)
    return float((ma & mb).sum() / max(1, (ma | mb).sum()))
