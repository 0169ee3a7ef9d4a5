"""Charts: well-formed, the same bytes every time, text as text, points where the axes say."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from tests.training import accuracy_made as made
from training import calibration, plots_accuracy
from training.plots import BOTTOM, LEFT, RIGHT, SERIES, TOP, Chart, sheet

SVG = "{http://www.w3.org/2000/svg}"


def test_points_land_where_the_axes_say():
    chart = Chart("t", "x (px)", "y", (0, 2, 1), (0, 10, 5), width=200, height=150)
    assert chart.at((0, 0)) == (LEFT, 150 - BOTTOM)
    assert chart.at((2, 10)) == (200 - RIGHT, TOP)
    assert chart.at((1, 5)) == ((LEFT + 200 - RIGHT) / 2, (150 - BOTTOM + TOP) / 2)


def test_a_sheet_is_svg_with_words_and_no_script():
    chart = Chart("A & B <c>", "width (mm)", "share", (0, 1, 0.5), (0, 1, 0.5))
    chart.line([(0, 0), (1, 1)], "ours")
    chart.band([(0, 0), (1, 0.5)], [(0, 0.5), (1, 1)], "ours")
    chart.whisker(0.5, 0.2, 0.8, "embedding")
    text = sheet([chart, chart], [("ours", "ours"), ("bar", "how many")], "about it")
    root = ET.fromstring(text)
    words = [e.text for e in root.iter(f"{SVG}text")]
    assert {"A & B <c>", "width (mm)", "share", "0.5", "ours", "how many"} <= set(words)
    assert "prefers-color-scheme:dark" in text and "<script" not in text and root.find(f"{SVG}title").text == "about it"
    assert int(root.get("width")) == 2 * chart.width


def contrast(a, b):
    def light(colour):
        v = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in v]
        return float(np.dot((0.2126, 0.7152, 0.0722), linear))

    high, low = sorted((light(a), light(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("series", SERIES)
def test_lines_stand_out_on_both_papers(series):
    on_light, on_dark, _ = SERIES[series]
    assert contrast(on_light, "#ffffff") >= 3 and contrast(on_dark, "#16191d") >= 3  # WCAG 2.1, 1.4.11


def test_bins_agree_with_the_table_of_calibration():
    rng = np.random.default_rng(0)
    said, hit, w = rng.random(300), rng.random(300) < 0.5, rng.random(300)
    count, x, y = plots_accuracy.binned(said, hit, w)
    for (_, weight, mean, share), k in zip(calibration.reliability(said, hit, w, plots_accuracy.BINS), range(10), strict=True):
        assert (count[k], x[k], y[k]) == pytest.approx((weight, mean, share))


def test_true_probabilities_have_a_small_error_and_boasts_a_large_one():
    side = made.side(strength=0.0)
    s = side.scored()
    even = np.full_like(s.face, 1 / 6)
    boast = np.full_like(s.face, 0.02)
    boast[:, 0] = 0.9
    rows = (s.true_face >= 0) & (s.true_view == 0)
    errors = [plots_accuracy.calibration_error(type(s)(**{**vars(s), "face": f}).rows(rows)) for f in (even, boast)]
    assert errors[0]["solid_wood"] < 0.15 < 0.6 < errors[1]["solid_wood"]


def test_pictures_are_the_same_twice_and_small():
    side = made.side()
    others = {k: (words, side.scored(of=of)) for k, (words, of) in side.baselines.items()}
    for draw in (lambda: plots_accuracy.reliability(side.scored(), "made up"),
                 lambda: plots_accuracy.risk(side.scored(), others, "made up")):
        one, two = draw(), draw()
        assert one == two and len(one) < 20_000 and "nan" not in one
        ET.fromstring(one)
    assert len(re.findall(r"<polyline", plots_accuracy.risk(side.scored(), others, "x"))) == 3
