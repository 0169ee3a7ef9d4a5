"""Loading, refusing, and what reaches the caller."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.vision.damage.test_regions import box, ideal
from vision.damage import find
from vision.damage.kinds import KINDS, UNDER_WORDS
from vision.damage.net import CELL, SIDE, STRIDE, DamageMaps, DamageNet, prepared, read_rules
from vision.damage.regions import EVIDENCE
from vision.errors import ModelMismatch
from vision.types import Panel, WorkingView

RULES: dict[str, Any] = {
    "version": 1,
    "kinds": list(KINDS),
    "under": list(UNDER_WORDS),
    "threshold": 0.5,
    "least_probability": 0.1,
    "least": {"burn": 0.99},
    "under_least": 0.6,
    "probability": {"offset": 1.0, "kinds": dict.fromkeys(KINDS, 0.0), "weights": dict.fromkeys(EVIDENCE, 0.0)},
}


class Told(DamageNet):
    """A net that answers with maps given beforehand."""

    def __init__(self, maps: DamageMaps) -> None:
        object.__setattr__(self, "rules", RULES)
        object.__setattr__(self, "maps", maps)

    def look(self, pixels: NDArray[np.uint8], mask: NDArray[np.bool_]) -> DamageMaps:
        return self.maps  # type: ignore[attr-defined, no-any-return]


def _view(h: int = 150, w: int = 225) -> WorkingView:
    pixels = np.full((h, w, 3), 120, np.uint8)
    panel = Panel("a", "p", ((0, 0), (10, 0), (10, 10)))
    turn = np.array([[0, -2.0, 500], [2.0, 0, 40], [0, 0, 1]])
    return WorkingView(panel, pixels, np.ones((h, w), bool), turn, 2.0, pixels, np.ones((h, w), bool), (0, 0))


def test_regions_come_likeliest_first_with_photo_points() -> None:
    maps = ideal({"chip": box(10, 20, 10, 30), "mould": box(30, 50, 50, 80), "burn": box(2, 8, 60, 70)})
    found = find.find_damage(_view(), net=Told(maps))
    assert {r.kind for r in found} == {"chip", "mould"}  # burn is below its own least probability
    chip, mould = (next(r for r in found if r.kind == k) for k in ("chip", "mould"))
    assert chip.probability == pytest.approx(1 / (1 + np.exp(-1.0))) and mould.probability is None
    assert mould.words.startswith("Possible") and "by hand" in mould.words
    for (x, y), (px, py) in zip(chip.outline, chip.photo_outline, strict=True):
        assert (px, py) == pytest.approx((500 - 2 * y, 40 + 2 * x))


def test_what_shows_beneath_is_said_only_when_it_is_clear() -> None:
    maps = ideal({"chip": box(10, 20, 10, 30)})
    assert find.find_damage(_view(), net=Told(maps))[0].shows is None
    maps.under[:] = 0.05
    maps.under[list(UNDER_WORDS).index("paper")] = 0.8
    said = find.find_damage(_view(), net=Told(maps))[0]
    assert said.shows == "paper" and "supports a print" in said.words


def test_a_sound_panel_has_no_region() -> None:
    assert find.find_damage(_view(), net=Told(ideal({}))) == ()


@pytest.mark.parametrize("size", [(640, 400), (90, 640), (60, 60), (448, 448)])
def test_picture_is_fitted_and_padded(size: tuple[int, int]) -> None:
    h, w = size
    given, held, inside, scale = prepared(np.full((h, w, 3), 200, np.uint8), np.ones((h, w), bool))
    assert held.shape == given.shape[:2] and (given[~held] == 127).all() and (given[held] == 200).all()
    assert all(n % STRIDE == 0 for n in given.shape[:2]) and max(given.shape[:2]) <= SIDE
    assert scale == pytest.approx(CELL * max(1.0, max(h, w) / SIDE), rel=0.02)
    assert inside.mean() > 0.9 and int(given[-1, -1, 0]) in (127, 200)


def test_outside_of_the_panel_is_blank() -> None:
    mask = np.zeros((64, 64), bool)
    mask[:32] = True
    given, held, inside, _ = prepared(np.full((64, 64, 3), 250, np.uint8), mask)
    assert (given[40:] == 127).all() and (given[:30] == 250).all() and inside.mean() == pytest.approx(0.5)
    assert held.mean() == pytest.approx(0.5, abs=0.02)


def test_missing_and_damaged_files_are_named_with_a_remedy(tmp_path: Path) -> None:
    with pytest.raises(ModelMismatch) as missing:
        DamageNet.load(tmp_path)
    assert "damage.json" in missing.value.subject and missing.value.cause and missing.value.remedy
    (tmp_path / "damage.json").write_text(json.dumps(RULES))
    with pytest.raises(ModelMismatch) as gone:
        DamageNet.load(tmp_path)
    assert "damage.onnx" in gone.value.subject
    (tmp_path / "damage.onnx").write_bytes(b"no net at all")
    with pytest.raises(ModelMismatch, match="Reinstall"):
        DamageNet.load(tmp_path)
    (tmp_path / "damage.json").write_text(json.dumps(RULES | {"kinds": ["rust"]}))
    with pytest.raises(ModelMismatch, match="other kinds"):
        read_rules(tmp_path)
