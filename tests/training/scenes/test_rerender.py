"""The committed sample photos can be made again: same geometry, same figure, light within its own noise.

The reference is the repository's own sample_images, rendered on another machine with another back end.
"""

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely.geometry import Polygon

from training.scenes import phone, stage
from training.scenes.config import load_settings
from training.scenes.samples import SAMPLES, shoot_sample

FOLDER = Path(__file__).resolve().parents[3] / "sample_images"
TRUTH = {p["file"]: p for p in json.loads((FOLDER / "truth.json").read_text())["photos"]}
SIDE = 200


@pytest.fixture(scope="module")
def mi():
    return stage.start("scalar_rgb")


def coarse(picture: np.ndarray) -> np.ndarray:
    """Lightness on a grid of 40 cells a long side: light noise and JPEG average out, figure and shading stay."""
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY).astype(np.float32)
    h, w = grey.shape
    scale = 40 / max(h, w)
    return cv2.resize(grey, (round(w * scale), round(h * scale)), interpolation=cv2.INTER_AREA)


@pytest.mark.parametrize(("piece", "shot"), [("quarry_lane_cabinet", 0), ("quarry_lane_table", 2)])
def test_a_sample_is_made_again(mi, piece, shot):
    sample = next(s for s in SAMPLES if s.name == piece)
    number, view = sample.shots[shot]
    settings = replace(load_settings(), min_panel_px=40, min_panel_width_px=3)
    again = shoot_sample(mi, sample, number, view, settings, spp=6, long_side=SIDE)
    file = f"{piece}_{number + 1}.jpg"
    kept = phone.decode_jpeg((FOLDER / file).read_bytes())
    a, b = coarse(kept), coarse(phone.decode_jpeg(again.jpeg))
    assert a.shape == b.shape
    assert np.corrcoef(a.ravel(), b.ravel())[0, 1] > 0.95
    assert abs(float(a.mean() - b.mean())) < 12
    scale = TRUTH[file]["width"] / again.truth["width"]
    large = [p for p in again.truth["panels"] if Polygon(p["outline"]).area > 200]
    assert len(large) >= 3
    for panel in large:
        mine = Polygon(np.array(panel["outline"]) * scale).buffer(0)
        same = [p for p in TRUTH[file]["panels"] if all(p[k] == panel[k] for k in ("part", "face", "core", "role", "view"))]
        overlaps = [mine.intersection(q).area / mine.union(q).area for q in (Polygon(p["outline"]).buffer(0) for p in same)]
        assert max(overlaps, default=0.0) > 0.6, (panel["part"], panel["view"], overlaps)
