"""The layout net as shipped: opens, answers in the shape it should, and says so when its file is not there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.vision.layouts.patterns import picture, radial, view_of, wandering
from vision.errors import ModelMismatch
from vision.grain import grain_field
from vision.layouts.canvas import make_canvas
from vision.layouts.layout import LAYOUTS
from vision.layouts.learned import LayoutNet, Seen, shipped_net


def look(grey: np.ndarray) -> Seen:
    view = view_of(picture(grey))
    return shipped_net().look(make_canvas(view, grain_field(view.pixels, mask=view.mask)))


def test_a_missing_or_damaged_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(ModelMismatch) as caught:
        LayoutNet.load(tmp_path / "none.onnx")
    assert "none.onnx" in str(caught.value)
    (tmp_path / "bad.onnx").write_bytes(b"no model")
    with pytest.raises(ModelMismatch):
        LayoutNet.load(tmp_path / "bad.onnx")


def test_a_model_for_other_things_is_refused() -> None:
    other = Path(__file__).parents[3] / "vision" / "models" / "boundary.onnx"
    with pytest.raises(ModelMismatch):
        LayoutNet.load(other)


def test_answers_are_distributions_and_shares() -> None:
    seen = look(wandering(300, 420, 1))
    assert seen.name.shape == (len(LAYOUTS),) and abs(np.exp(seen.name).sum() - 1) < 1e-9
    assert abs(np.exp(seen.wedges).sum() - 1) < 1e-9
    for values in (seen.axis, seen.seam, seen.centre):
        assert values.shape == (64, 80) and values.min() >= 0 and values.max() <= 1


def test_the_axis_of_a_mirrored_figure_is_where_it_was_mirrored() -> None:
    one = wandering(150, 480, 4)
    seen = look(np.vstack([one[::-1], one]))
    rows = seen.axis.mean(1)
    assert abs(int(rows.argmax()) - 31.5) <= 1 and rows.max() > 0.5
    middle = seen.way[0][31:33].mean()
    assert middle > 0.8  # level


def test_the_middle_of_wedges_is_seen() -> None:
    seen = look(radial(480, 8, (240.0, 236.0)))
    i, j = np.unravel_index(int(seen.centre.argmax()), seen.centre.shape)
    assert abs(i - 64 * 236 / 480) < 2 and abs(j - 40) < 2
