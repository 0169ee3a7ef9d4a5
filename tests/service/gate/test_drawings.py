"""Drawings of where to look: one for every question, small, well-formed, told in words, within their frame."""

import re
from xml.etree import ElementTree

import pytest

from service.gate.drawings import DRAWINGS, HEIGHT, LENS_R, WIDTH, drawing
from service.gate.rules import PLACES, rules
from service.hand import checks

SVG = "{http://www.w3.org/2000/svg}"
#: How many numbers each command of path data takes.
TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "A": 7, "Z": 0}
each = pytest.mark.parametrize("name", list(DRAWINGS))


def corners(path):
    """(x, y) that the path runs to; refuses what is no path data."""
    x = y = 0.0
    tokens = re.findall(r"([A-Za-z])([^A-Za-z]*)", path)
    assert "".join(a + b for a, b in tokens) == path and tokens[0][0] == "M"
    for command, rest in tokens:
        numbers = [float(v) for v in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", rest)]
        take = TAKES[command.upper()]
        assert (not numbers) if take == 0 else (numbers and len(numbers) % take == 0), (command, rest)
        for k in range(0, len(numbers), take or 1):
            end = numbers[k:k + take]
            base_x, base_y = (x, y) if command.islower() else (0.0, 0.0)
            x = base_x + end[0] if command in "Hh" else x if command in "Vv" else base_x + end[-2]
            y = base_y + end[0] if command in "Vv" else y if command in "Hh" else base_y + end[-1]
            yield x, y


def test_every_place_of_the_gate_and_every_check_by_hand_has_one():
    assert {q.place for q in rules().questions} <= set(PLACES) <= set(DRAWINGS)
    assert set(checks.rules().checks) <= set(DRAWINGS)


@each
def test_it_is_small_well_formed_and_told_in_words(name):
    text = drawing(name)
    assert len(text.encode()) < 4000
    root = ElementTree.fromstring(text)
    title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert root.tag == f"{SVG}svg" and root.get("role") == "img" and root.get("viewBox") == f"0 0 {WIDTH} {HEIGHT}"
    assert title.text and desc.text and len(desc.text) > len(title.text) and desc.text.endswith(".")
    assert root.get("aria-labelledby").split() == [title.get("id"), desc.get("id")]
    for node in root.iter():
        assert node.get("stroke", "currentColor") in ("currentColor", "none"), "one colour, that of the text"
        assert node.get("fill", "none") in ("currentColor", "none")
        assert node.tag.removeprefix(SVG) not in ("script", "image", "use")


@each
def test_its_lines_stay_in_their_frame(name):
    d = DRAWINGS[name]
    assert d.lines or d.strong
    for path in filter(None, (d.lines, d.strong, d.shade)):
        assert all(max(abs(x), abs(y)) <= LENS_R + 0.1 for x, y in corners(path)), path
    assert all(x * x + y * y <= LENS_R**2 and 0 < r <= 4 for x, y, r in d.dots)
    ends = list(corners(d.piece))
    assert all(0 <= x <= WIDTH - 2 * LENS_R and 0 <= y <= HEIGHT for x, y in ends)
    assert min(x for x, _ in ends) - 1 <= d.spot[0] <= max(x for x, _ in ends) and 36 <= d.spot[1] <= 98


def test_no_two_are_alike_and_ids_can_be_kept_apart():
    assert len({(d.lines, d.strong) for d in DRAWINGS.values()}) == len({d.title for d in DRAWINGS.values()}) == len(DRAWINGS)
    ids = [i for n in DRAWINGS for prefix in ("a", "b") for i in re.findall(r'id="([^"]+)"', drawing(n, prefix))]
    assert len(set(ids)) == len(ids)


def test_a_name_that_is_not_there_is_refused():
    with pytest.raises(KeyError):
        drawing("attic")
