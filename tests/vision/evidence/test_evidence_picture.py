"""The whole picture: size, what is marked where, and that crowded or odd photos still draw."""

import numpy as np
import pytest

from tests.vision.evidence.drawn_scene import board, finding, grey_photo, plain_field, verdict
from vision.evidence import draw as drawing
from vision.evidence import draw_evidence, finding_crop
from vision.evidence.marks import sort_findings
from vision.evidence.placement import Box
from vision.registry import FACES
from vision.types import Photo

PANELS = [board("s1", 60, 60, 400, 300), board("s2", 520, 80, 300, 500), board("s3", 100, 420, 250, 200)]
VERDICTS = {"p1.s1": verdict(), "p1.s2": verdict(undecided=True), "p1.s3": verdict("printed", 0.9, core_visible=0.9)}
FIELDS = {"p1.s1": (plain_field(20, 60, 80), np.array([[1.4, 0, 60], [0, 1.4, 60], [0, 0, 1.0]])), "p1.s2": None}
FINDINGS = [
    finding("a", "overall_look", "p1.s1", PANELS[0].outline),
    finding("b", "knot", "p1.s1", [(200, 200)], shape="point"),
    finding("c", "direction_seam", "p1.s2", [(560, 150), (560, 500)], shape="line"),
    finding("d", "fine_texture", "p1.s3", [(150, 460), (250, 460), (250, 560)]),
    finding("e", "knot", "p2.s1", [(10, 10)], photo="p2", shape="point"),
]


@pytest.fixture
def boxes(monkeypatch):
    """Boxes of the tags and dots drawn while the test runs."""
    seen: dict[str, list[Box]] = {"tags": [], "dots": []}
    tag, dot = drawing.draw_tag, drawing.draw_number
    monkeypatch.setattr(drawing, "draw_tag", lambda p, b, t: (seen["tags"].append(b), tag(p, b, t))[1])
    monkeypatch.setattr(drawing, "draw_number", lambda p, b, n, s: (seen["dots"].append(b), dot(p, b, n, s))[1])
    return seen


def apart(boxes, width, height):
    everything = boxes["tags"] + boxes["dots"]
    for i, a in enumerate(everything):
        assert a.x >= 0 and a.y >= 0 and a.x + a.width <= width and a.y + a.height <= height
        assert not any(a.overlaps(b) for b in everything[i + 1 :])


def test_the_picture_has_its_width_and_every_panel_its_tag(boxes):
    out = draw_evidence(grey_photo(), PANELS, VERDICTS, FINDINGS, FIELDS, basis="calibrated on renders only")
    assert out.dtype == np.uint8 and out.shape[1] == 1200 and out.shape[0] > 933
    assert len(boxes["tags"]) == 3 and len(boxes["dots"]) == 3  # finding a is on the tag, e on another photo
    apart(boxes, 1200, 933)


def test_bands_lie_on_the_outlines():
    with_bands = draw_evidence(grey_photo(), PANELS, VERDICTS, [], {})
    x0, x1, y = round(520 * 4 / 3), round(820 * 4 / 3), round(330 * 4 / 3)
    rows = slice(y - 60, y + 60)
    white = (with_bands == 255).all(axis=2)  # chalk stitches of the undecided panel
    assert white[rows, x0 - 2 : x0 + 22].any() and white[rows, x1 - 22 : x1 + 3].any()
    assert not white[rows, x0 - 60 : x0 - 12].any()


def test_the_room_is_muted_and_the_panel_is_not():
    photo = grey_photo()
    out = draw_evidence(photo, PANELS, VERDICTS, [], {}).astype(int)
    inside, outside = out[round(300 * 4 / 3), round(640 * 4 / 3)], out[round(20 * 4 / 3), round(480 * 4 / 3)]
    assert np.abs(inside - photo.pixels[300, 640]).max() < 12
    assert outside.mean() < 0.85 * photo.pixels[20, 480].mean()


def test_a_crowded_photo_draws_without_overlap(boxes):
    panels = [board(f"s{r}{c}", 10 + 110 * c, 10 + 85 * r, 100, 75) for r in range(8) for c in range(8)]
    verdicts = {p.id: verdict(undecided=k % 3 == 0) for k, p in enumerate(panels)}
    spots = [(p.outline[0][0] + 40, p.outline[0][1] + 40) for p in panels[::3]]
    findings = [finding(f"f{k}", "knot", panels[3 * k].id, [at], shape="point") for k, at in enumerate(spots)]
    out = draw_evidence(grey_photo(), panels, verdicts, findings, {})
    assert len(boxes["tags"]) == 64
    apart(boxes, 1200, 933)
    assert out.shape[0] > 933 + 500  # panels without room for words are written out below


@pytest.mark.parametrize(("w", "h"), [(120, 90), (3000, 200), (200, 3000), (64, 64)])
@pytest.mark.parametrize("width", [300, 1170])
def test_odd_shapes_and_sizes(boxes, w, h, width):
    panel = board("s1", w * 0.1, h * 0.1, w * 0.8, h * 0.8)
    spot = finding("a", "knot", panel.id, [(w / 2, h / 2)], shape="point")
    field = {panel.id: (plain_field(40), np.eye(3))}
    out = draw_evidence(grey_photo(w, h), [panel], {panel.id: verdict()}, [spot], field, width=width)
    assert out.shape[1] == width
    apart(boxes, *out.shape[1::-1])


def test_no_panels_and_no_verdicts_still_give_the_photo():
    assert draw_evidence(grey_photo(), [], {}, [], {}).shape[1] == 1200
    assert draw_evidence(grey_photo(), PANELS, {}, [], {}).shape[1] == 1200
    with pytest.raises(ValueError):
        draw_evidence(grey_photo(), [], {}, [], {}, width=100)


def test_every_class_draws_differently():
    panel = board("s", 20, 20, 260, 160)
    pictures = [draw_evidence(grey_photo(300, 200), [panel], {"p1.s": verdict(f, 0.8)}, [], {}) for f in FACES]
    for i, a in enumerate(pictures):
        assert all(a.shape != b.shape or (a != b).any() for b in pictures[i + 1 :])


def test_the_photo_itself_is_left_alone():
    photo = grey_photo(1200, 900)
    before = photo.pixels.copy()
    draw_evidence(photo, PANELS, VERDICTS, FINDINGS, FIELDS)
    finding_crop(photo, FINDINGS[1])
    assert np.array_equal(photo.pixels, before)


def test_findings_about_whole_panels_go_to_the_tag():
    numbers = {f.id: k for k, f in enumerate(FINDINGS, 1)}
    marks, whole = sort_findings(FINDINGS, numbers, "p1", PANELS, 2.0)
    assert whole == {"p1.s1": [1], "p1.s2": [], "p1.s3": []}
    assert [(m.number, m.type) for m in marks] == [(2, "point"), (3, "line"), (4, "polygon")]
    assert marks[0].points.tolist() == [[400.0, 400.0]] and marks[1].anchor == (1120.0, 650.0)


# --- crops --------------------------------------------------------------------------------------------------------


def test_a_crop_shows_the_region_and_its_surroundings():
    photo = grey_photo(3000, 2000)
    crop = finding_crop(photo, finding("a", "knot", "p1.s1", [(1000, 800), (1600, 800), (1600, 1100)]))
    assert max(crop.shape) == 480
    # the crop is wider than the region: the corner pixel lies left of and above it, where the photo's own tones are
    assert crop[2, 2, 0] < 120 + 1000 // 20 and crop[2, 2, 1] < 100 + 800 // 20


@pytest.mark.parametrize("at", [(0, 0), (899, 699), (0, 350)])
def test_crops_at_the_rim_stay_inside(at):
    crop = finding_crop(grey_photo(), finding("a", "knot", "p1.s1", [at], shape="point"))
    assert crop is not None and min(crop.shape[:2]) > 100
    marked = np.abs(crop.astype(int) - 255).sum(axis=2) < 60
    assert marked.any()  # the chalk ring


def test_no_crop_from_another_photo_and_none_from_tiny_photos_fails():
    assert finding_crop(grey_photo(), FINDINGS[4]) is None
    tiny = Photo("p1", "a", "0" * 64, np.full((20, 30, 3), 90, np.uint8))
    assert finding_crop(tiny, finding("a", "knot", "p1.s1", [(5, 5), (20, 5), (20, 15)])).shape == (40, 60, 3)
