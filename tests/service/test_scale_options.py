"""What the user types after --scale, what comes of it, and the sheet command."""

import json

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from service.cli import app
from service.contract import document, to_json
from service.look import Request, look
from service.scale_options import parse_scale, parse_scale_options
from tests.service.chest import ChestEngine
from vision.errors import UsageError
from vision.millimetres import Scale
from vision.scale import ScaleAsked, stated_focal_px


@pytest.mark.parametrize(("text", "asked"), [
    ("auto", ScaleAsked()), ("none", ScaleAsked("none")), ("card", ScaleAsked("card")),
    ("card:812,440.5", ScaleAsked("card", points=((812.0, 440.5),))),
    ("sheet", ScaleAsked("sheet")), ("sheet:98.5", ScaleAsked("sheet", mm=98.5)),
    ("points:10,20,310,420=500", ScaleAsked("points", mm=500.0, points=((10.0, 20.0), (310.0, 420.0)))),
])
def test_forms(text, asked):
    assert parse_scale(text) == asked


@pytest.mark.parametrize("text", [
    "", "cart", "coin", "coin:2 euro", "ruler", "ruler:mm", "card:5", "card:5,6,7", "card:a,b", "card@5,6",
    "coin:24.26:5,6", "ruler:mm:1,2,300,4", "sheet:0", "sheet:wide",
    "points:1,2,3=4", "points:1,2,3,4=100", "points:1,2,300,4=0", "auto:1",
])
def test_nonsense_is_refused(text):
    with pytest.raises(UsageError):
        parse_scale(text)


def test_photos_by_name():
    files = ("a.jpg", "b.jpg")
    asked = parse_scale_options(["b.jpg=points:0,0,300,400=500", "card"], files)
    assert asked["a.jpg"].kind == "card" and asked["b.jpg"].kind == "points"
    assert parse_scale_options([], files) == {}
    assert parse_scale_options(["b.jpg=card"], files) == {"b.jpg": ScaleAsked("card")}
    assert parse_scale_options(["b.jpg=card:1,2"], files)["b.jpg"].points == ((1.0, 2.0),)
    for wrong in (["card", "sheet"], ["a.jpg=card", "a.jpg=sheet"], ["card@1,2"], ["card:1,2"]):
        with pytest.raises(UsageError):
            parse_scale_options(wrong, files)


@pytest.fixture()
def plain(tmp_path):
    path = tmp_path / "plain.jpg"
    Image.fromarray(np.full((300, 400, 3), 140, np.uint8)).save(path)
    return str(path)


def test_a_given_length_reaches_the_document(plain):
    asked = ScaleAsked("points", mm=150.0, points=((50.0, 100.0), (350.0, 100.0)))
    outcome = look(Request((plain,), asked={plain: asked}), ChestEngine())
    photo = outcome.assessment.photos[0].photo
    assert isinstance(photo.scale, Scale) and photo.mm_per_px == pytest.approx(0.5, rel=0.01)
    scale = json.loads(to_json(document(outcome.assessment)))["photos"][0]["scale"]
    assert list(scale) == ["source", "outline", "at", "px_per_mm", "error_share", "to_mm", "text"]
    assert scale["source"] == "points" and scale["px_per_mm"] == pytest.approx(2.0, rel=0.01) and scale["to_mm"] is None


def test_what_is_not_found_is_said_and_gives_no_millimetres(plain):
    outcome = look(Request((plain,), asked={plain: ScaleAsked("card")}), ChestEngine())
    photo = outcome.assessment.photos[0].photo
    assert photo.scale is None and photo.mm_per_px is None
    assert any("card" in n and "millimetres" in n for n in outcome.notes)
    tapped = look(Request((plain,), asked={plain: ScaleAsked("card", points=((40.0, 40.0),))}), ChestEngine())
    assert tapped.assessment.photos[0].photo.scale is None and any("at the point given" in n for n in tapped.notes)
    unnamed = look(Request((plain,), asked={plain: ScaleAsked()}), ChestEngine()).notes
    assert any("no card and no sheet" in n for n in unnamed)
    assert look(Request((plain,)), ChestEngine()).notes == ()


def test_points_outside_the_photo_are_refused(plain):
    asked = ScaleAsked("points", mm=150.0, points=((50.0, 100.0), (3500.0, 100.0)))
    with pytest.raises(UsageError, match="outside"):
        look(Request((plain,), asked={plain: asked}), ChestEngine())


def test_focal_length_stated_by_the_file(tmp_path):
    """26 mm on a 36 by 24 mm frame sees 79.5 degrees over the diagonal (2 atan(43.27 / 52))."""
    path = tmp_path / "a.jpg"
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 26
    Image.new("RGB", (400, 300)).save(path, exif=exif)
    focal = stated_focal_px(path, 400, 300)
    assert np.degrees(2 * np.arctan(250 / focal)) == pytest.approx(79.5, abs=0.1)
    Image.new("RGB", (400, 300)).save(path)
    assert stated_focal_px(path, 400, 300) is None and stated_focal_px(tmp_path / "none.jpg", 4, 3) is None


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_sheet_command_writes_a_pdf(tmp_path, paper):
    done = CliRunner().invoke(app, ["sheet", str(tmp_path / "new" / "marks.pdf"), "--paper", paper])
    assert done.exit_code == 0 and "100 %" in done.output
    assert (tmp_path / "new" / "marks.pdf").read_bytes().startswith(b"%PDF")


def test_a_paper_there_is_none_of(tmp_path):
    done = CliRunner().invoke(app, ["sheet", str(tmp_path / "x.pdf"), "--paper", "a3"])
    assert isinstance(done.exception, UsageError) and not (tmp_path / "x.pdf").exists()
