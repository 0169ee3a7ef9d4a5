"""Truth of rendered handles from the map of what each pixel shows, and labels that stay under their pixels when shown again."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from training.hardware import rendered
from training.hardware.again import seen_again, stored
from training.hardware.make import LONG_PX, UNKNOWN
from training.hardware_net import AGAIN, seeds
from vision.hardware.kinds import SEEN

#: Half a millimetre a pixel; a panel of 400 x 240 px on a photo of 600 x 400.
MM, CORNER, SIZE = 0.5, (80, 60), (400, 240)


def render(folder: Path, metal: list[tuple[int, int, int, int]], piece: str = "p1", **more: object) -> Path:
    """A photo with one panel and metal things (x, y, wide, high) on it."""
    x, y = CORNER
    w, h = SIZE
    pixels = np.full((400, 600, 3), 60, np.uint8)
    pixels[y : y + h, x : x + w] = (120, 150, 180)
    ids = np.full((400, 600), 200, np.uint8)
    ids[y : y + h, x : x + w] = 1
    for a, b, wide, high in metal:
        pixels[b : b + high, a : a + wide] = 20
        ids[b : b + high, a : a + wide] = 202
    outline = [[x, y], [x + w, y], [x + w, y + h], [x, y + h]]
    to_photo = [[1 / MM, 0, x], [0, 1 / MM, y], [0, 0, 1]]
    panel = {"id": 1, "view": "face", "area_px": w * h, "outline": outline, "to_photo": to_photo}
    background = [{"id": 200, "material": "wall"}, {"id": 202, "material": "metal"}]
    truth = {"name": f"{piece}_0", "piece": piece, "panels": [panel], "background": background, **more}
    (folder / f"{piece}_0.json").write_text(json.dumps(truth), encoding="utf-8")
    cv2.imwrite(str(folder / f"{piece}_0.jpg"), pixels, [cv2.IMWRITE_JPEG_QUALITY, 95])
    cv2.imwrite(str(folder / f"{piece}_0_id.png"), ids)
    return folder


def test_handles_are_named_by_their_millimetres_and_lie_where_they_are(tmp_path: Path) -> None:
    knob, bar, tiny, off = (150, 150, 56, 56), (260, 170, 200, 20), (400, 100, 8, 8), (10, 10, 56, 56)
    (_, p), = rendered.faces(render(tmp_path, [knob, bar, tiny, off]), rendered.part_of("p1"))
    assert [k for k, _ in p.truth] == ["knob", "pull"] or [k for k, _ in p.truth] == ["pull", "knob"]
    scale = max(p.labels.shape) / SIZE[0]
    for kind, thing in (("knob", knob), ("pull", bar)):
        hull = next(h for k, h in p.truth if k == kind)
        middle = ((np.array(thing[:2]) - CORNER) + np.array(thing[2:]) / 2) * scale
        assert (hull.min(axis=0) + hull.max(axis=0)) / 2 == pytest.approx(middle, abs=2.5)
        x, y = np.round(middle).astype(int)
        assert p.labels[y, x] == 1 + SEEN.index(kind) and p.pixels[y, x].mean() < 60
    x, y = np.round((np.array(tiny[:2]) - CORNER + 4) * scale).astype(int)
    assert p.labels[y, x] == UNKNOWN  # metal, but no handle


def test_a_piece_and_its_twins_lie_in_one_part(tmp_path: Path) -> None:
    parts = {rendered.part_of(f"p{k}") for k in range(40)}
    assert parts == {"fit", "held_out", "report"}
    render(tmp_path, [(150, 150, 56, 56)], twin_group="g7")
    part = rendered.part_of("g7")
    assert [name for name, _ in rendered.faces(tmp_path, part)] == ["p1_0_1"]
    assert not any(list(rendered.faces(tmp_path, other)) for other in {"fit", "held_out", "report"} - {part})


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    piece = next(f"p{k}" for k in range(40) if rendered.part_of(f"p{k}") == "fit")
    renders, out = tmp_path / "renders", tmp_path / "out"
    renders.mkdir()
    rendered.main(["--renders", str(render(renders, [(150, 150, 56, 56)], piece)), "--out", str(out)])
    (pixels, labels), = stored(out)
    assert pixels.shape[:2] == labels.shape and (labels == 1 + SEEN.index("knob")).sum() > 1000
    assert pixels[labels > 0].mean() < 80 < pixels[labels == 0].mean()


@pytest.mark.parametrize("seed", range(6))
def test_shown_again_labels_stay_under_their_pixels(seed: int) -> None:
    pixels, labels = np.full((240, 400, 3), 190, np.uint8), np.zeros((240, 400), np.uint8)
    pixels[90:150, 160:240], labels[90:150, 160:240] = 20, 1
    seen, where = seen_again(pixels, labels, np.random.default_rng(seed))
    assert seen.shape[:2] == where.shape and max(where.shape) == LONG_PX
    if (where > 0).any():
        inner = cv2.erode(where, np.ones((13, 13), np.uint8)) > 0
        outer = cv2.dilate(where, np.ones((13, 13), np.uint8)) == 0
        assert not inner.any() or seen[inner].mean() < 75
        assert not outer.any() or seen[outer].mean() > 110


def test_seeds_are_each_there_once_and_mixed() -> None:
    with_again = seeds(400, True)
    assert len(set(with_again)) == len(with_again) == 500 and sum(s >= AGAIN for s in with_again) == 100
    assert any(s >= AGAIN for s in with_again[:50]) and with_again != sorted(with_again)
    assert not any(s >= AGAIN for s in seeds(40, False))
