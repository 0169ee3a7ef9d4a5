"""The role network: its numbers worked by hand, its file checked, mirror-fair, and quiet where little is in view."""

import numpy as np
import pytest

from vision.errors import ModelMismatch
from vision.parts import role_model
from vision.parts.role_model import FEW, ROLES, RoleModel, many, shipped_roles
from vision.parts.standing import NAMES, corners, standing
from vision.types import Panel

SIZE = (1000, 800)


def panel(name, points):
    return Panel(name, "p", tuple((float(x), float(y)) for x, y in points))


def rect(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def test_numbers_of_two_panels_worked_by_hand():
    found = standing([panel("a", rect(100, 100, 500, 300)), panel("b", rect(100, 320, 500, 520))], ["face", "face"], SIZE)
    row = dict(zip(NAMES, found[0], strict=True))
    assert row["across"] == pytest.approx(0.3 - 0.5)
    assert row["aspect"] == pytest.approx(np.log(2))
    assert (row["above"], row["below"]) == (0.0, 1.0)
    assert row["hull_height"] == pytest.approx(200 / 420)
    assert row["alike_stacked"] == pytest.approx(np.log(2))
    assert row["area_share"] == pytest.approx(np.log(0.5), abs=1e-4)
    for name in ("upper_slant", "lower_slant", "left_slant", "right_slant", "taper", "lean"):
        assert row[name] == pytest.approx(0, abs=1e-9)


def test_corners_of_a_lying_trapezium():
    top = np.array([(300, 170), (850, 170), (900, 240), (260, 240)], dtype=float)
    np.testing.assert_array_equal(corners(np.roll(top, 2, axis=0)), top)


def test_softmax_and_hidden_layer_by_hand():
    d, r = len(NAMES), len(ROLES)
    model = RoleModel(np.zeros(d, np.float32), np.ones(d, np.float32), np.zeros((d, 1), np.float32), np.ones(1, np.float32),
                      np.eye(1, r, dtype=np.float32) * 2, np.zeros(r, np.float32), np.full((2, r), 0.4, np.float32))
    x = np.zeros((1, d))
    assert model.probabilities(x)[0, 0] == pytest.approx(np.exp(2) / (np.exp(2) + r - 1))
    assert model.named(x) == [ROLES[0]]
    assert RoleModel(**{**vars(model), "limits": np.full((2, r), 0.99, np.float32)}).named(x) == ["unknown"]


def test_few_and_many():
    x = np.zeros((2, len(NAMES)))
    x[:, NAMES.index("panels")] = np.log([FEW - 1, FEW])
    assert many(x).tolist() == [0, 1]


def test_the_shipped_network_asks_more_of_few_panels():
    model = shipped_roles()
    assert (model.limits[0] > model.limits[1]).all() and (model.limits >= 0.5).all()


def test_a_damaged_file_is_refused(monkeypatch, tmp_path):
    (tmp_path / "models").mkdir()
    np.savez(tmp_path / "models/roles.npz", centre=np.zeros(3))
    monkeypatch.setattr(role_model, "files", lambda package: tmp_path)
    shipped_roles.cache_clear()
    with pytest.raises(ModelMismatch, match="role network"):
        shipped_roles()
    shipped_roles.cache_clear()
