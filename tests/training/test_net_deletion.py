"""Deletion and insertion on a net whose evidence lies in one corner by construction, and on one whose map lies."""

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.net_scene import CORNER, QUAD, RedNet, answer_with, photo_with
from training.net_deletion import Change, Trial, blurred, trial
from training.net_region_scores import line, report
from vision.panels import geometry
from vision.panels.rectify import rectify

QUADS = [QUAD, ((100.0, 80.0), (620.0, 60.0), (650.0, 480.0), (120.0, 500.0))]


@pytest.fixture(scope="module")
def honest():
    return [trial(RedNet(), *photo_with([CORNER], seed=k, quad=q), f"author {k}", np.random.default_rng(k), others=3)
            for k, q in enumerate(QUADS)]


def test_without_the_corner_the_net_loses_what_the_map_put_there(honest):
    for found in honest:
        assert found.kept_from == "" and found.log_odds > 3
        assert found.spot.top > 0.6 * found.says > 1
        assert found.spot.top > 3 * abs(found.spot.other) and found.disc.top > 3 * abs(found.disc.other)
        assert found.inserted.top > found.inserted.other + 1


def test_a_map_that_lies_gains_nothing(honest):
    """The same net with the places of its map mixed up: blurring where it points is no worse than blurring elsewhere."""
    lying = RedNet(shuffled=True)
    found = [trial(lying, *photo_with([CORNER], seed=k), "a", np.random.default_rng(k), others=2) for k in range(4)]
    assert np.mean([t.disc.top - t.disc.other for t in found]) < 0.3 * (honest[0].disc.top - honest[0].disc.other)


class Even:
    """Evidence that does not depend on the picture, everywhere alike."""

    def __init__(self, sign=1.0):
        self.sign = sign

    def answer(self, photo, view):
        found = answer_with(np.full((3, 7, 7), 2.0 * self.sign, np.float32))
        return found if self.sign > 0 else replace(found, face=np.array([0, 9, -9, -9, -9, -9], np.float32))


def test_no_spot_no_test_of_one():
    photo, panel = photo_with()
    found = trial(Even(), photo, panel, "a", np.random.default_rng(0), others=2)
    assert found.kept_from == "spread" and found.spot is None and found.inserted is None
    assert found.disc == Change(0.0, 0.0, found.disc.matched)
    assert trial(Even(-1.0), photo, panel, "a", np.random.default_rng(0), others=2).kept_from == "bias"


def test_others_have_no_room_where_the_spot_is_the_panel():
    found = trial(RedNet(), *photo_with([(0, 0, 1, 1)]), "a", np.random.default_rng(0), others=2)
    assert found.kept_from in ("spread", "room") and found.spot is None


def test_blurring_stays_within_its_place():
    photo, panel = photo_with([CORNER])
    place = np.array([[300.0, 250.0], [400.0, 250.0], [400.0, 330.0], [300.0, 330.0]])
    changed = (blurred(photo, [place], 40.0).pixels != photo.pixels).any(axis=2)
    near = geometry.polygon_mask(place + np.array([[-14, -14], [14, -14], [14, 14], [-14, 14]]), photo.width, photo.height)
    core = geometry.polygon_mask(place * 0.8 + place.mean(axis=0) * 0.2, photo.width, photo.height)
    assert not (changed & ~near).any() and changed[core].mean() > 0.9
    kept = blurred(photo, [np.array(panel.outline), place], 40.0, but=True).pixels
    inner = geometry.polygon_mask(place * 0.6 + place.mean(axis=0) * 0.4, photo.width, photo.height)
    assert (kept == photo.pixels)[inner].mean() > 0.95
    fine = [p[400:480, 500:600, 0].astype(float) for p in (photo.pixels, kept)]
    assert fine[1].std() < 0.3 * fine[0].std() and abs(fine[1].mean() - fine[0].mean()) < 1
    assert rectify(blurred(photo, [place], 40.0), panel).pixels.shape == rectify(photo, panel).pixels.shape


def test_a_line_tells_difference_interval_and_share():
    changes = [(f"a{k % 5}", Change(1.0 + 0.1 * k, 0.5, float("nan"))) for k in range(10)]
    told = line("x", changes)
    assert " 10 " in told and "+0.95" in told and "100 %" in told
    assert line("x", changes, matched=True).endswith("no panel")


def test_the_report_is_short_and_counts_everything(honest):
    lines = report([*honest, Trial("b", 1.0, kept_from="spread"), Trial("b", 1.0, kept_from="bias")])
    assert len(lines) < 20 and max(map(len, lines)) < 130
    text = "\n".join(lines)
    assert "4 panels of 3 authors" in text and "evidence spread: 1" in text and "bias: 1" in text and "nan" not in text
