"""The numbers of a panel: complete, finite where they must be, steady under scale and turning."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.vision.grain.scenes import carpet, grid, long_grain, profile, round_knot, straight, to_u8, view_of
from vision.features import vector
from vision.grain import FEATURES, grain_field, measure
from vision.resize import resize
from vision.types import WorkingView

GROUPS = {"grain_flow", "board_strips", "direction_seam", "knot"}


def numbers(image: np.ndarray) -> dict[str, float]:
    view = view_of(image)
    return measure(view, grain_field(view.pixels, mask=view.mask))


def test_declared_and_measured_names_agree() -> None:
    names = [f.name for f in FEATURES]
    assert len(names) == len(set(names)) and {f.group for f in FEATURES} == GROUPS
    values = numbers(straight(12, 1))
    assert set(values) == set(names)
    assert vector(values, FEATURES).shape == (len(names),)
    assert all(isinstance(v, float) for v in values.values())


def test_grain_against_carpet() -> None:
    grain, tufts = numbers(long_grain(12, 1, (1.5, 4.0))), numbers(carpet(1))
    assert grain["grain_coherence_median"] > 0.8 > 0.4 > tufts["grain_coherence_median"]
    assert grain["grain_resolved_share"] > 0.95
    assert grain["grain_to_long_side"] == pytest.approx(12, abs=0.5)
    for scale in (1, 2, 4):
        assert grain[f"grain_anisotropy_{scale}"] > 3 > tufts[f"grain_anisotropy_{scale}"]
    assert grain["grain_scale_agreement"] > 0.9


def test_turning_the_picture_changes_little() -> None:
    image = to_u8(long_grain(12, 1, (1.5, 4.0), 400))[:300]
    one, two = numbers(image), numbers(np.ascontiguousarray(np.rot90(image)))
    for name, value in one.items():
        if math.isnan(value):
            assert math.isnan(two[name])
        else:
            assert two[name] == pytest.approx(value, abs=0.05 + 0.05 * abs(value)), name


def test_coming_nearer_changes_little() -> None:
    x, y = grid(440, 600)
    level = y + 25 * np.sin(x / 90)
    # growth rings some 12 px wide, unevenly spaced
    image = to_u8(128 + 25 * np.sin(2 * np.pi * level / 12 + profile(level, 3, sd=1.0, smooth=8)))
    far = resize(image, 420, 308)
    one, two = numbers(image), numbers(far)
    for name in ("grain_order", "grain_straightness", "grain_resolved_share", "grain_coherence_median"):
        assert two[name] == pytest.approx(one[name], abs=0.06), name
    for name in ("grain_deviation", "grain_bending", "grain_drift"):
        assert two[name] == pytest.approx(one[name], rel=0.2), name
    assert one["grain_wavelength"] - two["grain_wavelength"] == pytest.approx(math.log2(600 / 420), abs=0.1)


def test_knot_is_counted() -> None:
    with_knot, without = numbers(round_knot(240, 160, 18, 1)), numbers(round_knot(240, 160, 18, 1, deflect=False))
    assert with_knot["knot_count"] == 1 and with_knot["knot_score"] > 0.5
    assert without["knot_count"] == 0 and without["knot_score"] == 0


def test_flat_panel_and_empty_mask() -> None:
    flat = numbers(np.full((200, 300), 120, np.uint8))
    assert flat["grain_resolved_share"] == 0 and math.isnan(flat["grain_deviation"]) and flat["knot_count"] == 0
    view = view_of(straight(0, 1))
    none = np.zeros(view.mask.shape, bool)
    empty = WorkingView(view.panel, view.pixels, none, view.to_photo, 1.0, view.native, none, (0, 0))
    values = measure(empty, grain_field(empty.pixels, mask=none))
    assert math.isnan(values["grain_coherence_median"]) and values["seam_strength"] == 0


@pytest.mark.parametrize("shape", [(6, 9), (20, 300), (300, 16), (640, 41)])
def test_thin_and_tiny_panels(shape: tuple[int, int]) -> None:
    values = numbers(np.random.default_rng(0).integers(60, 200, shape, dtype=np.uint8))
    assert set(values) == {f.name for f in FEATURES}
