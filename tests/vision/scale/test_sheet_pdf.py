"""The marker sheet as a PDF: its file structure by ISO 32000-1, its markers by OpenCV's own detector, its bar by measure."""

import re

import cv2
import numpy as np
import pytest

from vision.scale.sheet import BOARD_MM, COLUMNS, DICTIONARY, ROWS, marker_corners
from vision.scale.sheet_pdf import PAPERS, POINT_MM, sheet_pdf

PER_MM = 4


@pytest.fixture(scope="module", params=sorted(PAPERS))
def paper(request):
    return request.param, sheet_pdf(request.param)


def boxes(data):
    """(grey, x, y, width, height) of every filled rectangle, mm from the page's lower left corner."""
    content = re.search(rb"stream\n(.*?)\nendstream", data, re.S)[1].decode()
    grey, out = 0.0, []
    for line in content.splitlines():
        if match := re.fullmatch(r"([\d.]+) g", line):
            grey = float(match[1])
        elif match := re.fullmatch(r"([\d.-]+) ([\d.-]+) ([\d.-]+) ([\d.-]+) re f", line):
            out.append((grey, *(float(v) * POINT_MM for v in match.groups())))
    return out


def test_structure(paper):
    """Header, cross-reference table with true offsets, stream length, page size (7.5 of the standard)."""
    name, data = paper
    assert data.startswith(b"%PDF-1.4\n") and data.endswith(b"%%EOF\n")
    table = int(re.search(rb"startxref\n(\d+)", data)[1])
    assert data[table : table + 4] == b"xref"
    offsets = [int(m) for m in re.findall(rb"(\d{10}) 00000 n ", data)]
    for n, offset in enumerate(offsets, 1):
        assert data[offset:].startswith(b"%d 0 obj" % n)
    stated = int(re.search(rb"/Length (\d+)", data)[1])
    assert len(re.search(rb"stream\n(.*?)\nendstream", data, re.S)[1]) == stated
    width, height = (float(v) * POINT_MM for v in re.search(rb"MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data).groups())
    assert (width, height) == pytest.approx(PAPERS[name], abs=0.01)


def test_opencv_reads_every_marker_where_it_should_be(paper):
    name, data = paper
    width, height = PAPERS[name]
    page = np.full((round(height * PER_MM), round(width * PER_MM)), 255, np.uint8)
    for grey, x, y, w, h in boxes(data):
        left, top = round(x * PER_MM), round((height - y - h) * PER_MM)
        right, bottom = round((x + w) * PER_MM), round((height - y) * PER_MM)
        page[top:bottom, left:right] = round(255 * grey)
    found, ids, _ = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(DICTIONARY)).detectMarkers(page)
    assert sorted(ids.ravel()) == list(range(COLUMNS * ROWS))
    left = (width - BOARD_MM[0]) / 2
    for marker, corners in zip(ids.ravel(), found, strict=True):
        expected = marker_corners(int(marker))
        seen = (corners.reshape(4, 2) + 0.5) / PER_MM
        assert seen - seen[0] == pytest.approx(expected - expected[0], abs=0.5)
        assert seen[0, 0] == pytest.approx(expected[0, 0] + left, abs=0.5)


def test_the_bar_is_100_mm_and_everything_fits(paper):
    name, data = paper
    width, height = PAPERS[name]
    rectangles = np.array(boxes(data))
    bars = rectangles[np.isclose(rectangles[:, 4], 0.6, atol=0.01)]
    assert len(bars) == 1 and bars[0, 3] == pytest.approx(100, abs=0.01)
    ticks = rectangles[np.isclose(rectangles[:, 3], 0.3, atol=0.01)]
    assert ticks[:, 1].min() == pytest.approx(bars[0, 1], abs=0.01)
    assert (ticks[:, 1] + ticks[:, 3]).max() == pytest.approx(bars[0, 1] + 100, abs=0.01)
    assert rectangles[:, 1:3].min() > 5 and (rectangles[:, 1] + rectangles[:, 3]).max() < width - 5
    texts = [float(m) * POINT_MM for m in re.findall(rb"Tf [\d.-]+ ([\d.-]+) Td", data)]
    assert min(texts) > 8 and max(texts) < height - 5


def test_other_papers_are_refused():
    with pytest.raises(ValueError, match="a4"):
        sheet_pdf("a3")
