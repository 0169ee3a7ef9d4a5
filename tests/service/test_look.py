"""One look: what is refused is kept aside, the rest is still assessed."""

from pathlib import Path

import pytest

from service.look import Request, look
from tests.service.chest import ChestEngine, chest_photo
from vision.errors import UsageError
from vision.scale.find import ScaleAsked


@pytest.fixture()
def photos(tmp_path):
    good = [str(chest_photo(tmp_path / f"a{n}.jpg", n)) for n in range(2)]
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(b"not a picture")
    return [*good, str(bad)]


def test_all_good(photos):
    outcome = look(Request(tuple(photos[:2])), ChestEngine())
    assert (outcome.exit_code, outcome.refused, outcome.notes) == (0, (), ())


def test_a_broken_photo_is_named_and_the_others_count(photos):
    outcome = look(Request((photos[2], photos[0])), ChestEngine())
    assert outcome.exit_code == 3
    (refused,) = outcome.refused
    assert refused.file == photos[2] and refused.cause and refused.remedy
    assert [r.photo.file for r in outcome.assessment.photos] == [photos[0]]
    # The id tells the place on the command line, so a refused photo leaves a gap.
    assert outcome.assessment.photos[0].photo.id == "p2"


def test_nothing_usable(photos):
    outcome = look(Request((photos[2],)), ChestEngine())
    assert (outcome.exit_code, outcome.assessment.photos) == (4, ())


def test_the_same_picture_counts_once(photos, tmp_path):
    copy = tmp_path / "copy.jpg"
    copy.write_bytes(Path(photos[0]).read_bytes())
    outcome = look(Request((photos[0], str(copy))), ChestEngine())
    assert len(outcome.assessment.photos) == 1 and "same picture" in outcome.notes[0]


def test_what_was_typed_reaches_the_engine_by_photo_id(photos):
    engine = ChestEngine()
    triangle = [(0.0, 0.0), (90.0, 0.0), (90.0, 90.0)]
    request = Request(
        (photos[2], photos[0], photos[1]), outlines={photos[1]: [("top", triangle)]}, taps={photos[0]: [(5.0, 6.0)]},
        asked={photos[0]: ScaleAsked("points", mm=1000, points=((0, 0), (300, 400)))}, prior="shop", details=False,
    )
    outcome = look(request, engine)
    assert engine.calls[0]["outlines"] == {"p3": [("top", triangle)]}
    assert engine.calls[0]["taps"] == {"p2": [(5.0, 6.0)]}
    assert engine.calls[0]["prior"] == "shop"
    assert [r.photo.mm_per_px for r in outcome.assessment.photos] == [pytest.approx(2.0), None]
    assert engine.calls[0]["details"] is False


@pytest.mark.parametrize("request_", [
    lambda f: Request((f,), taps={f: [(1201.0, 5.0)]}),
    lambda f: Request((f,), asked={f: ScaleAsked("points", mm=10, points=((0, 0), (1300, 0)))}),
])
def test_points_off_the_photo_are_refused(photos, request_):
    with pytest.raises(UsageError, match="outside"):
        look(request_(photos[0]), ChestEngine())


def test_progress_is_told(photos):
    told = []
    look(Request((photos[0],)), ChestEngine(), lambda stage, share: told.append((stage, share)))
    assert told[0] == ("Opening a0.jpg", 0.0) and all(0 <= s <= 1 for _, s in told)
