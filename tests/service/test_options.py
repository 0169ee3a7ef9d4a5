"""What users type, and what is refused with which words."""

import json

import pytest

from service.options import (
    check_inside,
    merge_outlines,
    parse_outlines,
    parse_taps,
    read_outlines,
    split_file,
)
from vision.errors import UsageError


def test_taps():
    assert parse_taps(["812,430", " 3.5 , 4 "], ["a.jpg"]) == {"a.jpg": [(812.0, 430.0), (3.5, 4.0)]}
    assert parse_taps(["b.jpg=1,2"], ["a.jpg", "b.jpg"]) == {"b.jpg": [(1.0, 2.0)]}


@pytest.mark.parametrize("value", ["812", "812,430,1", "x,y", "1;2", "nan,1", "1e400,3", ""])
def test_a_tap_that_is_no_point(value):
    with pytest.raises(UsageError, match=r"--at: .*not a point.*812,430"):
        parse_taps([value], ["a.jpg"])


def test_outlines():
    assert parse_outlines(["0,0 9,0 9,9"], ["a.jpg"]) == {"a.jpg": [(None, [(0, 0), (9, 0), (9, 9)])]}
    with pytest.raises(UsageError, match="2 points make no outline"):
        parse_outlines(["0,0 9,0"], ["a.jpg"])


def test_which_photo_is_meant():
    files = ["x=1.jpg", "a.jpg"]
    assert split_file("x=1.jpg=3,4", files, "--at") == ("x=1.jpg", "3,4")
    with pytest.raises(UsageError, match="which one is meant"):
        split_file("3,4", files, "--at")
    with pytest.raises(UsageError, match=r"'c\.jpg' is not one of the photos"):
        split_file("c.jpg=3,4", files, "--at")


def test_points_outside_are_refused_with_the_size():
    check_inside("a.jpg", [(0, 0), (100, 50)], 100, 50, "--at")
    with pytest.raises(UsageError, match="100 x 50 px"):
        check_inside("a.jpg", [(101, 5)], 100, 50, "--at")


def write(tmp_path, data):
    path = tmp_path / "o.json"
    path.write_text(data if isinstance(data, str) else json.dumps(data))
    return path


def test_outlines_file(tmp_path):
    path = write(tmp_path, {"a.jpg": [{"id": "top", "points": [[0, 0], [9, 0], [9, 9.5]]}, {"points": [[0, 0], [5, 0], [5, 5]]}]})
    assert read_outlines(path, ["a.jpg", "b.jpg"]) == {
        "a.jpg": [("top", [(0, 0), (9, 0), (9, 9.5)]), (None, [(0, 0), (5, 0), (5, 5)])]}


TRIANGLE = [[0, 0], [9, 0], [9, 9]]


@pytest.mark.parametrize(("data", "words"), [
    ("{", "broken JSON in line 1"), ("[" * 200_000, "broken JSON"), ([], "not a JSON object"),
    ({"c.jpg": []}, "'c.jpg', which is not one of the photos"), ({"a.jpg": {}}, "not a list"), ({"a.jpg": [3]}, "not an object"),
    ({"a.jpg": [{"points": TRIANGLE, "name": "x"}]}, "unknown key 'name'"), ({"a.jpg": [{"id": "x"}]}, "fewer than three points"),
    ({"a.jpg": [{"points": [[0, 0], [1, 1]]}]}, "fewer than three points"),
    ({"a.jpg": [{"id": 3, "points": TRIANGLE}]}, "not text"),
    ({"a.jpg": [{"points": [[0, 0], [1], [2, 2]]}]}, "not \\[x, y\\]"),
    ('{"a.jpg": [{"points": [[0, 0], [NaN, 1], [2, 2]]}]}', "not \\["),
    ({"a.jpg": [{"points": [[0, 0], [True, 1], [2, 2]]}]}, "not \\["),
    ({"a.jpg": [{"id": "x", "points": TRIANGLE}, {"id": "x", "points": TRIANGLE}]}, "id 'x' twice"),
])
def test_outlines_file_that_does_not_do(tmp_path, data, words):
    with pytest.raises(UsageError, match=words):
        read_outlines(write(tmp_path, data), ["a.jpg"])


def test_outlines_file_that_is_not_there_or_no_text(tmp_path):
    with pytest.raises(UsageError, match="cannot be read"):
        read_outlines(tmp_path / "none.json", ["a.jpg"])
    (tmp_path / "b.json").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UsageError, match="UTF-8"):
        read_outlines(tmp_path / "b.json", ["a.jpg"])


def test_outlines_from_both_sources_are_kept():
    one, two = {"a.jpg": [("x", TRIANGLE)]}, {"a.jpg": [(None, TRIANGLE)], "b.jpg": [(None, TRIANGLE)]}
    assert merge_outlines(one, two) == {"a.jpg": [("x", TRIANGLE), (None, TRIANGLE)], "b.jpg": [(None, TRIANGLE)]}
