"""What the panel net says of taught panels comes from nets that never saw their authors; others are asked of the shipped net."""

import numpy as np
import pytest

from training import net_held_out
from vision import panel_net
from vision.panel_net import FEATURES


def test_numbers_are_kept_for_taught_panels_and_for_no_others():
    kept = net_held_out.stored()
    assert len(kept) > 600
    key = next(iter(kept))
    assert list(kept[key]) == [f.name for f in FEATURES]
    assert net_held_out.numbers_for(((0.5, 1.5), (77.0, 3.0), (70.0, 90.0))) == {}


def test_kept_numbers_are_log_odds_against_the_mean():
    values = np.array([[row[f.name] for f in FEATURES] for row in net_held_out.stored().values()])
    assert np.isfinite(values).all()
    for kind in ("face", "core", "view"):
        columns = [k for k, f in enumerate(FEATURES) if f.name.startswith(f"net_{kind}_") and f.name != "net_core_seen"]
        assert np.abs(values[:, columns].sum(axis=1)).max() < 1e-3


def test_an_answer_that_is_missing_is_refused(tmp_path, monkeypatch):
    from pathlib import Path

    from training.real_photos import Labelled

    outline = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0))
    row = Labelled("x", Path("x.png"), outline, "a", "s", "face", None, None, 1.0, True, ("none",), False)
    monkeypatch.setattr(net_held_out, "labelled_panels", lambda _: [row])
    np.savez(tmp_path / "answers.npz", ids=np.array(["x"]), held_face=np.full((1, 6), np.nan), held_core=np.zeros((1, 4)),
             held_view=np.zeros((1, 4)), held_core_visible=np.zeros((1, 2)))
    with pytest.raises(ValueError, match="no net answered for panel x"):
        net_held_out.held_out_numbers(tmp_path / "answers.npz", tmp_path)


def test_numbers_follow_from_logits():
    face, core, view = np.array([3, 0, 0, 0, 0, 0], np.float32), np.zeros(4, np.float32), np.array([0, 0, 0, 4], np.float32)
    found = panel_net.numbers(face, core, view, -1.5)
    assert found["net_face_solid_wood"] == pytest.approx(2.5) and found["net_face_veneer"] == pytest.approx(-0.5)
    assert found["net_view_joint"] == pytest.approx(3.0) and found["net_core_seen"] == -1.5
