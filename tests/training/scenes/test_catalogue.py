"""The page about the scenes counts what the settings draw, and its sheet holds one picture a piece."""

from __future__ import annotations

from collections import Counter

import cv2
import numpy as np
import pytest

from training.figure.patterned import PATTERNS
from training.scenes.catalogue import counts, shares, sheet


def test_shares_add_up_and_small_ones_keep_a_decimal() -> None:
    assert shares(Counter({"a_b": 199, "c": 1})) == "a b 100 %, c 0.5 %"


def test_counted_pieces_hold_every_kind_and_some_pattern() -> None:
    parts, whole = counts(120)
    assert whole["all"] == 120 and whole["parts"] > 600
    assert {k[5:] for k in whole if k.startswith("kind ")} == {"chest", "cabinet", "table", "bookcase", "boards"}
    assert set(parts["face"]) == {"solid_wood", "veneer", "printed", "opaque", "bare_board"}
    assert set(parts["layout"]) & set(PATTERNS)
    assert counts(120)[0] == parts


def test_a_sheet_takes_one_picture_a_piece(tmp_path) -> None:
    for k in range(5):
        for n in range(2):
            cv2.imwrite(str(tmp_path / f"p{k}_{n}.jpg"), np.full((60, 90, 3), 20 * k + 100 * n, np.uint8))
    made = sheet(tmp_path, side=32)
    assert made.shape == (64, 128, 3)
    assert abs(int(made[16, 16 + 32].mean()) - 20) < 6
    with pytest.raises(FileNotFoundError):
        sheet(tmp_path / "none")
