"""Base rates of the user's own: read, refused, always stated; estimated from photos with nobody's labels."""

import json
import tomllib
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from service import market, session
from service.cli import app
from service.contract import Document
from service.engine import VisionEngine
from service.prior_options import MODELS_OWN, parse_prior, read_prior_file, shares_of, stated
from service.report import report_html
from service.words import prior_sentence
from tests.service.chest import ChestEngine, chest_photo
from vision import registry
from vision.errors import UsageError
from vision.inference.priors import OwnPrior


def test_names_pass_and_shares_are_read():
    assert parse_prior(None, None) is None and parse_prior("even", None) == "even"
    own = parse_prior(" solid_wood = 30 %,veneer=40", None)
    assert own.given == {"solid_wood": 30.0, "veneer": 40.0} and own.name == "own" and "solid_wood" in own.text


@pytest.mark.parametrize(("text", "words"), [
    ("solid_wood=30,40", "not a face with its share"), ("oak=30", "'oak' is not a face"), ("plywood=30", "is a core"),
    ("veneer=3,veneer=4", "twice"), ("veneer=lots", "not a number"), ("veneer=inf", "not a number"), ("veneer=", "not a number"),
    ("veneer=30,", "not a face with its share"),
])
def test_a_text_that_is_no_list_of_shares_is_refused(text, words):
    with pytest.raises(UsageError, match=words) as caught:
        shares_of(text)
    assert caught.value.remedy


def test_a_file_is_read(tmp_path):
    file = tmp_path / "spring.toml"
    file.write_text('name = "spring market"\n[faces]\nsolid_wood = 30\nveneer = 40.5\n')
    own = parse_prior(None, file)
    assert (own.name, dict(own.given)) == ("spring market", {"solid_wood": 30.0, "veneer": 40.5})
    assert "spring.toml" in own.text and str(tmp_path) not in own.text


@pytest.mark.parametrize(("text", "words"), [
    ("name =", "broken TOML"), ("[faces]\n", "no table"), ("faces = 3\n", "no table"), ("[cores]\nplywood = 3\n", "unknown key"),
    ("[faces]\noak = 3\n", "not a face"), ("[faces]\nveneer = true\n", "not a number"),
    ('[faces]\nveneer = "3"\n', "not a number"),
    ("name = 3\n[faces]\nveneer = 30\n", "one line of text"), ('name = "a\\nb"\n[faces]\nveneer = 30\n', "one line of text"),
    (f'name = "{"x" * 99}"\n[faces]\nveneer = 30\n', "letters"),
])
def test_a_file_that_cannot_be_used_is_refused(tmp_path, text, words):
    file = tmp_path / "prior.toml"
    file.write_text(text)
    with pytest.raises(UsageError, match=words):
        read_prior_file(file)


def test_a_missing_file_and_two_sources_are_refused(tmp_path):
    with pytest.raises(UsageError, match="cannot be read"):
        read_prior_file(tmp_path / "gone.toml")
    with pytest.raises(UsageError, match="twice"):
        parse_prior("even", tmp_path / "gone.toml")


def test_the_engine_judges_with_them_and_says_so():
    own = OwnPrior("own", {"printed": 60.0}, "Your own.")
    found = VisionEngine().assess([], outlines={}, taps={}, model=None, prior=own, progress=None)
    assert found.model.prior_name == "own" and found.model.prior_face["printed"] == pytest.approx(0.6)
    usual = VisionEngine().assess([], outlines={}, taps={}, model=None, prior=None, progress=None)
    assert usual.model.prior_name == "reference" and usual.model.prior_face["printed"] < 0.6
    with pytest.raises(UsageError, match="leaves nothing"):
        VisionEngine().assess([], outlines={}, taps={}, model=None, prior=replace(own, given={"veneer": 100.0}), progress=None)


@pytest.fixture(scope="module")
def picture(tmp_path_factory):
    return chest_photo(tmp_path_factory.mktemp("chest") / "c.jpg").read_bytes()


@pytest.fixture()
def place(tmp_path, monkeypatch, picture):
    for n in range(12):  # the stand-in sees the same chest on all: only the files must differ
        (tmp_path / f"c{n}.jpg").write_bytes(picture + bytes([n]))
    (tmp_path / "bad.jpg").write_bytes(b"not a picture")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(session, "make_engine", ChestEngine)
    return tmp_path


@pytest.mark.parametrize(("args", "text"), [
    ([], MODELS_OWN["reference"]), (["--prior", "even"], MODELS_OWN["even"]),
    (["--prior", "veneer=60,printed=20"], "Your own, from the command line: veneer=60,printed=20"),
])
def test_the_prior_is_stated_in_document_summary_and_report(place, args, text):
    runner = CliRunner()
    doc = Document.model_validate(json.loads(runner.invoke(app, ["look", "c0.jpg", "--json", *args]).stdout))
    assert doc.prior.text.startswith(text) and doc.schema_ == "1.3"
    said = runner.invoke(app, ["look", "c0.jpg", "--out", "here", *args]).stdout
    for words in (said, (place / "here" / "report.html").read_text()):
        assert "Base rates" in words and text[:30] in " ".join(words.split())
    assert text in prior_sentence(doc) and "solid wood" in prior_sentence(doc)


def test_older_documents_without_the_text_can_still_be_read(place):
    raw = json.loads(CliRunner().invoke(app, ["look", "c0.jpg", "--json"]).stdout)
    del raw["prior"]["text"]
    old = Document.model_validate(raw)
    assert old.prior.text == "" and "Base rates" in report_html(old, {})


def test_wrong_shares_give_2_and_name_the_remedy(place):
    done = CliRunner().invoke(app, ["look", "c0.jpg", "--json", "--prior", "oak=3"])
    assert isinstance(done.exception, UsageError) and done.exception.exit_code == 2 and not done.stdout


def test_a_market_is_estimated_written_and_read_again(place):
    photos = [f"c{n}.jpg" for n in range(12)]
    done = CliRunner().invoke(app, ["market", *photos, "bad.jpg", "--out", "mine.toml"])
    assert done.exit_code == 3, done.output  # one photo could not be used, the others count
    assert "+-" in done.stdout and "Use it with: --prior solid_wood=" in done.stdout
    own = read_prior_file(place / "mine.toml")
    assert own.name == market.NAME and "12 unlabelled photos" in own.text and set(own.given) == set(registry.FACES)
    # The chest's fronts are prints, so a market of such chests holds more prints than an even mix.
    assert own.given["printed"] > 100 / 6 and sum(own.given.values()) == pytest.approx(100, abs=0.01)
    assert "printed" in tomllib.loads((place / "mine.toml").read_text())["faces"]


def test_a_small_market_or_one_picture_again_and_again_is_refused(place):
    done = CliRunner().invoke(app, ["market", "c0.jpg", "c1.jpg"])
    assert isinstance(done.exception, UsageError) and "too few" in done.exception.cause
    for n in range(12):
        (place / f"same{n}.jpg").write_bytes((place / "c0.jpg").read_bytes())
    done = CliRunner().invoke(app, ["market", *(f"same{n}.jpg" for n in range(12))])
    assert isinstance(done.exception, UsageError) and "on 1 photos" in done.exception.cause


def test_nothing_usable_gives_4(place):
    assert CliRunner().invoke(app, ["market", "bad.jpg"]).exit_code == 4


def test_a_file_that_cannot_be_written_is_one_clear_error(place):
    done = CliRunner().invoke(app, ["market", *(f"c{n}.jpg" for n in range(12)), "--out", "gone/mine.toml"])
    assert isinstance(done.exception, market.CannotWrite) and "folder" in done.exception.remedy


def test_stated_words():
    assert stated(None) == stated("reference") != stated("even") and stated(OwnPrior("x", {}, "Mine.")) == "Mine."
