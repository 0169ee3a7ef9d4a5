"""Renders against photos: numbers of a photo mean what they say; rules on the look are judged on unseen authors."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from training.realism_photos import STATISTICS, photo_numbers
from training.realism_scores import Looked, record, scores, text_of, versions_text


def numbers(pixels: np.ndarray) -> dict[str, float]:
    return dict(zip(STATISTICS, photo_numbers(pixels), strict=True))


def scene(seed: int, noise: float = 2.0) -> np.ndarray:
    """A made-up photo: soft shapes and grain."""
    rng = np.random.default_rng(seed)
    soft = cv2.GaussianBlur(rng.normal(size=(240, 320, 3)).astype(np.float32), (0, 0), 12)
    return np.clip(125 + 35 * soft / soft.std() + rng.normal(0, noise, soft.shape), 0, 255).astype(np.uint8)


def test_each_number_follows_what_it_is_named_for() -> None:
    plain = numbers(scene(1))
    assert plain["long_px"] == 320
    assert numbers(scene(1, noise=6.0))["noise"] > 2 * plain["noise"]
    assert numbers(np.clip(scene(1).astype(int) + 40, 0, 255).astype(np.uint8))["black"] > plain["black"] + 25
    faint = (125 + 0.4 * (scene(1).astype(float) - 125)).astype(np.uint8)
    assert faint.std() < scene(1).std() and numbers(faint)["contrast"] < 0.6 * plain["contrast"]
    warm = scene(1).astype(int) + np.array([20, 0, -20])
    assert numbers(np.clip(warm, 0, 255).astype(np.uint8))["warm"] > plain["warm"] + 30
    ok, data = cv2.imencode(".jpg", scene(1), [cv2.IMWRITE_JPEG_QUALITY, 12])
    assert ok and numbers(cv2.imdecode(data, cv2.IMREAD_COLOR))["grid"] > plain["grid"] + 0.5
    empty = np.full((240, 320, 3), 120, np.uint8)
    assert numbers(empty)["full"] == 0 < plain["full"]


def looked(seed: int, shift: float, authors: int = 30) -> Looked:
    """Panels of so many authors, each with a habit of its own; all of one kind moved by `shift` in one direction."""
    rng = np.random.default_rng(seed)
    author = np.repeat([f"{seed}-{k}" for k in range(authors)], 4)
    habit = np.repeat(rng.normal(size=(authors, 60)), 4, axis=0)
    looks = habit + 0.5 * rng.normal(size=(len(author), 60))
    looks[:, 0] += shift
    photos = rng.normal(size=(authors, len(STATISTICS)))
    photos[:, 3] += shift
    return Looked(looks.astype(np.float32), np.tile([0, 1], 2 * authors).astype(np.int8), author,
                  np.array([f"{a}/{k}" for k, a in enumerate(author)]), photos, np.array([f"{seed}-{k}" for k in range(authors)]))


def test_one_kind_under_two_names_cannot_be_told() -> None:
    found = scores(looked(1, 0.0), looked(2, 0.0))
    assert 0.3 < found["look"] < 0.7
    low, high = found["look_interval"]
    assert low < found["look"] < high


def test_a_difference_of_all_authors_is_told_and_named() -> None:
    found = scores(looked(1, 0.0), looked(2, 4.0))
    assert found["look"] > 0.85 and found["numbers"] > 0.85
    assert max(found["statistics"], key=lambda n: found["statistics"][n]["auc"]) == list(STATISTICS)[3]
    assert list(STATISTICS)[3] in text_of(6, found).splitlines()[4]


def test_versions_stand_side_by_side(tmp_path: Path) -> None:
    kept = tmp_path / "versions.json"
    assert versions_text(kept) == ""
    for version, shift in ((6, 1.0), (5, 4.0)):
        record(version, scores(looked(1, 0.0, 16), looked(2, shift, 16)), kept)
    rows = versions_text(kept).splitlines()
    assert len(rows) == 4 and rows[2].startswith("| 5 |") and rows[3].startswith("| 6 |")
