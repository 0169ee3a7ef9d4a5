"""What tags say: probability or 'cannot tell', never a false certainty; text fits its paper."""

import numpy as np
import pytest

from tests.vision.evidence.drawn_scene import verdict
from vision.evidence.legend import legend, wrapped
from vision.evidence.palette import BANDS, INK, UNDECIDED
from vision.evidence.placement import Box
from vision.evidence.tags import draw_number, draw_tag, fitting, number_extent, percent, tag_forms, text_width


def test_a_decided_panel_gives_class_and_probability():
    forms = tag_forms("s2", verdict("veneer", 0.71), [4, 9], 30)
    assert forms[0].lines == ("s2  wood veneer 71 %", "reasons 4, 9")
    assert forms[-1].lines == ("s2",) and [len(f.lines) for f in forms] == sorted((len(f.lines) for f in forms), reverse=True)


def test_an_undecided_panel_names_the_alternatives_and_no_number():
    forms = tag_forms("s2", verdict("veneer", 0.6, undecided=True), [], 30)
    assert forms[0].lines == ("s2  cannot tell", "solid wood or wood veneer") and forms[0].band is BANDS[UNDECIDED]
    many = verdict("veneer", 0.3, undecided=True, face_set=("solid_wood", "veneer", "printed", "opaque"))
    assert "4 kinds possible" in tag_forms("s2", many, [], 30)[0].lines
    assert not any("%" in line for line in forms[0].lines)


def test_the_core_is_named_only_when_in_view_and_settled():
    seen = tag_forms("e", verdict(core_visible=0.8), [], 30)[0].lines
    assert "core: plywood 70 %" in seen
    assert "core: cannot tell" in tag_forms("e", verdict(core_visible=0.8, core_set=("plywood", "lumber")), [], 30)[0].lines
    assert not any("core" in line for line in tag_forms("e", verdict(core_visible=0.2), [], 30)[0].lines)


SHARES = [(0.714, "71 %"), (0.9951, "over 99 %"), (1.0, "100 %"), (0.004, "under 1 %"), (0.0, "0 %")]


@pytest.mark.parametrize(("share", "words"), SHARES)
def test_percent(share, words):
    assert percent(share) == words


@pytest.mark.parametrize("size", [12, 30, 34])
def test_ink_stays_on_the_paper(size):
    for tag in tag_forms("s12", verdict("bare_board", 0.999, core_visible=0.9), [1, 22, 333], size):
        width, height = tag.extent
        picture = np.zeros((height + 40, width + 40, 3), np.uint8)
        draw_tag(picture, Box(20, 20, width, height), tag)
        outside = picture.copy()
        outside[20 : 20 + height, 20 : 20 + width] = 0
        assert not outside.any()
        dark = np.abs(picture[23 : 17 + height, 23 : 17 + width].astype(int) - INK).sum(axis=2) < 60
        rows, cols = np.nonzero(dark)
        assert rows.size > 20 and cols.max() < width - 7 and rows.max() < height - 7  # letters end before the rim


def test_crowded_pictures_get_shorter_tags_all_alike():
    forms = [tag_forms(f"s{k}", verdict(core_visible=0.9), [k], 30) for k in range(20)]
    areas = [sum(f[level].extent[0] * f[level].extent[1] for f in forms) for level in range(len(forms[0]))]
    assert fitting(forms, areas[0]) == 0 and fitting(forms, areas[0] - 1) == 1
    assert fitting(forms, 1) == len(areas) - 1 and fitting([], 1) == 0


@pytest.mark.parametrize("number", [1, 12, 345])
def test_numbers_fit_their_dots(number):
    w, h = number_extent(number, 30)
    picture = np.zeros((h + 20, w + 20, 3), np.uint8)
    draw_number(picture, Box(10, 10, w, h), number, 30)
    rows, cols = np.nonzero(picture.any(axis=2))
    assert rows.min() >= 8 and rows.max() <= h + 11 and cols.min() >= 8 and cols.max() <= w + 11
    assert text_width(str(number), 30) < w


def test_the_legend_lists_what_occurs_and_wraps():
    some = legend(1200, 30, [BANDS["veneer"]], grain=True, numbers=True)
    all_of_them = legend(600, 30, list(BANDS.values()), grain=True, numbers=True, basis="calibrated on renders only")
    assert some.shape[1] == 1200 and all_of_them.shape[1] == 600 and all_of_them.shape[0] > 2 * some.shape[0]
    assert legend(1200, 30, [], grain=False, numbers=False).shape[0] < some.shape[0]


def test_wrapping_keeps_all_words_within_the_width():
    text = "Percentages: calibrated on renders and a hundred real panels of many makers."
    lines = wrapped(text, 30, 400)
    assert " ".join(lines) == text and all(text_width(line, 30) <= 400 for line in lines) and len(lines) > 1
