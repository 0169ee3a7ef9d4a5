"""A picture and its truth by name and seed; the same name and seed always give the same picture.

Order of the world: surface and what is in it, turned as it happens to stand, light, view, lens, pixels, noise, JPEG, then the
rectifying that the program does itself, with corners a little wrong (training.composites.camera).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from training.composites.camera import Shot, photograph
from training.figure.finish import to_bytes
from training.joints.kinds import SHOWN, TRAPS
from training.joints.patterns import PATTERNS
from training.joints.scenes import FINER, SCENES, Scene
from training.joints.traps import TRAPS as TRAP_SCENES
from training.joints.truth import GapTruth, RoundTruth, Truth, moved
from vision.resize import resize


@dataclass(frozen=True, eq=False)
class JointPicture:
    pixels: NDArray[np.uint8]
    truth: Truth


def _shot(rng: np.random.Generator) -> Shot:
    """From square on and sharp to oblique, dim and badly coded: an ordinary phone's spread (assumed)."""
    oblique = rng.random() < 0.4
    return Shot(quality=(60, 95), noise=(1.0, 4.0), corner_error=float(rng.uniform(0.001, 0.012)),
                light=float(rng.uniform(0.02, 0.35)), gloss=float(rng.uniform(0.2, 0.9)) if rng.random() < 0.15 else 0.0,
                blur=float(rng.uniform(0, 1.2)) if rng.random() < 0.5 else 0.0,
                tilt=float(rng.uniform(15, 38)) if oblique else 4.0)


def _in_pixels(scene: Scene, name: str, seed: int) -> Truth:
    """Truth in pixels of the drawn picture."""
    s = 1.0 / scene.sheet.texel

    def at(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(points, np.float64) * s - 0.5

    tails, other = (None if t is None else replace(t, sides=at(t.sides), pins=at(t.pins)) for t in (scene.tails, scene.other))
    rounds = tuple(RoundTruth(r.kind, r.x * s - 0.5, r.y * s - 0.5, r.radius * s, r.mm) for r in scene.rounds)
    gap = None if scene.gap is None else GapTruth(at(scene.gap.line), scene.gap.widest * s)
    strokes = None if scene.strokes is None else at(scene.strokes)
    return Truth(name, seed, SHOWN.get(name, ()), s, tails, rounds, strokes, gap, scene.pitch_mm, other)


def _turn(image: NDArray[np.uint8], rng: np.random.Generator) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """The picture turned by a whole number of quarter turns and perhaps mirrored, with the matrix to its pixels."""
    matrix = np.eye(3)
    if rng.random() < 0.5:
        matrix = np.array([[-1.0, 0, image.shape[1] - 1], [0, 1, 0], [0, 0, 1]]) @ matrix
        image = image[:, ::-1]
    for _ in range(int(rng.integers(0, 4))):  # anticlockwise: (x, y) -> (y, w - 1 - x)
        matrix = np.array([[0.0, 1, 0], [-1, 0, image.shape[1] - 1], [0, 0, 1]]) @ matrix
        image = np.rot90(image)
    return np.ascontiguousarray(image), matrix


#: Pictures that stand upright on furniture: turning them would only make them strange.
_UPRIGHT = ("missing_pull", "knobs", "keyhole")


def make_joint(name: str, seed: int) -> JointPicture:
    """Picture (h, w, 3) uint8, longer side 260 to 640 px, and its truth.

    Raises
    ------
    ValueError
        if the name is not one of kinds.NAMES.
    """
    draw = SCENES.get(name) or TRAP_SCENES.get(name) or PATTERNS.get(name)
    if draw is None or (name not in SHOWN and name not in TRAPS):
        raise ValueError(f"unknown picture {name!r}")
    rng = np.random.default_rng([seed, *name.encode()])
    scene = draw(rng)
    truth = _in_pixels(scene, name, seed)
    image = to_bytes(scene.rgb)
    if name not in _UPRIGHT:
        image, matrix = _turn(image, rng)
        truth = moved(truth, matrix)
    h, w = image.shape[:2]
    width, height = max(8, round(w / FINER)), max(8, round(h / FINER))
    small = np.array([[width / w, 0, 0.5 * (width / w - 1)], [0, height / h, 0.5 * (height / h - 1)], [0, 0, 1.0]])
    picture, view = photograph(resize(image, width, height), _shot(rng), rng)
    truth = moved(truth, view @ small, (w / 2, h / 2))
    return JointPicture(picture, truth)


def drawn(picture: JointPicture) -> NDArray[np.uint8]:
    """The picture with its truth on it."""
    out, t = picture.pixels.copy(), picture.truth
    for joint in t.joints:
        for p, q in joint.sides:
            cv2.line(out, (round(p[0]), round(p[1])), (round(q[0]), round(q[1])), (255, 0, 255), 1, cv2.LINE_AA)
    for r in t.rounds:
        cv2.circle(out, (round(r.x), round(r.y)), max(2, round(r.radius)), (0, 255, 0), 1, cv2.LINE_AA)
    for line in ([] if t.strokes is None else list(t.strokes)) + ([] if t.gap is None else [t.gap.line]):
        cv2.line(out, (round(line[0][0]), round(line[0][1])), (round(line[1][0]), round(line[1][1])), (255, 0, 0), 1)
    return out
